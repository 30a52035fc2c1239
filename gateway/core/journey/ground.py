"""What lies where at one moment: stretches of floors under pieces, what is in the steeps and the kilns.

A floor is a strip in metres from the steep's door; a bed is a named stretch of it. A bed whose stretch the
site does not give is a strip of its own, one unit long. Nothing here knows where an entry came from.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import ClassVar

from gateway.core.piece import Lying, Order, Part
from gateway.core.site import Place, Site

#: Stretches shorter than this (m) are rounding and not grain.
LEAST_M = 0.01
_SPANS, _GONE, _HAND = 400, 40, 12


@dataclass(slots=True)
class Hand:
    """What a thermometer put in by hand said (C), when and where."""

    at_ms: int
    c: float
    bed: str
    at_m: float | None = None
    height_cm: float | None = None
    by: str | None = None


@dataclass(slots=True)
class Piece:
    """One piece and what is known of it; times are Unix ms, None where not recorded."""

    GONE: ClassVar[tuple[str, ...]] = ("broken_ms", "sprinkled_ms")

    name: str
    lot: str | None = None
    variety: str | None = None
    moisture_wb: float | None = None
    weight_t: float | None = None
    recipe: str | None = None
    steep: str | None = None
    steeped_ms: int | None = None
    cast_ms: int | None = None
    known_ms: int = 0
    couch_ends_ms: int | None = None
    withering_ms: int | None = None
    loaded_ms: int | None = None
    stripped_ms: int | None = None
    stored_ms: int | None = None
    into: str | None = None
    out_of: str | None = None
    depth_cm: float | None = None
    hand: list[Hand] = field(default_factory=list)

    def read_by_hand(self, hand: Hand) -> None:
        """Keep a reading taken by hand; the last dozen are kept."""
        self.hand.append(hand)
        del self.hand[:-_HAND]


@dataclass(slots=True)
class Stand:
    """One stand of a steep as it was: wet or dry, since when (Unix ms), and the water's temperature."""

    kind: str
    began_ms: int
    water_c: float | None = None


@dataclass(slots=True)
class Steeping:
    """A barley lot in a steep and its stands so far, the newest last."""

    piece: str | None
    began_ms: int
    stands: list[Stand]
    lot: str | None = None
    variety: str | None = None
    moisture_wb: float | None = None
    weight_t: float | None = None
    recipe: str | None = None


@dataclass(slots=True)
class Firing:
    """What is known of a kiln: the piece in it, when its fire was lit, and what was stripped `last`."""

    piece: str | None = None
    lit_ms: int | None = None
    last: str | None = None


@dataclass(slots=True)
class Span:
    """Where one piece lay for a time: `kind` is steep, floor, kiln or store; `until_ms` is None for still.

    `ground` is a floor's id for floor, else the place's; metres are None but on a floor.
    """

    kind: str
    ground: str
    from_m: float | None
    to_m: float | None
    piece: str
    from_ms: int
    until_ms: int | None = None


