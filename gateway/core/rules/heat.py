"""Bed heat and bed cold: the hottest good probe against four levels by hours since casting.

turn-at (a line on the list), high and urgent (a call); low for a chilled piece. The couch has its own. Where
no cast is recorded the strictest limits hold; a bed recorded empty is not judged. Limits and times are
common practice, no source, unless the programme's file names one.
"""

from __future__ import annotations

from typing import NamedTuple

from gateway.core.estimate.bed_heat.balance import Limit
from gateway.core.finding import Finding, Subject
from gateway.core.follow import heat as balance
from gateway.core.piece import day_figure, day_of, hours_since_cast, in_couch, oldest_part
from gateway.core.reading import RANGE_HIGH
from gateway.core.rules import heat_out
from gateway.core.rules.air_said import short
from gateway.core.rules.limits import Ladder, Late, Level, ease, level_of, take
from gateway.core.rules.room_near import near_c
from gateway.core.site import Place, Probe, Programme
from gateway.core.state import State
from gateway.core.window import Window

_MINUTE_MS = 60_000
TURN_AT, HIGH, URGENT = 1, 2, 3


def judge(state: State, place: Place, probe: Probe, window: Window, fresh: bool) -> list[Finding]:
    """Findings of a new bed temperature, newest first by measured time."""
    found: list[Finding] = []
    value, measured_ms = window.value, window.measured_ms
    if value is None:
        return []
    for kind in judged(state, place, value):
        guard = state.guard(kind, place.id)
        ladder = ladder_for(state, place, kind, measured_ms)
        before = guard.rank
        rose, late = take(guard, ladder, probe.id, value, measured_ms, fresh)
        fell = (
            bool(guard.rank)
            and fresh
            and not rose
            and ease(guard, ladder, _newest(state, place, kind, ladder))
        )
        found += [_late(state, place, kind, item) for item in late]
        if rose or (fell and _calls(ladder, before)):
            found.append(finding(state, place, kind))
    return found


def judged(state: State, place: Place, value: float) -> tuple[str, ...]:
    """What a reading is held against: nothing in a bed known empty, unless grain nobody recorded is there."""
    if place.id not in state.pieces.empty:
        return ("bed_hot", "bed_low")
    return ("bed_hot",) if _other_grain(state, place, value) or state.guard("bed_hot", place.id).rank else ()


def _other_grain(state: State, place: Place, value: float) -> bool:
    """Whether the bed has been cool since it was emptied, or makes heat, and this is not the room's air."""
    if place.id not in state.rearmed:
        return False
    air_c = balance.room_c(state, place)
    return air_c is None or value > air_c + balance.ROOM_K


def finding(state: State, place: Place, kind: str) -> Finding:
    """The finding as it stands now, with the newest values."""
    guard = state.guard(kind, place.id)
    lying = state.pieces.beds.get(place.id)
    best = _hottest(state, place.id) if kind == "bed_hot" else extreme(state, place.id, -1)
    # Where nobody is heard any more, what was heard last: the alarm stands, and rings with a figure.
    told = best or _last_heard(state, place.id, 1 if kind == "bed_hot" else -1)
    measured_ms = told[1].measured_ms if told else state.at_ms
    ladder = ladder_for(state, place, kind, measured_ms)
    level = level_of(ladder, guard.rank)
    on = level is not None and bool(level.priority)
    shown = level if on and level is not None else ladder.levels[min(1, len(ladder.levels) - 1)]
    turned_ms = oldest_part(lying).turned_ms if lying and lying.turned else None
    trend = best[1].trend_per_h(newest_turn(state, place.id)) if best else None
    value = told[1].value if told else None
    above = next((step for step in ladder.levels if step.rank > shown.rank), None)
    return Finding(
        Subject(kind, place.id),
        on,
        shown.priority,
        shown.name,
        shown.rank,
        value=value,
        unit="Cel",
        limit=shown.limit,
        measured_at_ms=measured_ms,
        since_ms=guard.since_ms or None,
        trend_per_h=trend,
        next_limit=above.limit if above else None,
        next_at_ms=_next_at_ms(state, place, best[1] if best else None, trend, above),
        hottest_probe=told[0].id if told else None,
        piece=lying.piece if lying else None,
        day=day_of(lying, state.at_ms) if lying else None,
        last_turned_ms=turned_ms,
        detail=_detail(state, place, ladder, told[1] if told else None),
        air=short(state, place),
        room_c=near_c(state, place, shown.limit) if kind == "bed_hot" else None,
    )


