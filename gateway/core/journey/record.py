"""Everything recorded of pieces, kept in the order in which it happened, and the ground that follows from it.

An entry that comes in its order is put onto the ground as it stands. One that comes late with its real time,
and one that puts an older one right, are put in their place, and the ground is worked out again from the
entries. What is older than two weeks is put onto the `base` for good, so that the memory stays small.
"""

from __future__ import annotations

import copy
from bisect import bisect_right, insort
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from gateway.core import codec
from gateway.core.inputs import KINDS, Cast, KilnWorked, Loaded, event_from_plain
from gateway.core.inputs_journey import Corrected, Steeped, Upheld, Voided
from gateway.core.journey import ground as grounds
from gateway.core.journey.fold import fold
from gateway.core.journey.fold_floor import NOTHING
from gateway.core.journey.ground import Firing, Ground
from gateway.core.piece import Lying, Order
from gateway.core.site import Site

#: How far back an entry can be put right (14 days: longer than any piece lies), and how many are kept.
KEPT_MS = 14 * 86_400_000
_MOST = 1500
#: An entry said to be of a later time than it was recorded, by more than this, is odd.
_AHEAD_MS = 120_000
#: No order holds longer than this; one that seems to was given under a wrong clock.
ORDER_MOST_MS = 48 * 3_600_000
#: So far ahead a cast is looked for when something happened to grain that was not there yet.
_SOON_MS = 72 * 3_600_000


@dataclass(slots=True)
class Record:
    """One entry: its journal number, when it happened and when it was recorded (Unix ms), its word and body.

    `odd`: what does not fit, in plain words. `void_n`: the entry that took it back, 0 if none. `mended`: the
    entries that put it right. `upheld`: somebody said it is right as it stands. `turn`: a turn's number.
    `unshown`: a turn that the probes should have shown; `alike`: one they cannot show, the grain was as warm
    everywhere. A turn that only they tell of has an `n` below 0.
    Most entries have none of these: `marks` holds those that are there, so that hundreds stay small.
    """

    n: int
    when_ms: int
    known_ms: int
    word: str
    body: dict[str, Any]
    marks: dict[str, Any] = field(default_factory=dict)
    made: Any = field(default=None, metadata={"derived": True})

    def mark(self, name: str, value: Any) -> None:
        """Set one of the marks; nothing is kept of what says nothing."""
        if value:
            self.marks[name] = value
        else:
            self.marks.pop(name, None)

    @property
    def odd(self) -> str:
        """What does not fit, or ""."""
        return str(self.marks.get("odd", ""))

    @property
    def turn(self) -> int:
        """The number of the turn it tells of, or 0."""
        return int(self.marks.get("turn", 0))

    @property
    def void_n(self) -> int:
        """The entry that took it back, or 0."""
        return int(self.marks.get("void_n", 0))

    @property
    def upheld(self) -> bool:
        """Whether somebody said that it is right as it stands."""
        return bool(self.marks.get("upheld", False))

    @property
    def mended(self) -> list[int]:
        """The entries that put it right."""
        return list(self.marks.get("mended", ()))

    @property
    def key(self) -> tuple[int, int]:
        """Its place in the order of what happened."""
        return self.when_ms, self.n

    @property
    def event(self) -> Any:
        """The entry as an event, as it was put right."""
        if self.made is None:
            self.made = event_from_plain(self.word, self.body)
        return self.made


