"""The gases people breathe at each place, against its instant levels; and a probe at the end of its range.

One alarm a place: CO2 and CO each climb a ladder of their own, and the alarm stands as high as both together,
so that a second gas, or a higher level of either, calls everybody again. Where combustion is meant to be, in
a kiln or below its floor, CO2 calls only where the place names a level.
"""

from __future__ import annotations

from gateway.core.finding import Finding, Subject
from gateway.core.follow.air_state import Gas
from gateway.core.heard import Heard
from gateway.core.reading import RANGE_HIGH
from gateway.core.rules.limits import Guard, Ladder, Late, Level, ease, level_of, take
from gateway.core.site import Place, Probe, Site
from gateway.core.state import State
from gateway.core.window import Window

GASES = ("co2", "co")
#: Everywhere that people go in; a bed's own CO2 is not room air, CO is CO wherever it is found.
ENTERED = ("room", "steep", "pit", "furnace", "plenum", "kiln")
#: Fire gases are meant to be here.
_FIRED = ("kiln", "plenum")
#: Findings about a probe after which a low value of its says nothing; a high one counts all the same.
_DEAD = ("probe_stuck", "probe_sentinel")
_GUARDS = {"co2": "gas_high", "co": "gas_high_co"}
_OVER = "gas_over_range"
#: How grave a level is, beside all others: what is told where both gases are up.
GRAVITY = {"evacuate": 3, "leave": 2, "no_entry": 1}
#: A CO level weighs above all of CO2's: any new level of either gas makes the sum rise.
_CO_STEP = 3
#: A reading stands for so many intervals; a longer gap is time of which nothing is known.
HOLD_INTERVALS = 3


def hold_ms(probe: Probe) -> int:
    """How long a reading stands for the air (ms)."""
    return int(HOLD_INTERVALS * probe.every_s * 1000)


def judged(place: Place, gas: str) -> bool:
    """Whether this gas is anybody's air at this place."""
    return gas in GASES and place.kind != "outdoors" and (gas == "co" or place.kind in ENTERED)


def levels(site: Site, place: Place, gas: str) -> tuple[Level, ...]:
    """The instant levels of a gas at a place, lowest first."""
    air = site.air
    if gas == "co":
        leave = air.co_leave_ppm if place.co_leave_ppm is None else place.co_leave_ppm
        out = air.co_evacuate_ppm if place.co_evacuate_ppm is None else place.co_evacuate_ppm
        return (
            Level("leave", 1, leave, "highest"),
            Level("evacuate", 2, max(leave, out), "highest"),
        )
    high = air.high_ppm if place.co2_high_ppm is None else place.co2_high_ppm
    leave = air.leave_ppm if place.co2_leave_ppm is None else place.co2_leave_ppm
    return (
        Level("no_entry", 1, high, "highest"),
        Level("leave", 2, max(high, leave), "highest"),
    )


def _calls(place: Place, gas: str) -> bool:
    return gas == "co" or place.kind not in _FIRED or place.co2_high_ppm is not None


def _ladder(site: Site, place: Place, gas: str) -> Ladder:
    air = site.air
    deadband = air.co_deadband_ppm if gas == "co" else air.deadband_ppm
    delays = int(air.on_delay_s * 1000), int(air.off_delay_s * 1000)
    return Ladder(levels(site, place, gas), deadband, *delays, 1)


def judge(state: State, heard: Heard, gas: Gas) -> list[Finding]:
    """Findings of a new reading, newest first by measured time; `gas` is as it was before it."""
    place, quantity = heard.place, heard.probe.quantity
    if not _calls(place, quantity):
        return []
    gap = bool(gas.last_ms) and heard.measured_ms - gas.last_ms > hold_ms(heard.probe)
    found = _over_range(state, heard, gap)
    guard, ladder = state.guard(_GUARDS[quantity], place.id), _ladder(state.site, place, quantity)
    moved, late = _take(state, guard, ladder, heard, heard.value, gap, (quantity,))
    found += [_late(place, "gas_high", one) for one in late]
    if moved:
        found.append(high(state, place, quantity))
    return found


def _take(
    state: State,
    guard: Guard,
    ladder: Ladder,
    heard: Heard,
    value: float,
    gap: bool,
    gases: tuple[str, ...],
) -> tuple[bool, list[Late]]:
    """Set a reading against a ladder; whether the rank moved, and what was found too late."""
    probe, place = heard.probe, heard.place
    if gap:
        # Over an unknown time nobody can say that it was down.
        for mark in guard.marks.get(probe.id, ()):
            mark.under_since_ms = 0
    rose, late = take(guard, ladder, probe.id, value, heard.measured_ms, heard.fresh)
    if rose or not guard.rank or not heard.fresh:
        return rose, late
    watching = [
        (other.id, state.windows[other.id].measured_ms)
        for gas in gases
        for other in state.probes(place.id, gas)
        if other.id in state.windows
    ]
    return ease(guard, ladder, watching), late