def _detail(state: State, place: Place, ladder: Ladder, told: Window | None) -> str:
    out_c = _out_c(state, place, ladder)
    if told is not None and told.value is not None and ladder.sign > 0:
        if told.flags & RANGE_HIGH:
            return "or more"
        if out_c is not None and told.value <= out_c:
            return "probes out?"
    return "" if place.id in state.pieces.beds else "no cast recorded"


def _next_at_ms(
    state: State, place: Place, window: Window | None, trend: float | None, above: Level | None
) -> int | None:
    """When the next level is met: by the heat balance, and while that cannot say, by the trend."""
    if above is None or window is None:
        return None
    told = balance.forecast(state, place, [Limit(above.name, lambda _: above.limit)])
    if told.not_yet is None:
        return told.limits[0].at_ms
    return reached_at(window.value, window.measured_ms, trend, above.limit)


def extreme(state: State, place: str, sign: int) -> tuple[Probe, Window] | None:
    """The hottest (sign 1) or coldest (-1) good temperature probe of a place."""
    good = state.good(place, "temperature")
    return max(good, key=lambda pair: sign * (pair[1].value or 0.0), default=None)


def _hottest(state: State, place: str) -> tuple[Probe, Window] | None:
    """The hottest probe that is heard, be it doubted or out of the grain: nothing silences it."""
    heard = state.heard(place, "temperature")
    return max(heard, key=lambda pair: pair[1].value or 0.0, default=None)


def _last_heard(state: State, place: str, sign: int) -> tuple[Probe, Window] | None:
    """The thermometer that spoke last, of several at once the hottest (sign 1) or coldest (-1)."""
    probes = [probe for probe in state.site.probes_of[place] if probe.quantity == "temperature"]
    spoke = [(probe, state.windows[probe.id]) for probe in probes if probe.id in state.windows]
    known = [one for one in spoke if one[1].value is not None]
    return max(known, key=lambda one: (one[1].measured_ms, sign * (one[1].value or 0.0)), default=None)


def reached_at(
    value: float | None, measured_ms: int, trend_per_h: float | None, limit: float | None
) -> int | None:
    """When a value rising at a trend meets a limit (Unix ms); None if it does not within 24 h."""
    if value is None or limit is None or trend_per_h is None or trend_per_h < 0.05 or value >= limit:
        return None
    hours = (limit - value) / trend_per_h
    return measured_ms + int(hours * 3_600_000) if hours <= 24 else None


def newest_turn(state: State, place: str) -> int:
    """When any part of the bed was last turned (Unix ms), 0 if never: a trend must not look across it."""
    lying = state.pieces.beds.get(place)
    return max(part.turned_ms for part in lying.parts) if lying and lying.turned else 0


def ladder_for(state: State, place: Place, kind: str, measured_ms: int) -> Ladder:
    """The limits of a bed at the whole minute of a measurement."""
    minute = measured_ms // _MINUTE_MS
    key = (kind[4] + place.id, minute)
    ladder = state.ladders.get(key)
    if ladder is None:
        if len(state.ladders) > 512:
            state.ladders.clear()
        ladder = state.ladders[key] = _ladder(state, place, kind, minute * _MINUTE_MS)
    return ladder


def _ladder(state: State, place: Place, kind: str, at_ms: int) -> Ladder:
    programme = state.programme(place)
    turn_at, high, urgent, low = _figures(state, place, programme, at_ms)
    if kind == "bed_low":
        levels: tuple[Level, ...] = (Level("low", 1, low, "low"),)
    else:
        levels = (
            Level("turn_at", TURN_AT, turn_at, ""),
            Level("high", HIGH, high, "medium"),
            Level("urgent", URGENT, urgent, "high"),
        )
    sign = -1 if kind == "bed_low" else 1
    return Ladder(
        levels,
        programme.deadband_k,
        int(programme.on_delay_s * 1000),
        int(programme.off_delay_s * 1000),
        sign,
    )


def _figures(
    state: State, place: Place, programme: Programme, at_ms: int
) -> tuple[float, float, float, float]:
    lying = state.pieces.beds.get(place.id)
    if lying is None or not programme.days:
        high = min((programme.strict_high_c, *(day.high_c for day in programme.days)))
        urgent = min((programme.strict_urgent_c, *(day.urgent_c for day in programme.days)))
        return high, high, urgent, min((5.0, *(day.low_c for day in programme.days)))
    hours = hours_since_cast(lying, at_ms)
    couch = programme.couch
    if couch is not None and in_couch(lying, at_ms):
        return couch.high_c, couch.high_c, couch.urgent_c, couch.low_c
    return (
        day_figure(programme, hours, "turn_at_c"),
        day_figure(programme, hours, "high_c"),
        day_figure(programme, hours, "urgent_c"),
        day_figure(programme, hours, "low_c"),
    )