@dataclass(slots=True)
class Pieces:
    """What people recorded, and what lies where. A bed in neither `beds` nor `empty` was never recorded."""

    beds: dict[str, Lying] = field(default_factory=dict)
    empty: list[str] = field(default_factory=list)
    now: Ground = field(default_factory=Ground)
    base: Ground = field(default_factory=Ground)
    records: list[Record] = field(default_factory=list)
    lost: list[Record] = field(default_factory=list)

    @property
    def kilns(self) -> dict[str, Firing]:
        """What is known of each kiln."""
        return self.now.kilns

    def order(self, bed: str, at_ms: int) -> Order | None:
        """The standing order that holds for a bed."""
        found = self.now.orders.get(bed)
        return found if found is not None and at_ms < found.until_ms <= at_ms + ORDER_MOST_MS else None

    def take(self, site: Site, n: int, event: Any, at_ms: int) -> Record:
        """Keep an entry, in its place in time, and what follows from it."""
        event = self._named(site, event)
        when_ms = _when(event, at_ms)
        body = {key: value for key, value in codec.plain(event).items() if value is not None}
        record = Record(n, when_ms, at_ms, KINDS[type(event)], body)
        record.mark("ahead", _ahead(event, at_ms))
        in_order = not self.records or self.records[-1].key <= record.key
        insort(self.records, record, key=lambda one: one.key)
        if in_order:
            self._put(site, self.now, len(self.records) - 1)
            for index, one in enumerate(self.records if record.word == "cast" else ()):
                if one.odd.endswith(NOTHING):
                    one.mark("odd", self._too_early(site, index) or one.odd)
        else:
            self._again(site)
        self._forget(site, at_ms)
        self.look(site)
        return record

    def _named(self, site: Site, event: Any) -> Any:
        """The event with what goes without saying: the next piece's number, the only steep, the only kiln."""
        changes: dict[str, Any] = {}
        if isinstance(event, Cast):
            if event.steep is None and len(self.now.steeps) == 1:
                changes["steep"] = next(iter(self.now.steeps))
            if event.piece is None:
                steeping = self.now.steeps.get(changes.get("steep", event.steep) or "")
                named = steeping.piece if steeping else None
                changes["piece"] = named or str(self.now.number + 1)
        elif isinstance(event, Loaded | KilnWorked) and event.kiln is None:
            changes["kiln"] = next((place.id for place in site.places if place.kind == "kiln"), None)
        made = event if not changes else type(event)(**(codec.plain(event) | changes))
        if isinstance(made, Cast | Steeped):
            self._count(made.piece)
        return made

    def _count(self, piece: str | None) -> None:
        number = int(piece[:9]) if piece and piece.isascii() and piece.isdecimal() else 0
        # The count is not of the entries' order in time: a number once given is not given again.
        self.now.number = self.base.number = max(self.now.number, number)

    def put_right(self, site: Site, n: int, event: Corrected | Voided | Upheld, at_ms: int) -> Record:
        """Let a new entry supersede an older one; an entry that is not there is kept as odd."""
        record = self.find(event.entry)
        if record is None:
            why = "no entry about a piece, or too old to be changed"
            body = {"entry": event.entry}
            lost = Record(n, at_ms, at_ms, KINDS[type(event)], body, {"odd": f"Entry {event.entry}: {why}"})
            self.lost = [*self.lost, lost][-20:]
            return lost
        if isinstance(event, Upheld):
            record.mark("upheld", True)
            return record
        if isinstance(event, Voided):
            record.mark("void_n", 0 if event.entry == record.void_n else n)
        else:
            self._correct(record, n, event, at_ms)
        for name in ("upheld", "unshown", "alike"):
            record.mark(name, False)
        self._again(site)
        self.look(site)
        return record

    def _correct(self, record: Record, n: int, event: Corrected, at_ms: int) -> None:
        given = codec.plain(event)
        body = dict(record.body)
        known = codec.plain(record.event).keys()
        for key, value in given.items():
            if value is not None and key in known and key not in ("by", "why", "when_ms"):
                body[key] = value
        if event.done_by is not None:
            body["by"] = event.done_by
        if event.when_ms is not None:
            body["when_ms"] = event.when_ms
            record.when_ms = _when(event, at_ms)
        record.body, record.made = body, None
        record.mark("ahead", _ahead(event, at_ms))
        record.mark("mended", [*record.mended, n][-20:])
        self.records.sort(key=lambda one: one.key)
        if record.word in ("cast", "steeped"):
            self._count(body.get("piece"))

    def find(self, n: int) -> Record | None:
        """The entry of a journal number, or the one that number put right or took back."""
        return next((one for one in self.records if n in (one.n, one.void_n, *one.mended)), None)

    def odd(self) -> Iterator[Record]:
        """The entries that do not fit and that nobody has settled yet, oldest first."""
        for record in self.records:
            if record.odd and record.n > 0 and not record.void_n and not record.upheld:
                yield record
        yield from self.lost

    def look(self, site: Site) -> None:
        """Make the rules' view of the beds again: the ground or the site has changed."""
        self.beds, self.empty = grounds.beds(self.now, site)

    def show(self, site: Site, wanted: list[Record], numbers: set[int]) -> None:
        """Let the turns that only the probes tell of stand among the entries: of these numbers, these."""
        before = {one.n: one for one in self.records if one.n in numbers}
        same = len(wanted) == len(before) and all(
            one.n in before and (one.when_ms, one.body) == (before[one.n].when_ms, before[one.n].body)
            for one in wanted
        )
        if same:
            return
        others = [one for one in self.records if one.n not in numbers]
        self.records = sorted([*others, *wanted], key=lambda one: one.key)
        self._again(site)
        self.look(site)

    def not_after(self, site: Site, now_ms: int) -> None:
        """The clock was set back: what was recorded under its wrong time had happened by now."""
        for record in self.records:
            record.when_ms, record.known_ms = min(record.when_ms, now_ms), min(record.known_ms, now_ms)
        self.records.sort(key=lambda one: one.key)
        self.base.not_after(now_ms)
        self._again(site)
        self.look(site)

    def _again(self, site: Site) -> None:
        number = self.now.number
        self.now = copy.deepcopy(self.base)
        self.now.number = number
        for index in range(len(self.records)):
            self._put(site, self.now, index)

    def _put(self, site: Site, ground: Ground, index: int) -> None:
        record = self.records[index]
        record.mark("odd", "")
        if record.void_n:
            return
        odd = fold(ground, site, record.event, record.when_ms, record.known_ms)
        if odd.endswith(NOTHING):
            odd = self._too_early(site, index) or odd
        if record.marks.get("ahead") and not odd:
            odd = f"{_where(site, record)}: {record.word}, said to be later than it was recorded"
        record.mark("odd", odd)

    def _too_early(self, site: Site, index: int) -> str:
        """Something was done to grain that was cast there a little later: one of the two times is wrong."""
        record = self.records[index]
        bed = record.body.get("bed")
        last = bisect_right(self.records, (record.when_ms + _SOON_MS, 2**62), key=lambda one: one.key)
        for later in self.records[index + 1 : last]:
            if later.word == "cast" and not later.void_n and later.body.get("bed") == bed:
                return f"{_where(site, record)}: {record.word} before piece {later.body['piece']} was cast"
        return ""

    def _forget(self, site: Site, at_ms: int) -> None:
        """Put the oldest entries onto the base for good; what was recorded lately can still be put right."""
        fresh_ms = at_ms - KEPT_MS
        fresh = (i for i, one in enumerate(self.records) if max(one.when_ms, one.known_ms) > fresh_ms)
        old = next(fresh, len(self.records))
        old = max(old, len(self.records) - _MOST + 100 if len(self.records) > _MOST else 0)
        for index in range(old):
            self._put(site, self.base, index)
        del self.records[:old]


def _when(event: Any, at_ms: int) -> int:
    """When it happened; nobody can have recorded what had not happened yet."""
    return at_ms if event.when_ms is None or _ahead(event, at_ms) else int(event.when_ms)


def _ahead(event: Any, at_ms: int) -> bool:
    return event.when_ms is not None and event.when_ms > at_ms + _AHEAD_MS


def _where(site: Site, record: Record) -> str:
    place = site.place.get(
        record.body.get("bed") or record.body.get("steep") or record.body.get("kiln") or ""
    )
    return place.name if place else "Floor"
