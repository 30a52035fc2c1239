"""The air people breathe: every entry place, its gases, who is in.

Each gas probe's day is kept as exposure means, a CO2 probe's last hour as the room's slope. The instant
levels are in `rules.place_air`, what is known before somebody goes in is in `rules.air_entry`, who is inside
in `follow.air_people`.
"""

from __future__ import annotations

from gateway.core.board_state import Out
from gateway.core.estimate import shut_room
from gateway.core.estimate.shut_room import RoomAir
from gateway.core.finding import Finding, Subject
from gateway.core.follow import air_people
from gateway.core.follow.air_state import Gas
from gateway.core.heard import Heard
from gateway.core.reading import CLOCK_UNSURE, OWN_TIME
from gateway.core.rules import place_air
from gateway.core.rules.air_entry import entry_state
from gateway.core.science import exposure
from gateway.core.science.exposure import Gauge
from gateway.core.site import Place, Probe
from gateway.core.state import State

__all__ = ["entered", "entry_state", "finding", "gauge", "moved", "next_run_ms", "reading", "site_changed",
           "tick"]  # fmt: skip

UNKNOWN = "air_unknown"
#: An instrument that names no range, nor what is garbage: no bound, ten times any level.
_NO_TOP_PPM = {"co2": 1e6, "co": 50_000.0}


def gauge(probe: Probe) -> Gauge:
    """The probe as an instrument: the end of its range, calibrated, and how long a reading stands."""
    end = probe.range_high if probe.range_high is not None else probe.plausible_high
    top = _NO_TOP_PPM.get(probe.quantity, 1e6) if end is None else probe.gain * end + probe.offset
    return Gauge(top, place_air.hold_ms(probe))


def reading(state: State, heard: Heard, out: Out) -> None:
    """Take a reading of a gas."""
    from gateway.core.happenings_floor import tell

    place, probe = heard.place, heard.probe
    if not place_air.judged(place, probe.quantity):
        return
    gas = state.air.gas.get(probe.id)
    if gas is None:
        room = RoomAir() if probe.quantity == "co2" else None
        gas = state.air.gas[probe.id] = Gas(room=room)
    found = place_air.judge(state, heard, gas) if heard.newest else []
    if exposure.take(gas.exposure, gauge(probe), heard.measured_ms, heard.value):
        _follow(state, place, heard, gas)
    if place.id in state.air.unknown:
        found += _unknown(state)
    if found:
        tell(state, out, found)


def _follow(state: State, place: Place, heard: Heard, gas: Gas) -> None:
    if gas.room is not None:
        shut_room.take(gas.room, heard.measured_ms, max(0.0, heard.value))
    gap = heard.measured_ms - gas.last_ms > place_air.hold_ms(heard.probe)
    if gap:
        gas.since_ms = heard.measured_ms
    if heard.value >= place_air.levels(state.site, place, heard.probe.quantity)[0].limit:
        gas.below_ms = 0
    elif gap or not gas.below_ms:
        gas.below_ms = heard.measured_ms
    gas.last_ms = heard.measured_ms


def tick(state: State, out: Out) -> list[Finding]:
    """Places whose last gas probe went, and people who did not check out."""
    return [*_unknown(state), *air_people.tick(state)]


def next_run_ms(state: State) -> int:
    """A running time before which time alone brings nothing; a probe's silence is known by `silence`."""
    return air_people.next_run_ms(state)


def _unknown(state: State) -> list[Finding]:
    found = []
    for place in state.site.places:
        unknown = bool(_lost(state, place))
        if unknown != (place.id in state.air.unknown):
            if unknown:
                state.air.unknown.append(place.id)
            else:
                state.air.unknown.remove(place.id)
            found.append(unknown_finding(state, place))
    return found


def _lost(state: State, place: Place) -> list[str]:
    """The gases of which the place has probes, and every one is silent, stuck or out of service.

    Where none was ever heard there is no watch to lose: that each is silent is said, and by `entry_state`.
    """
    probes: dict[str, list[Probe]] = {}
    for probe in state.site.probes_of[place.id]:
        if place_air.judged(place, probe.quantity):
            probes.setdefault(probe.quantity, []).append(probe)
    return [
        gas
        for gas, those in probes.items()
        if all(_is_gone(state, probe) for probe in those) and any(_was_there(state, probe) for probe in those)
    ]