def _newest(state: State, place: Place, kind: str, ladder: Ladder) -> list[tuple[str, int]]:
    """The probes that must have come down, and until when what they say is believed.

    One that came down to the room's air may hang in it, and must stand there longer (`heat_out`).
    """
    watching = _watching(state, place.id, kind)
    calls = state.guard(kind, place.id).rank >= HIGH
    out_c = _out_c(state, place, ladder) if calls else None
    if out_c is None:
        return [(probe.id, window.measured_ms) for probe, window in watching]
    more_ms = heat_out.more_ms(state, ladder.off_ms)
    return [
        (probe.id, window.measured_ms - (more_ms if (window.value or 0.0) <= out_c else 0))
        for probe, window in watching
    ]


def _out_c(state: State, place: Place, ladder: Ladder) -> float | None:
    return heat_out.under_c(state, place, _high(ladder).limit) if ladder.sign > 0 else None


def _watching(state: State, place: str, kind: str) -> list[tuple[Probe, Window]]:
    """Probes that must have come down: the good ones, and a silent one that was over when last heard."""
    guard = state.guard(kind, place)
    watching = []
    for probe in state.probes(place, "temperature"):
        window = state.windows.get(probe.id)
        if window is None or window.value is None:
            continue
        marks = guard.marks.get(probe.id, ())
        if not window.silent or any(mark.over_n for mark in marks):
            watching.append((probe, window))
    return watching


class Held(NamedTuple):
    """The level of heat that a bed is still measured at, and the warmest probe that keeps it there."""

    level: Level
    probe: Probe
    window: Window


def held(state: State, place: Place) -> Held | None:
    """What of the rank once reached the newest readings bear out; None where all of it only waits to end."""
    guard = state.guard("bed_hot", place.id)
    watching = _marked(state, place)
    for index, level in reversed(list(enumerate(_ladder_now(state, place).levels))):
        if level.rank > guard.rank:
            continue
        at = [pair for pair in watching if not guard.marks[pair[0].id][index].under_since_ms]
        if at:
            return Held(level, *max(at, key=lambda pair: pair[1].value or 0.0))
    return None


class Ends(NamedTuple):
    """A heat alarm that ends by itself: about when (Unix ms), if the bed, now at `c` (C), stays under."""

    at_ms: int
    c: float
    under_c: float


def ends(state: State, place: Place) -> Ends | None:
    """When the heat alarm that stands ends, if every probe has come down from it; else None."""
    guard, still = state.guard("bed_hot", place.id), held(state, place)
    if guard.rank < HIGH or (still is not None and still.level.rank >= HIGH):
        return None
    ladder = _ladder_now(state, place)
    high = _high(ladder)
    index = ladder.levels.index(high)
    down = _marked(state, place)
    if not down:
        return None
    out_c, more_ms = _out_c(state, place, ladder), heat_out.more_ms(state, ladder.off_ms)
    ends_ms = max(
        guard.marks[probe.id][index].under_since_ms
        + ladder.off_ms
        + (more_ms if out_c is not None and (window.value or 0.0) <= out_c else 0)
        for probe, window in down
    )
    warmest_c = max(window.value or 0.0 for _, window in down)
    return Ends(ends_ms, warmest_c, high.limit - ladder.deadband)


def _high(ladder: Ladder) -> Level:
    return next(level for level in ladder.levels if level.rank == HIGH)


def _marked(state: State, place: Place) -> list[tuple[Probe, Window]]:
    """Of those that must have come down, the ones that have been held against the ladder."""
    marks = state.guard("bed_hot", place.id).marks
    return [pair for pair in _watching(state, place.id, "bed_hot") if pair[0].id in marks]


def _ladder_now(state: State, place: Place) -> Ladder:
    return ladder_for(state, place, "bed_hot", state.at_ms)


def _calls(ladder: Ladder, rank: int) -> bool:
    level = level_of(ladder, rank)
    return level is not None and bool(level.priority)


def _late(state: State, place: Place, kind: str, late: Late) -> Finding:
    lying = state.pieces.beds.get(place.id)
    return Finding(
        Subject(kind, place.id),
        True,
        late.level.priority,
        late.level.name,
        late.level.rank,
        value=late.peak,
        unit="Cel",
        limit=late.level.limit,
        measured_at_ms=late.until_ms,
        since_ms=late.since_ms,
        late=True,
        hottest_probe=late.probe,
        piece=lying.piece if lying else None,
    )
