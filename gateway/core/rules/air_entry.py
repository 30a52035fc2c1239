"""What is known of the air of a place before somebody goes in. Never a permit, never from a dead probe."""

from __future__ import annotations

from typing import NamedTuple

from gateway.core.finding import Subject
from gateway.core.reading import RANGE_HIGH
from gateway.core.rules import place_air
from gateway.core.rules.air_load import rooms_of
from gateway.core.rules.limits import Level
from gateway.core.site import Place, Probe
from gateway.core.state import State
from gateway.core.window import Window
from gateway.core.wording import air as wording_air

#: From the gravest on. `below`: under the lowest level as far as measured; a hand meter decides all the same.
STATES = ("leave", "no_entry", "unknown", "no_gas_watch", "below")
#: Without these nobody can say what the air of such a place is like.
_NEEDED = {
    "room": ("co2",), "steep": ("co2",), "pit": ("co2",), "furnace": ("co",), "plenum": ("co2", "co"),
    "kiln": ("co2", "co"),
}  # fmt: skip


class Entry(NamedTuple):
    """The state (one of `STATES`), why in plain words, and the cautions of such a place."""

    state: str
    why: str
    cautions: tuple[str, ...]


def entry_state(state: State, place_id: str) -> Entry:
    """What is known of the air there; of a bed, the air of its room. KeyError for no such place."""
    place = state.site.place[place_id]
    rooms = rooms_of(state, place)
    found = [_one(state, room) for room in rooms] or [("no_gas_watch", wording_air.NO_WATCH)]
    worst, why = _worst(found)
    kind = rooms[0].kind if rooms else "room"
    return Entry(worst, why, wording_air.cautions(kind, _measured(state, rooms)))


def _measured(state: State, rooms: list[Place]) -> tuple[str, ...]:
    return tuple(
        gas
        for gas in place_air.GASES
        if any(probe.quantity == gas for room in rooms for probe in state.site.probes_of[room.id])
    )


def _one(state: State, place: Place) -> tuple[str, str]:
    gases = _measured(state, [place])
    drawn = [] if "co" in gases else _co_elsewhere(state)
    if not gases:
        return _worst([("no_gas_watch", wording_air.NO_WATCH), *drawn])
    found = drawn + [_gas(state, place, gas) for gas in gases]
    found += [
        ("unknown", wording_air.unmeasured(gas)) for gas in _NEEDED.get(place.kind, ()) if gas not in gases
    ]
    found += _alarms(state, place)
    return _worst(found)


def _worst(found: list[tuple[str, str]]) -> tuple[str, str]:
    """The gravest state, and all that is said for it."""
    worst = min((state for state, _ in found), key=STATES.index)
    return worst, "; ".join(dict.fromkeys(why for state, why in found if state == worst))


def _gas(state: State, place: Place, gas: str) -> tuple[str, str]:
    good = believed(state, place, gas)
    if not good:
        return "unknown", wording_air.lost(gas, *_gone(state, place, gas))
    probe, window = max(good, key=lambda pair: pair[1].value or 0.0)
    value = window.value or 0.0
    at = [level for level in place_air.levels(state.site, place, gas) if value >= level.limit]
    said = wording_air.measured(state.site, state.at_ms, probe, value, window.measured_ms)
    if any(one.flags & RANGE_HIGH for _, one in good):
        # It is at least that, and may be any level.
        return "leave", f"{said}: a probe at its end, there may be more"
    if at:
        return _named(at[-1]), f"{said}, limit {at[-1].limit:,.0f}"
    good = [pair for pair in good if not place_air.is_dead(state, pair[0])]
    if not good:
        return "unknown", wording_air.stuck(gas, probe.id)
    lowest = place_air.levels(state.site, place, gas)[0].limit
    return "below", f"{said}, {wording_air.below(lowest, below_min(state, good))}"


def _co_elsewhere(state: State) -> list[tuple[str, str]]:
    """A fire's fumes go where the draught takes them: to every place that has no CO probe of its own."""
    return [
        ("unknown", wording_air.elsewhere(other.name))
        for other in state.site.places
        if place_air.reached(state, other, "co") is not None
    ]


def _named(level: Level) -> str:
    return "no_entry" if level.name == "no_entry" else "leave"


def _alarms(state: State, place: Place) -> list[tuple[str, str]]:
    """A gas alarm that stands, also one whose reading is down while nobody has said that all are out."""
    found = []
    for kind in ("gas_high", "gas_over_range"):
        for alarm in state.board.standing.values():
            if alarm.finding.subject != Subject(kind, place.id) or alarm.finding.late:
                continue
            down = alarm.state.value.startswith(("latched", "returned"))
            grave = alarm.finding.level in ("leave", "evacuate", "over_range") and not down
            found.append(("leave" if grave else "no_entry", wording_air.standing(alarm.number, down)))
    return found


def believed(state: State, place: Place, gas: str) -> list[tuple[Probe, Window]]:
    """Probes whose word holds for the air now: in service, heard and measured lately enough."""
    if state.broker_lost:
        return []
    return [pair for pair in state.good(place.id, gas) if _is_of_now(state, *pair)]


def _is_of_now(state: State, probe: Probe, window: Window) -> bool:
    allowed_ms = int(probe.silent_after_s * 1000)
    # A probe just put back into service has time to be heard again, and its last word is as old as it is.
    return (
        state.run_ms - window.heard_run_ms <= allowed_ms
        and state.at_ms - window.measured_ms <= allowed_ms
        and not window.behind_ms
    )


def _gone(state: State, place: Place, gas: str) -> tuple[int, int]:
    """How many of the place's probes of a gas are not heard, and how many are out of service."""
    probes = [probe for probe in state.site.probes_of[place.id] if probe.quantity == gas]
    out = sum(probe.id in state.out_of_service for probe in probes)
    return len(probes) - out, out


def below_min(state: State, good: list[tuple[Probe, Window]]) -> int:
    """For how many minutes at least each of these probes has said less than its lowest level, gaps apart."""
    known = [state.air.gas[probe.id] for probe, _ in good if probe.id in state.air.gas]
    if not known or not all(one.below_ms for one in known):
        return 0
    return max(0, min((one.last_ms - one.below_ms) // 60_000 for one in known))
