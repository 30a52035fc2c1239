"""The air of a place in a few words, where somebody is sent or goes: in a call, on tonight's list."""

from __future__ import annotations

from gateway.core.estimate.shut_room import Outlook, Reach
from gateway.core.rules import air_load, place_air
from gateway.core.rules.air_entry import believed, entry_state
from gateway.core.site import Place
from gateway.core.state import State
from gateway.core.wording import air as wording_air

#: A level that is further away than this is not told before a turn (ours).
SOON_MIN = 240.0


def short(state: State, place: Place) -> str:
    """The air in at most some 48 letters, for a message: stay out, unknown, or how long it lasts if shut."""
    entry = entry_state(state, place.id)
    rooms = air_load.rooms_of(state, place)
    if entry.state == "no_gas_watch":
        return "No gas watch, hand meter"
    if entry.state == "unknown":
        return "Air unknown, hand meter only"
    said = ", ".join(_gases(state, rooms)) or "Gas call stands"
    if entry.state in ("leave", "no_entry"):
        return f"{said}: stay out"
    soon = [text for room in rooms if (text := _soonest(state, room))]
    return f"{said}{soon[0]}" if soon else said


def _gases(state: State, rooms: list[Place]) -> list[str]:
    found = []
    for gas in place_air.GASES:
        values = [w.value for room in rooms for _, w in believed(state, room, gas) if w.value is not None]
        found += [f"{wording_air.GAS[gas]} {max(values):,.0f} ppm"] if values else []
    return found


def _soonest(state: State, room: Place) -> str:
    told = air_load.ahead(state, room)
    for reach in told.reaches if told else ():
        soonest = reach.soonest_min()
        if soonest is not None and 0.0 < soonest <= SOON_MIN:
            return f", shut {reach.level_ppm:,.0f} in {wording_air.span(soonest)}"
    return ""


def long(state: State, place: Place) -> str:
    """The air as told before people go in: what was measured, when a level is reached, how it is aired."""
    entry = entry_state(state, place.id)
    parts = [entry.why]
    for room in air_load.rooms_of(state, place):
        parts += _ahead(state, room)
    return "; ".join(part for part in parts if part)


def _ahead(state: State, room: Place) -> list[str]:
    told = air_load.ahead(state, room)
    if told is None:
        return []
    load = air_load.load(state, room)
    found = [_going(told), _shut(told)]
    if load.ppm_h is not None and load.volume_m3 is not None:
        guess = ", a full bed's weight" if load.guessed else ""
        found.append(f"{load.barley_t:.0f} t in {load.volume_m3:,.0f} m3{guess}")
    airing = air_load.airing(state, room)
    if airing is not None:
        down = next((one for one in airing.downs if one.soonest_min > 0.0), None)
        late = (
            ""
            if down is None
            else f", below {down.level_ppm:,.0f} {_down(down.soonest_min, down.latest_min)}"
        )
        found.append(f"being aired, {airing.per_h:.1f} changes an hour{late}")
    return [part for part in found if part]


def _down(soonest_min: float, latest_min: float | None) -> str:
    if latest_min is None:
        return "not with these doors"
    return f"in {_range(soonest_min, latest_min)}"


def _going(told: Outlook) -> str:
    if told.slope is None:
        return ""
    words = f"{'up' if told.slope.ppm_h > 0 else 'down'} {abs(told.slope.ppm_h):,.0f} ppm an hour"
    coming = [
        f"{reach.level_ppm:,.0f} in {wording_air.span(reach.as_it_goes_min)}"
        for reach in told.reaches
        if reach.as_it_goes_min
    ]
    return f"{words}, as it goes {', '.join(coming)}" if coming else words


def _shut(told: Outlook) -> str:
    coming = [text for reach in told.reaches if (text := _if_shut(reach))]
    return f"if shut now {', '.join(coming)}" if coming else ""


def _if_shut(reach: Reach) -> str:
    if reach.if_shut_min is None or not reach.if_shut_min[1]:
        return ""
    return f"{reach.level_ppm:,.0f} in {_range(*reach.if_shut_min)}"


def _range(low_min: float, high_min: float) -> str:
    low, high = wording_air.span(low_min), wording_air.span(high_min)
    return low if low == high else f"{low} to {high}"
