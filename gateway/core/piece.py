"""Pieces and where they lie: cast, couched, turned in part or whole, moved, loaded.

Nothing that somebody records is refused: what does not fit is kept and said in `odd`, for daylight.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from gateway.core.site import Couch, Place, Programme

_HOUR_MS = 3_600_000
_ODD_KEPT = 50


@dataclass(slots=True)
class Part:
    """A stretch of a bed and when it was last turned (or cast), Unix ms."""

    from_m: float
    to_m: float
    turned_ms: int
    by: str | None = None


@dataclass(slots=True)
class Lying:
    """A piece on a bed. `couch_ends_ms` is None once the couch is broken (or where there was none).

    `known_ms` is when the cast was recorded, which may be days after it happened.
    """

    piece: str
    cast_ms: int
    couch_ends_ms: int | None
    parts: list[Part]
    turned: bool = False
    known_ms: int = 0


@dataclass(slots=True)
class Firing:
    """What is known of a kiln: the piece in it and when its fire was lit; drawn and stripped end both."""

    piece: str | None = None
    lit_ms: int | None = None


@dataclass(slots=True)
class Pieces:
    """What lies where. A bed absent from `beds` and from `empty` has never been recorded."""

    beds: dict[str, Lying] = field(default_factory=dict)
    empty: list[str] = field(default_factory=list)
    kilns: dict[str, Firing] = field(default_factory=dict)
    number: int = 0
    odd: list[str] = field(default_factory=list)

    def cast(
        self, place: Place, couch: Couch | None, piece: str | None, when_ms: int, known_ms: int = 0
    ) -> None:
        """A new piece lies on the bed; an unnamed one gets the next number."""
        self.number += 1
        if piece is None:
            piece = str(self.number)
        elif piece.isdecimal():
            self.number = max(self.number, int(piece[:9]))
        if place.id in self.beds:
            self._note(f"{place.id}: piece {piece} cast onto piece {self.beds[place.id].piece}")
        ends = when_ms + int(couch.max_h * _HOUR_MS) if couch else None
        self.beds[place.id] = Lying(piece, when_ms, ends, [Part(*_extent(place), when_ms)], known_ms=known_ms)
        self._occupied(place.id)

    def break_couch(self, bed: str, when_ms: int) -> None:
        """The couch is spread to working depth: the turn clock runs from here."""
        lying = self.beds.get(bed)
        if lying is None:
            self._note(f"{bed}: couch broken, but no piece is recorded there")
        elif lying.couch_ends_ms is not None:
            lying.couch_ends_ms = None
            for part in lying.parts:
                part.turned_ms = max(part.turned_ms, when_ms)

    def turn(
        self, place: Place, from_m: float | None, to_m: float | None, when_ms: int, by: str | None
    ) -> str:
        """Restart the turn clock of a stretch (None: to that end of the bed). Returns what was odd, or ''."""
        lying = self.beds.get(place.id)
        if lying is None:
            return self._note(f"{place.id}: turned, but no piece is recorded there")
        low, high = _extent(place)
        start = low if from_m is None else max(low, min(from_m, high))
        end = high if to_m is None else max(low, min(to_m, high))
        if start >= end:
            return self._note(f"{place.id}: turned from {from_m} to {to_m} m, which is no stretch of it")
        if when_ms < lying.cast_ms:
            return self._note(f"{place.id}: turned before piece {lying.piece} was cast")
        lying.parts = _turned(lying.parts, Part(start, end, when_ms, by))
        lying.turned = True
        lying.couch_ends_ms = None
        return ""

    def move(self, source: Place, target: Place, when_ms: int) -> None:
        """The piece lies on another bed; onto an occupied one, the two become one, as old as the older."""
        lying = self.beds.pop(source.id, None)
        if lying is None:
            self._note(f"{source.id}: moved, but no piece is recorded there")
            return
        self._emptied(source.id)
        oldest = min(part.turned_ms for part in lying.parts)
        there = self.beds.get(target.id)
        if there is not None:
            self._note(f"{target.id}: piece {lying.piece} moved onto piece {there.piece}")
            lying.piece = f"{there.piece}+{lying.piece}"[:40]
            lying.cast_ms = min(lying.cast_ms, there.cast_ms)
            oldest = min(oldest, *(part.turned_ms for part in there.parts))
        lying.parts = [Part(*_extent(target), oldest)]
        self.beds[target.id] = lying
        self._occupied(target.id)

    def load(self, bed: str, kiln: str | None) -> None:
        """The piece is in the kiln; the bed is empty."""
        lying = self.beds.pop(bed, None)
        self._emptied(bed)
        if lying is None:
            self._note(f"{bed}: loaded, but no piece is recorded there")
        elif kiln is not None:
            self.kilns.setdefault(kiln, Firing()).piece = lying.piece

    def kiln(self, kiln: str, what: str, when_ms: int) -> None:
        """Lit starts the programme; relit goes on with it; drawn ends the fire, stripped the load as well."""
        firing = self.kilns.setdefault(kiln, Firing())
        if what in ("lit", "relit"):
            if firing.lit_ms is None:
                firing.lit_ms = when_ms
            elif what == "lit":
                self._note(f"{kiln}: lit again; the programme goes on from the first fire")
        elif what in ("drawn", "stripped"):
            firing.lit_ms = None
            if what == "stripped":
                firing.piece = None

    def not_after(self, now_ms: int) -> None:
        """The clock was set back: what was recorded under its wrong time had happened by now."""
        for lying in self.beds.values():
            early_ms = max(0, lying.cast_ms - now_ms)
            lying.cast_ms -= early_ms
            lying.known_ms = min(lying.known_ms, now_ms)
            if lying.couch_ends_ms is not None:
                lying.couch_ends_ms -= early_ms
            for part in lying.parts:
                part.turned_ms = min(part.turned_ms, now_ms)
        for firing in self.kilns.values():
            if firing.lit_ms is not None:
                firing.lit_ms = min(firing.lit_ms, now_ms)

    def _note(self, text: str) -> str:
        self.odd.append(text)
        del self.odd[:-_ODD_KEPT]
        return text

    def _occupied(self, bed: str) -> None:
        if bed in self.empty:
            self.empty.remove(bed)

    def _emptied(self, bed: str) -> None:
        if bed not in self.empty:
            self.empty.append(bed)


def _extent(place: Place) -> tuple[float, float]:
    """The bed's stretch in metres; one unit long where the site does not say."""
    if place.from_m is None or place.to_m is None:
        return (0.0, 1.0)
    return (place.from_m, place.to_m)


