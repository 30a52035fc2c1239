"""What a week came to, held against the truth: turns, forecasts, calls needless and missed.

The truth is the simulators' alone: when each bed was turned, and how warm it was at each probe's place.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NamedTuple

from gateway.core.effects import AlarmChange, Notice, TurnKnown
from tests.scenarios import week_heat
from tests.scenarios.floor import HOUR, MINUTE, ms
from tests.scenarios.week_heat import (
    CALLED_WITHIN_MS,
    HIGH_C,
    NEAR_K,
    NEAR_MS,
    ON_MS,
    Warm,
    true_hottest,
)
from tests.scenarios.week_site import BEDS

if TYPE_CHECKING:
    from tests.scenarios.week import Week

#: A turn told is that turn where its end is told within this of the true one.
SAME_TURN_MS = 15 * MINUTE


class Share(NamedTuple):
    """So many of so many, and Wilson's 95 % interval."""

    of: int
    all: int

    def __str__(self) -> str:
        if not self.all:
            return "0 of 0"
        low, high = wilson(self.of, self.all)
        return f"{self.of} of {self.all} ({self.of / self.all:.3f}, {low:.3f} to {high:.3f})"


def wilson(of: int, count: int, z: float = 1.96) -> tuple[float, float]:
    """Wilson's score interval (E. B. Wilson, J. Am. Stat. Assoc. 22:209, 1927; formula from memory)."""
    share, square = of / count, z * z / count
    middle = (share + square / 2) / (1 + square)
    half = z / (1 + square) * math.sqrt(share * (1 - share) / count + square / (4 * count))
    return middle - half, middle + half


@dataclass
class Sums:
    """The numbers of one week or of many (`add`)."""

    bed_weeks: float = 0.0
    readings: int = 0
    nights: int = 0
    true_turns: int = 0
    seen_turns: int = 0
    told_turns: int = 0
    right_turns: int = 0
    doubled: int = 0
    delays_min: list[float] = field(default_factory=list)
    highs: int = 0
    highs_called: int = 0
    highs_stood: int = 0
    highs_blind: int = 0
    highs_short: int = 0
    missed: list[str] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)
    hot_alarms: int = 0
    needless_hot: list[str] = field(default_factory=list)
    unseen_alarms: int = 0
    needless_unseen: list[str] = field(default_factory=list)
    alarms: Counter[str] = field(default_factory=Counter)
    night_calls: Counter[str] = field(default_factory=Counter)
    night_calls_by_floor: Counter[str] = field(default_factory=Counter)
    errors_k: dict[int, list[float]] = field(default_factory=lambda: defaultdict(list))
    inside: dict[int, list[bool]] = field(default_factory=lambda: defaultdict(list))

    @property
    def highs_answered(self) -> int:
        """High heats somebody had been rung for, be it long before."""
        return self.highs_called + self.highs_stood + self.highs_blind

    def add(self, other: Sums) -> None:
        """Take another week's numbers in."""
        for name, value in vars(other).items():
            mine = getattr(self, name)
            if isinstance(mine, Counter):
                mine.update(value)
            elif isinstance(mine, dict):
                for key, items in value.items():
                    mine[key] += items
            else:
                setattr(self, name, mine + value)


def sums(week: Week) -> Sums:
    """The numbers of a week."""
    found = Sums(
        bed_weeks=len(BEDS) * (week.end_ms - week.start_ms) / (7 * 24 * HOUR), readings=week.readings
    )
    found.nights = round((week.end_ms - week.start_ms) / (24 * HOUR))
    warm = true_hottest(week.truth)
    _turns(week, found)
    _heat(week, true_hottest(week.truth, in_grain=True), found)
    _calls(week, found)
    _forecasts(week, warm, found)
    return found


def true_turns(truth: Iterable[dict[str, Any]]) -> dict[str, list[tuple[int, int]]]:
    """Each bed's whole turns: when they began and ended."""
    found: dict[str, list[tuple[int, int]]] = {bed: [] for bed in BEDS}
    for line in truth:
        if line["kind"] == "turn" and line["ended_at"] is not None:
            found[line["bed"]].append((ms(line["began_at"]), ms(line["ended_at"])))
    return found


def known_turns(week: Week) -> dict[int, tuple[TurnKnown, int]]:
    """Each turn as it was known last, and when its being seen was first told (0: never)."""
    found: dict[int, tuple[TurnKnown, int]] = {}
    for at_ms, one in week.effects:
        if isinstance(one, TurnKnown):
            seen_ms = found[one.turn][1] if one.turn in found else 0
            if one.source != "recorded" and not seen_ms:
                seen_ms = at_ms
            found[one.turn] = (one, seen_ms)
    return found


def _turns(week: Week, found: Sums) -> None:
    true = true_turns(week.truth)
    known = [
        (one, seen_ms)
        for one, seen_ms in known_turns(week).values()
        if one.began_at_ms > week.start_ms + 30 * MINUTE and one.state not in ("withdrawn", "void")
    ]
    ends = {bed: [end for begun, end in turns if begun > week.start_ms + 90 * MINUTE
                  and end < week.end_ms - HOUR] for bed, turns in true.items()}  # fmt: skip
    found.true_turns = sum(map(len, ends.values()))
    for bed, turns in ends.items():
        told = [(one, at_ms) for one, at_ms in known if one.bed == bed and at_ms]
        for end_ms in turns:
            near = [at_ms for one, at_ms in told if abs(one.ended_at_ms - end_ms) <= SAME_TURN_MS]
            found.seen_turns += bool(near)
            if near:
                found.delays_min.append((min(near) - end_ms) / MINUTE)
            found.doubled += max(0, len(near) - 1)
    for one, seen_ms in known:
        if seen_ms:
            found.told_turns += 1
            found.right_turns += any(
                abs(one.ended_at_ms - end_ms) <= SAME_TURN_MS for _, end_ms in true[one.bed]
            )


