"""Any number of probes against a ladder of limits: what bed heat, cold, kiln and room air have in common.

A probe is over a limit when at least two of its readings in a row, spanning the on-delay by *measured* time,
are at or over it. A rank once reached ends when every watching probe has stood at or beyond the deadband on
the good side for the off-delay. Old readings (a backlog) extend runs but move no rank; a run that only old
readings saw comes back as `Late`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import ClassVar, NamedTuple

#: 20.3 is 0.7 under 21; binary arithmetic makes it a little less. Far finer than any instrument, in any unit.
_ROUNDING = 1e-9


class Level(NamedTuple):
    """One limit of a ladder. An empty priority marks a level that is listed and calls nobody."""

    name: str
    rank: int
    limit: float
    priority: str


class Ladder(NamedTuple):
    """Limits in rising rank; `sign` is 1 where more is worse, -1 where less is."""

    levels: tuple[Level, ...]
    deadband: float
    on_ms: int
    off_ms: int
    sign: int


@dataclass(slots=True)
class Mark:
    """One probe against one limit: since when over it, since when well under it (Unix ms, 0 for not)."""

    BRIEF: ClassVar[bool] = True

    over_since_ms: int = 0
    over_until_ms: int = 0
    over_n: int = 0
    peak: float = 0.0
    told: bool = False
    under_since_ms: int = 0


@dataclass(slots=True)
class Guard:
    """One subject's ladder as it stands: the rank reached, since when, and each probe's marks."""

    rank: int = 0
    since_ms: int = 0
    probe: str = ""
    marks: dict[str, list[Mark]] = field(default_factory=dict)


class Late(NamedTuple):
    """A run over a limit that only old readings saw."""

    level: Level
    probe: str
    since_ms: int
    until_ms: int
    peak: float


def take(
    guard: Guard, ladder: Ladder, probe: str, value: float, measured_ms: int, fresh: bool
) -> tuple[bool, list[Late]]:
    """Set a reading against the ladder; returns whether the rank rose, and what was found too late.

    Readings of one probe must come in order of measured time.
    """
    levels, sign = ladder.levels, ladder.sign
    marks = guard.marks.get(probe)
    if marks is None or len(marks) != len(levels):
        marks = guard.marks[probe] = [Mark() for _ in levels]
    rose = False
    ended: list[int] = []
    for index, (mark, level) in enumerate(zip(marks, levels, strict=True)):
        excess = (value - level.limit) * sign
        if excess >= 0:
            rose = _over(guard, ladder, level, mark, probe, value, measured_ms, fresh) or rose
        else:
            if mark.over_n:
                ended.append(index)
            if excess > _ROUNDING - ladder.deadband:
                mark.under_since_ms = 0
            elif not mark.under_since_ms:
                mark.under_since_ms = measured_ms
    return rose, _end(ladder, probe, marks, ended) if ended else []


def _end(ladder: Ladder, probe: str, marks: list[Mark], ended: list[int]) -> list[Late]:
    """End these runs; the highest that was missed stands for those below it, and began when they did."""
    late: list[Late] = []
    for index in reversed(ended):
        mark, level = marks[index], ladder.levels[index]
        if _missed(mark, level, ladder.on_ms):
            began_ms = min(
                one.over_since_ms
                for one, step in zip(marks[: index + 1], ladder.levels, strict=False)
                if one.over_n and step.priority and not one.told
            )
            late.append(Late(level, probe, began_ms, mark.over_until_ms, mark.peak))
            for lower in marks[:index]:
                lower.told = True
        mark.over_n = 0
    return late


def _over(
    guard: Guard,
    ladder: Ladder,
    level: Level,
    mark: Mark,
    probe: str,
    value: float,
    measured_ms: int,
    fresh: bool,
) -> bool:
    if not mark.over_n:
        mark.over_since_ms, mark.peak, mark.told = measured_ms, value, False
    mark.over_n += 1
    mark.over_until_ms = measured_ms
    mark.under_since_ms = 0
    if (value - mark.peak) * ladder.sign > 0:
        mark.peak = value
    if guard.rank >= level.rank:
        mark.told = True
        return False
    if not fresh or mark.over_n < 2 or measured_ms - mark.over_since_ms < ladder.on_ms:
        return False
    guard.rank, guard.since_ms, guard.probe = level.rank, mark.over_since_ms, probe
    mark.told = True
    return True


def _missed(mark: Mark, level: Level, on_ms: int) -> bool:
    return (
        not mark.told
        and bool(level.priority)
        and mark.over_n >= 2
        and mark.over_until_ms - mark.over_since_ms >= on_ms
    )


def ease(guard: Guard, ladder: Ladder, watching: Iterable[tuple[str, int]]) -> bool:
    """Lower the rank as far as all watching probes allow; returns whether it fell.

    `watching` is (probe, its newest measured time in ms); a probe without marks here has said nothing yet.
    """
    seen = [(guard.marks[probe], newest) for probe, newest in watching if probe in guard.marks]
    if not seen:
        return False
    before = guard.rank
    for index in range(len(ladder.levels) - 1, -1, -1):
        level = ladder.levels[index]
        if level.rank > guard.rank:
            continue
        if not all(
            marks[index].under_since_ms and newest - marks[index].under_since_ms >= ladder.off_ms
            for marks, newest in seen
        ):
            break
        guard.rank = ladder.levels[index - 1].rank if index else 0
    return guard.rank < before


def level_of(ladder: Ladder, rank: int) -> Level | None:
    """The level that has a rank, or None for rank 0."""
    return next((level for level in ladder.levels if level.rank == rank), None)
