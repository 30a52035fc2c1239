"""What a judge of turns is shown, and how its answers are marked: streams, truth, matching, intervals."""

import math
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from gateway.core.estimate.turn_seen import detect as turn_seen
from gateway.core.estimate.turn_seen.detect import Bed, Turns, TurnSeen

NEAR_MS, _MEET_MS = 15 * 60_000, 5 * 60_000


class Arrival(NamedTuple):
    """One reading as it reaches the gateway."""

    at_ms: int
    bed: str
    probe: str
    measured_ms: int
    value: float


class TrueTurn(NamedTuple):
    """What was really done. `full`: the whole bed, end to end. `watched`: see `watched`."""

    bed: str
    began_ms: int
    ended_ms: int
    full: bool
    watched: bool = True


@dataclass
class Scene:
    """Beds, all that arrived (bed "": the room's air), the turns there were, and what else happened."""

    name: str
    beds: list[Bed]
    arrivals: list[Arrival]
    turns: list[TrueTurn]
    troubles: list[tuple[str, str, int, int]] = field(default_factory=list)
    """(kind, bed or "", from ms, to ms): what looks like a turn and is none."""


@dataclass
class Marks:
    """How a judge did."""

    turns: int = 0
    found: int = 0
    one_place: int = 0
    one_place_found: int = 0
    one_place_told: int = 0
    one_place_right: int = 0
    unwatched: int = 0
    unwatched_found: int = 0
    told: int = 0
    right: int = 0
    met: int = 0
    true_met: int = 0
    perhaps: int = 0
    ploughed: int = 0
    withdrawn: int = 0
    partial: int = 0
    partial_found: int = 0
    delays_s: list[float] = field(default_factory=list)
    ended_off_s: list[float] = field(default_factory=list)
    wrong: list[tuple[str, TurnSeen]] = field(default_factory=list)
    missed: list[tuple[str, TrueTurn]] = field(default_factory=list)
    troubles: Counter[str] = field(default_factory=Counter)
    fooled_by: Counter[str] = field(default_factory=Counter)

    def add(self, other: "Marks") -> None:
        """Count another scene's marks in."""
        for name in vars(self):
            mine, theirs = getattr(self, name), getattr(other, name)
            if isinstance(mine, Counter):
                mine.update(theirs)
            else:
                setattr(self, name, mine + theirs)


def watched(
    bed: Bed, arrivals: list[Arrival], out: Callable[[str, int], bool], began_ms: int, ended_ms: int
) -> bool:
    """Whether at least two heights of a bed report a turn: their thermometers hung in the grain when it
    began, 6 in 10 of their readings around it came, meant each 60 s or oftener, and were not all one.
    """
    from_ms, to_ms = began_ms - 10 * 60_000, ended_ms + 15 * 60_000
    said: dict[str, list[float]] = {}
    for one in arrivals:
        if one.bed == bed.id and from_ms <= one.measured_ms <= to_ms:
            said.setdefault(one.probe, []).append(one.value)
    heights = {
        wire.height_cm
        for wire in bed.probes
        if wire.quantity == "temperature"
        and wire.every_s <= 60.0
        and not out(wire.id, began_ms - 10 * 60_000)
        and len(set(values := said.get(wire.id, []))) > 1
        and len(values) >= 0.6 * (to_ms - from_ms) / 1000 / wire.every_s
    }
    return len(heights) > 1


def scene_of(
    name: str,
    beds: list[Bed],
    arrivals: list[Arrival],
    turns: list[TrueTurn],
    troubles: list[tuple[str, str, int, int]],
    forgot_ms: Mapping[str, float],
) -> Scene:
    """A scene whose turns know whether they were watched; `forgot_ms`: since when a probe is out for good."""
    by_id = {bed.id: bed for bed in beds}

    def out(probe: str, at_ms: int) -> bool:
        return at_ms >= forgot_ms[probe]

    told = [
        turn._replace(watched=watched(by_id[turn.bed], arrivals, out, turn.began_ms, turn.ended_ms))
        for turn in turns
    ]
    return Scene(name, beds, arrivals, told, troubles)