def _was_there(state: State, probe: Probe) -> bool:
    window = state.windows.get(probe.id)
    return probe.id in state.out_of_service or (window is not None and window.heard_run_ms > 0)


def _is_gone(state: State, probe: Probe) -> bool:
    window = state.windows.get(probe.id)
    if probe.id in state.out_of_service or (window is not None and window.silent):
        return True
    return place_air.is_dead(state, probe)


def _told_until_ms(state: State, probe: Probe, measured_ms: int) -> int:
    """Until when the probe told of the air: one that is out of service or stands still may send on."""
    dead_ms = place_air.dead_since_ms(state, probe)
    ends = (measured_ms, state.out_since_ms.get(probe.id), dead_ms)
    return min(one for one in ends if one is not None)


def unknown_finding(state: State, place: Place) -> Finding:
    """The place's air being unknown as it stands now: which gas, how many probes silent or out of service."""
    lost = _lost(state, place)
    gases = lost or place_air.GASES
    probes = [probe for probe in state.site.probes_of[place.id] if probe.quantity in gases]
    out = sum(probe.id in state.out_of_service for probe in probes)
    stuck = sum(place_air.is_dead(state, probe) for probe in probes if probe.id not in state.out_of_service)
    silent = len(probes) - out - stuck
    parts = [f"{silent} not heard"] if lost and silent else []
    parts += [f"{stuck} stuck"] if stuck else []
    parts += [f"{out} out of service"] if out else []
    heard = [(p, w) for p in probes if (w := state.windows.get(p.id)) is not None and w.value is not None]
    last = max(heard, key=lambda pair: pair[1].measured_ms, default=None)
    until_ms = max((_told_until_ms(state, probe, window.measured_ms) for probe, window in heard), default=0)
    return Finding(
        Subject(UNKNOWN, place.id),
        place.id in state.air.unknown,
        "high",
        "unknown",
        1,
        value=last[1].value if last else None,
        unit="ppm",
        measured_at_ms=last[1].measured_ms if last else None,
        since_ms=until_ms or None,
        trend_per_h=last[1].trend_per_h() if last else None,
        hottest_probe=last[0].id if last else None,
        detail=", ".join(parts),
        inside=air_people.inside(state, place.id),
    )


def entered(state: State, event: object, out: Out) -> None:
    """What people recorded of a piece changes the load, which is looked up when asked for."""


def moved(state: State, by_ms: int) -> None:
    """The clock was set: what is dated by it, and by when people are to be out, moves along."""
    for probe, gas in state.air.gas.items():
        window = state.windows.get(probe)
        if window is not None and window.flags & OWN_TIME and not window.flags & CLOCK_UNSURE:
            continue
        exposure.moved(gas.exposure, by_ms)
        if gas.room is not None:
            shut_room.moved(gas.room, by_ms)
        gas.since_ms += by_ms
        gas.last_ms += by_ms
        gas.below_ms += by_ms if gas.below_ms else 0
    air_people.moved(state, by_ms)


def site_changed(state: State) -> None:
    """What the site no longer has is forgotten."""
    site, air = state.site, state.air
    air.gas = {probe: gas for probe, gas in air.gas.items() if probe in site.probe}
    air.unknown = [place for place in air.unknown if place in site.place]
    air.inside = {who: one for who, one in air.inside.items() if one.place in site.place}


def finding(state: State, subject: Subject) -> Finding | None:
    """What stands behind an alarm of this family now."""
    place = state.site.place.get(subject.place or "")
    if place is None:
        return None
    if subject.kind == "gas_high":
        return place_air.high(state, place, place_air.standing_gas(state, place))
    if subject.kind == "gas_over_range":
        return place_air.over_range(state, place)
    if subject.kind == UNKNOWN:
        return unknown_finding(state, place)
    return air_people.finding(state, place) if subject.kind == air_people.MISSED else None
