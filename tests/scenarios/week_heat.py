"""High heat in a week: when it was true, whether anybody was rung for it in time, and if not, what was heard.

High heat is ten minutes and more at or over the limit at the place of a probe that was in the grain. It is
*called* when a phone rang for that bed's heat between half an hour before it began and half an hour after.
An alarm that stood already, had rung and was answered is counted by itself: it is no call. So is a bed that
somebody was rung for in that time as not being watched, where nothing told of the heat itself: somebody was
sent to look. All else is *missed*, and each line of it says when somebody was rung after all, and what the
gateway heard meanwhile of the probes that were hot. Where it heard the on-delay full of readings at or over
the limit, the gateway *failed*: no instrument and no link is to blame. Heat over again within the half hour
is counted, not judged.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NamedTuple

from gateway.core.effects import AlarmChange, Notice
from tests.scenarios.floor import HOUR, MINUTE, ms
from tests.scenarios.week_site import BEDS

if TYPE_CHECKING:
    from tests.scenarios.week import Week

#: The floor's and the couch's limit of every day in that site.
HIGH_C, ON_MS = 22.0, 10 * MINUTE
#: A call comes at most so long after ten minutes over the limit (readings each minute, lag, a delayed link).
CALLED_WITHIN_MS = 20 * MINUTE
#: A call is needless where nothing within so much of the limit was true so near to it.
NEAR_K, NEAR_MS = 0.5, 30 * MINUTE
_KINDS = ("bed_hot", "bed_unwatched")
#: What the link may hold a message back, and a minute of judging.
LINK_MS = 6 * MINUTE


class Warm:
    """One bed's true temperature at its warmest probe's place, minute by minute."""

    def __init__(self) -> None:
        self.at_ms: list[int] = []
        self.c: list[float] = []

    def take(self, at_ms: int, c: float) -> None:
        if self.at_ms and self.at_ms[-1] == at_ms:
            self.c[-1] = max(self.c[-1], c)
        else:
            self.at_ms.append(at_ms)
            self.c.append(c)

    def over(self, limit: float, hold_ms: int) -> list[tuple[int, int]]:
        """Times from and to at or over a limit for at least so long."""
        runs: list[tuple[int, int]] = []
        began: int | None = None
        last = 0
        for at_ms, c in zip([*self.at_ms, 0], [*self.c, -math.inf], strict=True):
            if c >= limit:
                began = at_ms if began is None else began
                last = at_ms
            elif began is not None:
                if last - began >= hold_ms:
                    runs.append((began, last))
                began = None
        return runs

    def most(self, from_ms: int, to_ms: int) -> float:
        low, high = bisect_left(self.at_ms, from_ms), bisect_left(self.at_ms, to_ms + 1)
        return max(self.c[low:high], default=-math.inf)

    def at(self, at_ms: int) -> float | None:
        i = bisect_left(self.at_ms, at_ms)
        return self.c[i] if i < len(self.at_ms) and self.at_ms[i] - at_ms < 2 * MINUTE else None


def true_hottest(truth: Iterable[dict[str, Any]], in_grain: bool = False) -> dict[str, Warm]:
    """By bed; with `in_grain` only where a probe was in the grain at the time: one on a hook cannot tell."""
    found = {bed: Warm() for bed in BEDS}
    for line in truth:
        if in_grain and not line.get("in_place"):
            continue
        if line["kind"] == "temperature" and line["place"] in found:
            found[line["place"]].take(ms(line["at"]), line["value_c"])
    return found


@dataclass
class Calls:
    """What there was of one bed's hot alarms: from when to when each stood, and when a phone rang for it.

    `blind`, `blind_rung`: the same of its not being watched; `unseen`: when that began by its heat alone.
    """

    stood: list[tuple[int, int]] = field(default_factory=list)
    rung: list[int] = field(default_factory=list)
    blind: list[tuple[int, int]] = field(default_factory=list)
    blind_rung: list[int] = field(default_factory=list)
    unseen: list[int] = field(default_factory=list)

    def rang(self, from_ms: int, to_ms: int) -> bool:
        return any(from_ms <= at_ms <= to_ms for at_ms in self.rung)


class Judged(NamedTuple):
    """One high heat: called, stood, blind or missed; a line of it, and whether the gateway failed."""

    how: str
    line: str
    failed: bool


def calls(week: Week) -> dict[str, Calls]:
    """By bed, in the order of time. An alarm stands to its end, not to the morning that lets it lapse."""
    found: dict[str, Calls] = defaultdict(Calls)
    beds: dict[int, tuple[str, str]] = {}
    for at_ms, one in week.effects:
        if isinstance(one, AlarmChange) and one.kind in _KINDS and one.place and not one.late:
            told = found[one.place]
            stood = told.stood if one.kind == "bed_hot" else told.blind
            if one.level == "unwatched_hot" and one.change.signal in ("raise", "rise"):
                told.unseen.append(at_ms)
            if one.change.signal == "raise":
                beds[one.number] = one.place, one.kind
                stood.append((at_ms, week.end_ms))
            elif one.change.signal == "clear" and stood:
                stood[-1] = (stood[-1][0], at_ms)
        elif isinstance(one, Notice) and one.kind in ("call", "repeat") and not one.silent:
            bed, kind = beds.get(one.alarm or 0, ("", ""))
            if bed:
                (found[bed].rung if kind == "bed_hot" else found[bed].blind_rung).append(at_ms)
    return found


def judge(week: Week, bed: str, told: Calls, began: int, last: int) -> Judged:
    """One high heat that lasted long enough to be judged."""
    until = began + ON_MS + CALLED_WITHIN_MS
    rung = next((at_ms for at_ms in told.rung if at_ms >= began - NEAR_MS), None)
    if rung is not None and rung <= until:
        return Judged("called", "", False)
    if any(since <= began and to > until and told.rang(since, began) for since, to in told.stood):
        return Judged("stood", "", False)
    after = "nobody was rung"
    if rung is not None and rung <= last:
        after = f"rung {(rung - began) // MINUTE} min after it began"
    heard, over_ms, most = _heard(week, bed, began, until)
    sent = any(began - NEAR_MS <= at_ms <= until for at_ms in told.blind_rung)
    if sent and over_ms < ON_MS and any(since <= until and to > began for since, to in told.blind):
        return Judged("blind", "", False)
    said = f"{heard} readings heard in {(until - began) // MINUTE} min" + (
        f", at most {most:g} C" if heard else ""
    )
    hours, long = (began - week.start_ms) / HOUR, (last - began) / HOUR
    line = f"{bed} at {hours:.1f} h for {long:.1f} h: {after}; {said}, {over_ms // MINUTE} min on end over it"
    return Judged("missed", line, over_ms >= ON_MS)


def _heard(week: Week, bed: str, began: int, until: int) -> tuple[int, int, float]:
    """Of the probes that were hot: readings kept, the longest time on end at or over the limit, the highest.

    What was measured at the very end may still be on its way, so the time over ends a little earlier.
    """
    hot = {
        line["probe"]
        for line in week.truth
        if line["kind"] == "temperature"
        and line["place"] == bed
        and line["in_place"]
        and line["value_c"] >= HIGH_C
        and began <= ms(line["at"]) <= until
    }
    said: dict[str, list[tuple[int, float]]] = defaultdict(list)
    for line in week.inputs:
        if line["kind"] == "reading" and line["probe"] in hot:
            said[line["probe"]].append((ms(line["measured_at"]), line["value"]))
    near = {name: sorted(one for one in rows if began <= one[0] <= until) for name, rows in said.items()}
    values = [value for rows in near.values() for _, value in rows]
    over_ms = max((_over_ms(rows, until - LINK_MS) for rows in near.values()), default=0)
    return len(values), over_ms, max(values, default=-math.inf)


def _over_ms(rows: list[tuple[int, float]], until: int) -> int:
    longest, since = 0, None
    for at_ms, value in rows:
        if at_ms > until:
            break
        if value < HIGH_C:
            since = None
            continue
        since = at_ms if since is None else since
        longest = max(longest, at_ms - since)
    return longest