def _over_range(state: State, heard: Heard, gap: bool) -> list[Finding]:
    """The instrument is at its end: the truth is at least that, and nobody knows how much more."""
    place, probe = heard.place, heard.probe
    over = bool(heard.flags & RANGE_HIGH)
    key = f"{_OVER} {place.id}"
    if not over and key not in state.guards:
        return []
    air = state.site.air
    delays = int(air.on_delay_s * 1000), int(air.off_delay_s * 1000)
    ladder = Ladder((Level("over_range", 1, 0.5, "highest"),), 0.0, *delays, 1)
    guard = state.guard(_OVER, place.id)
    moved, late = _take(state, guard, ladder, heard, float(over), gap, GASES)
    found = [_late(place, _OVER, one, heard.value, top(probe)) for one in late]
    if moved:
        found.append(over_range(state, place))
    if not guard.rank and not any(mark.over_n for marks in guard.marks.values() for mark in marks):
        del state.guards[key]
    return found


def _late(
    place: Place, kind: str, late: Late, value: float | None = None, limit: float | None = None
) -> Finding:
    level = late.level
    return Finding(
        Subject(kind, place.id), True, level.priority, level.name, level.rank,
        value=late.peak if value is None else value, unit="ppm",
        limit=level.limit if limit is None else limit, measured_at_ms=late.until_ms,
        since_ms=late.since_ms, late=True, hottest_probe=late.probe,
    )  # fmt: skip


def top(probe: Probe) -> float | None:
    """The end of the instrument's range, calibrated."""
    return None if probe.range_high is None else probe.gain * probe.range_high + probe.offset


def is_dead(state: State, probe: Probe) -> bool:
    """Whether the probe speaks and tells nothing: it stands still, or sends what means a fault."""
    return dead_since_ms(state, probe) is not None


def dead_since_ms(state: State, probe: Probe) -> int | None:
    """Since when the probe has spoken and told nothing (Unix ms); None where it tells something."""
    track = state.honesty.tracks.get(probe.id)
    return (
        min((track.faults[kind] for kind in _DEAD if kind in track.faults), default=None) if track else None
    )


def highest(state: State, place: Place, gas: str) -> tuple[Probe, Window] | None:
    """The good probe that says most, never a mean."""
    good = state.good(place.id, gas)
    return max(good, key=lambda pair: pair[1].value or 0.0, default=None)


def reached(state: State, place: Place, gas: str) -> Level | None:
    """The level the alarm stands at for this gas; None where it does not."""
    guard = state.guards.get(f"{_GUARDS[gas]} {place.id}")
    return level_of(_ladder(state.site, place, gas), guard.rank) if guard else None


def high(state: State, place: Place, gas: str) -> Finding:
    """The place's gas alarm as it stands now. `gas` is told of where none is up."""
    up = {one: level for one in GASES if (level := reached(state, place, one)) is not None}
    rank = sum(level.rank * (_CO_STEP if one == "co" else 1) for one, level in up.items())
    told = max(up, key=lambda one: (GRAVITY[up[one].name], one == "co"), default=gas)
    level = up.get(told) or levels(state.site, place, told)[0]
    others = [f"{_name(one)} {_ppm(state, place, one)}" for one in up if one != told]
    return _finding(
        state, place, "gas_high", told, rank, level, ", ".join(others), f"{_GUARDS[told]} {place.id}"
    )


def over_range(state: State, place: Place) -> Finding:
    """The alarm of a probe at its end as it stands now."""
    guard = state.guard(_OVER, place.id)
    probe = state.site.probe.get(guard.probe)
    gas = probe.quantity if probe else "co2"
    limit = top(probe) if probe else None
    level = Level("over_range", 1, 0.0 if limit is None else limit, "highest")
    return _finding(state, place, _OVER, gas, guard.rank, level, "", f"{_OVER} {place.id}")


def _finding(
    state: State, place: Place, kind: str, gas: str, rank: int, level: Level, detail: str, key: str
) -> Finding:
    best = highest(state, place, gas)
    guard = state.guards.get(key)
    return Finding(
        Subject(kind, place.id),
        rank > 0,
        "highest",
        level.name,
        max(rank, 1),
        value=best[1].value if best else None,
        unit="ppm",
        limit=level.limit,
        measured_at_ms=best[1].measured_ms if best else state.at_ms,
        since_ms=(guard.since_ms or None) if guard else None,
        trend_per_h=best[1].drift_per_h() if best else None,
        hottest_probe=best[0].id if best else next((p.id for p in state.probes(place.id, gas)), None),
        detail=detail,
        inside=tuple(who for who, one in state.air.inside.items() if one.place == place.id),
    )


def standing_gas(state: State, place: Place) -> str:
    """Of which gas the standing alarm tells, for its words once the reading is down."""
    for alarm in state.board.standing.values():
        if alarm.finding.subject == Subject("gas_high", place.id):
            known = state.site.probe.get(alarm.finding.hottest_probe or "")
            return known.quantity if known and known.quantity in GASES else "co2"
    return "co2"


def _name(gas: str) -> str:
    return {"co2": "CO2", "co": "CO"}[gas]


def _ppm(state: State, place: Place, gas: str) -> str:
    best = highest(state, place, gas)
    return "no reading" if best is None or best[1].value is None else f"{best[1].value:,.0f} ppm"