def see(scene: Scene, turns: Turns | None = None) -> list[TurnSeen]:
    """Each turn as it was told last, in the order of first telling."""
    turns = Turns() if turns is None else turns
    beds = {bed.id: bed for bed in scene.beds}
    air = {wire.id: wire for bed in scene.beds for wire in bed.air}
    last: dict[int, TurnSeen] = {}
    for one in scene.arrivals:
        if one.bed:
            for seen in turn_seen.take(
                turns, beds[one.bed], one.probe, one.measured_ms, one.value, one.at_ms
            ):
                last[seen.turn] = seen
        else:
            turn_seen.over(turns, air[one.probe], one.measured_ms, one.value, one.at_ms)
    return list(last.values())


def mark(scene: Scene, seen: list[TurnSeen]) -> Marks:
    """Match each turn told to a true one that ended within 15 min, each at most once."""
    marks = Marks()
    told = [one for one in seen if one.kind == "turned" and one.state == "seen"]
    marks.told = len(told)
    marks.perhaps = sum(one.kind == "perhaps" and one.state == "seen" for one in seen)
    marks.ploughed = sum(one.kind == "ploughed" and one.state == "seen" for one in seen)
    marks.withdrawn = sum(one.state == "withdrawn" for one in seen)
    marks.troubles.update(kind for kind, *_ in scene.troubles)
    free = list(told)
    one_place = {bed.id for bed in scene.beds if len({bed.at_m(w) for w in bed.probes}) == 1}
    marks.one_place_told = sum(one.bed in one_place for one in told)
    for turn in sorted(scene.turns, key=lambda one: one.ended_ms):
        near = [one for one in free if one.bed == turn.bed and abs(one.ended_ms - turn.ended_ms) <= NEAR_MS]
        best = min(near, key=lambda one: abs(one.ended_ms - turn.ended_ms), default=None)
        kind = "partial" if not turn.full else "turns" if turn.watched else "unwatched"
        alone = kind == "turns" and turn.bed in one_place
        marks.one_place += alone
        setattr(marks, kind, getattr(marks, kind) + 1)
        if best is None:
            if kind == "turns":
                marks.missed.append((scene.name, turn))
            continue
        free.remove(best)
        marks.right += 1
        marks.one_place_right += turn.bed in one_place
        found = "found" if kind == "turns" else f"{kind}_found"
        setattr(marks, found, getattr(marks, found) + 1)
        marks.one_place_found += alone
        if kind == "turns":
            marks.delays_s.append((best.known_ms - turn.ended_ms) / 1000)
            marks.ended_off_s.append((best.ended_ms - turn.ended_ms) / 1000)
    marks.met = sum(any(_meet(one, turn) for turn in scene.turns) for one in told)
    marks.true_met = sum(
        any(_meet(one, turn) for one in told) for turn in scene.turns if turn.full and turn.watched
    )
    for one in free:
        marks.wrong.append((scene.name, one))
        marks.fooled_by[_cause(scene, one)] += 1
    return marks


def _meet(one: TurnSeen, turn: TrueTurn) -> bool:
    """Whether they are of one bed, and their times lie within some minutes of each other."""
    apart_ms = max(turn.began_ms - one.ended_ms, one.began_ms - turn.ended_ms)
    return one.bed == turn.bed and apart_ms <= _MEET_MS


def _cause(scene: Scene, one: TurnSeen) -> str:
    """What was going on when a turn was told that was none."""
    near = [
        kind
        for kind, bed, from_ms, to_ms in scene.troubles
        if bed in ("", one.bed) and from_ms - NEAR_MS <= one.ended_ms and one.began_ms <= to_ms + 2 * NEAR_MS
    ]
    turned = any(t.bed == one.bed and abs(t.ended_ms - one.ended_ms) <= 4 * NEAR_MS for t in scene.turns)
    return near[0] if near else "wrong time or twice" if turned else "nothing"


def wilson(hits: int, of: int) -> tuple[float, float]:
    """The 95 % interval of a share (E. B. Wilson 1927; formula from memory, checked in the tests)."""
    if not of:
        return (0.0, 1.0)
    z = 1.959964
    share = hits / of
    middle = (share + z * z / (2 * of)) / (1 + z * z / of)
    half = z / (1 + z * z / of) * math.sqrt(share * (1 - share) / of + z * z / (4 * of * of))
    return (round(middle - half, 4), round(middle + half, 4))