def _heat(week: Week, warm: dict[str, Warm], found: Sums) -> None:
    told = week_heat.calls(week)
    for bed, one in told.items():
        found.hot_alarms += len(one.stood)
        found.unseen_alarms += len(one.unseen)
        for needless, times in (
            (found.needless_hot, [since for since, _ in one.stood]),
            (found.needless_unseen, one.unseen),
        ):
            for since in times:
                if warm[bed].most(since - NEAR_MS, since + NEAR_MS) < HIGH_C - NEAR_K:
                    needless.append(f"{bed} at {_hours(week, since)}")
    for bed, line in warm.items():
        for began, last in line.over(HIGH_C, ON_MS):
            if last - began < ON_MS + CALLED_WITHIN_MS:
                found.highs_short += 1
                continue
            found.highs += 1
            judged = week_heat.judge(week, bed, told[bed], began, last)
            found.highs_called += judged.how == "called"
            found.highs_stood += judged.how == "stood"
            found.highs_blind += judged.how == "blind"
            if judged.how == "missed":
                found.missed.append(judged.line)
            if judged.failed:
                found.failed.append(judged.line)


def _calls(week: Week, found: Sums) -> None:
    kinds: dict[int, AlarmChange] = {}
    rung: set[int] = set()
    for at_ms, one in week.effects:
        if isinstance(one, AlarmChange):
            if one.number not in kinds:
                found.alarms[f"{one.kind} {one.priority}"] += 1
            kinds[one.number] = one
        elif isinstance(one, Notice) and one.kind == "call" and not one.silent and one.alarm not in rung:
            rung.add(one.alarm or 0)
            hour = (at_ms // HOUR) % 24
            alarm = kinds.get(one.alarm or 0)
            if alarm is not None and (hour >= 21 or hour < 7):
                found.night_calls[alarm.kind] += 1
                found.night_calls_by_floor[BEDS.get(alarm.place or "", "elsewhere")] += 1


def _forecasts(week: Week, warm: dict[str, Warm], found: Sums) -> None:
    true = true_turns(week.truth)
    for said in week.forecasts:
        made_ms, bed = ms(said["made_at"]), said["bed"]
        if bed not in warm:
            continue
        for point in said["points"]:
            at_ms = ms(point["at"])
            ahead_h = round((at_ms - made_ms) / HOUR)
            if ahead_h not in (2, 4) or abs(at_ms - made_ms - ahead_h * HOUR) > 5 * MINUTE:
                continue
            if any(began <= at_ms and end >= made_ms for began, end in true[bed]):
                continue
            actual = warm[bed].at(at_ms)
            if actual is None or point["c"] is None:
                continue
            found.errors_k[ahead_h].append(abs(point["c"] - actual))
            if point["low_c"] is not None:
                found.inside[ahead_h].append(point["low_c"] <= actual <= point["high_c"])


def _hours(week: Week, at_ms: int) -> str:
    return f"{(at_ms - week.start_ms) / HOUR:.1f} h"


def _median(values: Sequence[float]) -> str:
    return f"{sorted(values)[len(values) // 2]:.2f}" if values else "none"


def told(found: Sums) -> list[str]:
    """The numbers as lines."""
    floor_nights = max(1, found.nights) * len(set(BEDS.values()))
    lines = [
        f"{found.bed_weeks:.0f} bed-weeks, {found.readings:,} readings kept",
        f"turns seen: {Share(found.seen_turns, found.true_turns)}",
        f"turns told that were so: {Share(found.right_turns, found.told_turns)}, twice: {found.doubled}",
        f"known after the end (median): {_median(found.delays_min)} min",
        f"high heat at a probe in the grain, called in time: {Share(found.highs_called, found.highs)}",
        f"  or its alarm stood, had rung and was answered: {found.highs_stood} more",
        f"  or the bed was called as not being watched: {found.highs_blind} more",
        f"  in all: {Share(found.highs_answered, found.highs)}",
        f"  too short to be judged: {found.highs_short} more",
        *(f"  missed: {line}" for line in found.missed),
        f"  missed though the gateway heard it: {len(found.failed)}",
        f"bed_hot alarms: {found.hot_alarms}, needless: {len(found.needless_hot)}",
        *(f"  needless: {line}" for line in found.needless_hot),
        f"beds unseen where hottest: {found.unseen_alarms} called, needless: {len(found.needless_unseen)}",
        *(f"  needless: {line}" for line in found.needless_unseen),
        f"alarms by kind: {dict(sorted(found.alarms.items()))}",
        f"calls a night and floor: {sum(found.night_calls.values()) / floor_nights:.3f}",
        f"  {dict(found.night_calls)} {dict(found.night_calls_by_floor)}",
    ]
    for ahead_h, errors in sorted(found.errors_k.items()):
        inside = found.inside[ahead_h]
        lines.append(
            f"forecast {ahead_h} h: median error {_median(errors)} K of {len(errors)}, "
            f"interval holds {Share(sum(inside), len(inside))}"
        )
    return lines