@dataclass(slots=True)
class Ground:
    """Everything at one moment. `known`: beds on which a piece was ever recorded, or which were emptied."""

    parts: list[Part] = field(default_factory=list)
    pieces: dict[str, Piece] = field(default_factory=dict)
    steeps: dict[str, Steeping] = field(default_factory=dict)
    kilns: dict[str, Firing] = field(default_factory=dict)
    orders: dict[str, Order] = field(default_factory=dict)
    spans: list[Span] = field(default_factory=list)
    known: list[str] = field(default_factory=list)
    number: int = 0

    def piece(self, name: str) -> Piece:
        """The piece of that name, made when first heard of; the longest gone is forgotten."""
        found = self.pieces.get(name)
        if found is None:
            found = self.pieces[name] = Piece(name)
            here = self.names()
            gone = [one for one in self.pieces if one not in here and one != name]
            for one in gone[: max(0, len(gone) - _GONE)]:
                del self.pieces[one]
        return found

    def names(self) -> set[str]:
        """The pieces that lie somewhere now."""
        found = {part.piece for part in self.parts}
        found |= {one.piece for one in self.steeps.values() if one.piece}
        return found | {one.piece for one in self.kilns.values() if one.piece}

    def on(self, place: Place) -> list[Part]:
        """The parts on a bed, clipped to it, from the steep's end."""
        return self.within(*extent(place))

    def within(self, ground: str, from_m: float, to_m: float) -> list[Part]:
        """The parts within a stretch, clipped to it."""
        found = [
            replace(part, from_m=max(part.from_m, from_m), to_m=min(part.to_m, to_m))
            for part in self.parts
            if part.ground == ground and part.from_m < to_m and part.to_m > from_m
        ]
        return sorted((p for p in found if p.to_m - p.from_m >= LEAST_M), key=lambda part: part.from_m)

    def take_out(self, ground: str, from_m: float, to_m: float) -> list[Part]:
        """What lies within a stretch, taken off the floor."""
        taken = self.within(ground, from_m, to_m)
        left: list[Part] = []
        for part in self.parts:
            if part.ground != ground or part.from_m >= to_m or part.to_m <= from_m:
                left.append(part)
                continue
            ends = ((part.from_m, min(part.to_m, from_m)), (max(part.from_m, to_m), part.to_m))
            left += [replace(part, from_m=a, to_m=b) for a, b in ends if b - a >= LEAST_M]
        self.parts = left
        return taken

    def lay(self, parts: list[Part]) -> None:
        """Put parts on the floor, in order."""
        self.parts = sorted((*self.parts, *parts), key=lambda part: (part.ground, part.from_m, part.piece))

    def know(self, bed: str) -> None:
        """From here on the bed is one of which something was recorded."""
        if bed not in self.known:
            self.known.append(bed)

    def not_after(self, now_ms: int) -> None:
        """Nothing had happened later than this: the clock was wrong."""
        for part in self.parts:
            part.turned_ms, part.ploughed_ms = min(part.turned_ms, now_ms), min(part.ploughed_ms, now_ms)
        for piece in self.pieces.values():
            if piece.cast_ms is not None and piece.cast_ms > now_ms:
                if piece.couch_ends_ms is not None:
                    piece.couch_ends_ms -= piece.cast_ms - now_ms
                piece.cast_ms = now_ms
            piece.known_ms = min(piece.known_ms, now_ms)
        for firing in self.kilns.values():
            firing.lit_ms = None if firing.lit_ms is None else min(firing.lit_ms, now_ms)
        for steeping in self.steeps.values():
            for stand in steeping.stands:
                stand.began_ms = min(stand.began_ms, now_ms)
        for span in self.spans:
            span.from_ms = min(span.from_ms, now_ms)
            span.until_ms = None if span.until_ms is None else min(span.until_ms, now_ms)

    def follow(self, at_ms: int) -> None:
        """Write down where everything lies since `at_ms`, where that has changed."""
        now = {(one.kind, one.ground, one.from_m, one.to_m, one.piece): one for one in self._lies(at_ms)}
        for span in self.spans:
            key = (span.kind, span.ground, span.from_m, span.to_m, span.piece)
            if span.until_ms is not None:
                continue
            if key in now:
                del now[key]
            else:
                span.until_ms = max(at_ms, span.from_ms)
        self.spans = [one for one in self.spans if one.until_ms is None or one.until_ms > one.from_ms]
        self.spans += now.values()
        over = len(self.spans) - _SPANS
        if over > 0:
            old = [one for one in self.spans if one.until_ms is not None][:over]
            self.spans = [one for one in self.spans if one not in old]

    def _lies(self, at_ms: int) -> list[Span]:
        found: list[Span] = []
        for part in self.parts:
            last = found[-1] if found else None
            if last and (last.ground, last.piece) == (part.ground, part.piece) and last.to_m == part.from_m:
                last.to_m = part.to_m
            else:
                found.append(Span("floor", part.ground, part.from_m, part.to_m, part.piece, at_ms))
        found += [
            Span("steep", steep, None, None, one.piece or "", at_ms) for steep, one in self.steeps.items()
        ]
        return found + [
            Span("kiln", kiln, None, None, one.piece, at_ms) for kiln, one in self.kilns.items() if one.piece
        ]


def extent(place: Place) -> tuple[str, float, float]:
    """The bed's floor and stretch in metres; a strip of its own where the site does not say."""
    if place.floor is None or place.from_m is None or place.to_m is None:
        low, high = (0.0, 1.0) if place.from_m is None or place.to_m is None else (place.from_m, place.to_m)
        return f"={place.id}", low, high
    return place.floor, place.from_m, place.to_m


def lying(ground: Ground, place: Place) -> Lying | None:
    """What lies on a bed, as the rules look at it."""
    parts = ground.on(place)
    if not parts:
        return None
    names = list(dict.fromkeys(part.piece for part in parts))
    pieces = [ground.pieces.get(name) or Piece(name) for name in names]
    couches = [piece.couch_ends_ms for piece in pieces]
    # Where one of two pieces is out of the couch, the stricter limits and the turn clock hold.
    ends = None if None in couches else min(one for one in couches if one is not None)
    working = [piece for piece in pieces if piece.couch_ends_ms is None] or pieces
    youngest = max(working, key=lambda piece: piece.cast_ms or 0)
    return Lying(
        "/".join(names)[:40],
        youngest.cast_ms or min(part.turned_ms for part in parts),
        ends,
        parts,
        any(part.turned for part in parts),
        max(piece.known_ms for piece in pieces),
        names,
        all(piece.withering_ms is not None for piece in pieces),
        youngest.depth_cm,
    )


def beds(ground: Ground, site: Site) -> tuple[dict[str, Lying], list[str]]:
    """What lies on each bed of the site, and the beds known to be empty."""
    found: dict[str, Lying] = {}
    empty: list[str] = []
    for place in site.places:
        if place.kind != "bed":
            continue
        here = lying(ground, place)
        if here is not None:
            found[place.id] = here
        elif place.id in ground.known:
            empty.append(place.id)
    return found, empty