def _turned(parts: list[Part], new: Part) -> list[Part]:
    """The parts with a turned stretch laid over them; an older entry changes nothing newer."""
    result: list[Part] = []
    for part in parts:
        if part.turned_ms >= new.turned_ms or part.to_m <= new.from_m or part.from_m >= new.to_m:
            result.append(part)
            continue
        if part.from_m < new.from_m:
            result.append(Part(part.from_m, new.from_m, part.turned_ms, part.by))
        result.append(Part(max(part.from_m, new.from_m), min(part.to_m, new.to_m), new.turned_ms, new.by))
        if part.to_m > new.to_m:
            result.append(Part(new.to_m, part.to_m, part.turned_ms, part.by))
    return result


def oldest_part(lying: Lying) -> Part:
    """The stretch that has waited longest, joined with its neighbours of the same age."""
    oldest = min(part.turned_ms for part in lying.parts)
    same = [part for part in lying.parts if part.turned_ms == oldest]
    return Part(min(p.from_m for p in same), max(p.to_m for p in same), oldest, same[0].by)


def hours_since_cast(lying: Lying, at_ms: int) -> float:
    """Hours since casting, never below 0."""
    return max(0.0, (at_ms - lying.cast_ms) / _HOUR_MS)


def day_of(lying: Lying, at_ms: int) -> int:
    """The day on the floor as programmes count it: day 0 is the first 24 h."""
    return int(hours_since_cast(lying, at_ms) // 24)


def in_couch(lying: Lying, at_ms: int) -> bool:
    """Whether the piece still counts as couched; a couch that nobody recorded broken lapses."""
    return lying.couch_ends_ms is not None and at_ms < lying.couch_ends_ms


def day_figure(programme: Programme, hours: float, name: str) -> float:
    """A figure of the floor programme, hours after casting: exact at each row's day, ramped between."""
    days = programme.days
    day = hours / 24.0
    before = days[0]
    if day <= before.day:
        return float(getattr(before, name))
    for row in days:
        if row.day >= day:
            low, high = float(getattr(before, name)), float(getattr(row, name))
            return low + (high - low) * (day - before.day) / (row.day - before.day)
        before = row
    return float(getattr(before, name))
