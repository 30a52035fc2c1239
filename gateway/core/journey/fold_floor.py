"""What each entry about a bed does to the ground: cast, couch, turn, plough, thin, read by hand, order.

Each function takes the ground, the site, the entry's event and when it happened (Unix ms), changes it, and
returns in plain words what does not fit, or "". Nothing is refused: where it does not fit, the watch
goes on as it was.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

from gateway.core.inputs import Cast, CouchBroken, Turned
from gateway.core.inputs_journey import (
    Chitted,
    HandRead,
    Ordered,
    Ploughed,
    Smelled,
    Spired,
    Sprinkled,
    Thickened,
    Thinned,
    Withering,
)
from gateway.core.journey.ground import LEAST_M, Ground, Hand, Piece, extent
from gateway.core.piece import Order, Part
from gateway.core.site import Floor, Place, Site

_HOUR_MS = 3_600_000
#: A lot is cast within a day (ours): what has its number and comes later is asked about.
_ONE_CAST_MS = 24 * _HOUR_MS
NOTHING = "but nothing is recorded as lying there"


class Stretch(NamedTuple):
    """A stretch of a floor in metres."""

    ground: str
    from_m: float
    to_m: float


def stretch(place: Place, from_m: float | None, to_m: float | None) -> Stretch | None:
    """The stretch of a bed that an entry speaks of, clipped to it; None where it is none of it."""
    ground, low, high = extent(place)
    start = low if from_m is None else max(low, min(from_m, high))
    end = high if to_m is None else max(low, min(to_m, high))
    return Stretch(ground, start, end) if end - start >= LEAST_M else None


def _whole(ground: Ground, site: Site, place: Place) -> Stretch:
    """The bed; where pieces walk, the whole of the pieces that lie on it, wherever they have come to."""
    name, low, high = extent(place)
    floor = _floor(site, place)
    if floor is None or floor.pieces != "walk":
        return Stretch(name, low, high)
    here = {part.piece for part in ground.on(place)}
    theirs = [part for part in ground.parts if part.ground == name and part.piece in here]
    return Stretch(
        name, min((p.from_m for p in theirs), default=low), max((p.to_m for p in theirs), default=high)
    )


def _floor(site: Site, place: Place) -> Floor | None:
    return next((floor for floor in site.floors if floor.id == place.floor), None)


def spoken_of(
    ground: Ground, site: Site, place: Place, from_m: float | None, to_m: float | None
) -> Stretch | None:
    """What an entry speaks of: the stretch it names, else all of the bed."""
    if from_m is None and to_m is None:
        return _whole(ground, site, place)
    return stretch(place, from_m, to_m)


def no_stretch(place: Place, word: str, from_m: float | None, to_m: float | None) -> str:
    """What is odd about metres that are none of the bed."""
    return f"{place.name}: {word} from {_m(from_m)} to {_m(to_m)} m, which is no stretch of it"


def _m(metres: float | None) -> str:
    return "its end" if metres is None else f"{metres:g}"


def cast(ground: Ground, site: Site, what: Cast, when_ms: int, known_ms: int) -> str:
    """A piece lies there from now on; what was recorded there before is taken to be gone."""
    place, name = site.place[what.bed], what.piece or "?"
    where = stretch(place, what.from_m, what.to_m) or Stretch(*extent(place))
    ground.know(place.id)
    before = list(dict.fromkeys(part.piece for part in ground.within(*where)))
    if before == [name]:
        return f"{place.name}: piece {name} was recorded as cast there before"
    odd = ""
    if before:
        odd = f"{place.name}: piece {name} cast where piece {'/'.join(before)} lies; is that gone?"
    old = ground.pieces.get(name)
    if old is not None and old.cast_ms is not None and name not in {part.piece for part in ground.parts}:
        del ground.pieces[name]
        odd = odd or f"{place.name}: piece {name} cast, but there was a piece of that name before"
    odd = odd or _second(ground, site, place, name, when_ms)
    ground.take_out(*where)
    piece = ground.piece(name)
    if piece.cast_ms is None:
        couch = site.programme[place.programme].couch if place.programme in site.programme else None
        piece.cast_ms, piece.known_ms = when_ms, known_ms
        piece.couch_ends_ms = when_ms + int(couch.max_h * _HOUR_MS) if couch else None
    ground.lay([Part(where.from_m, where.to_m, when_ms, piece=name, ground=where.ground)])
    return odd or _out_of_steep(ground, site, what, piece)


def _second(ground: Ground, site: Site, place: Place, name: str, when_ms: int) -> str:
    """A number that has lain elsewhere for days: told as one piece, and asked about."""
    old = ground.pieces.get(name)
    if old is None or old.cast_ms is None or abs(when_ms - old.cast_ms) <= _ONE_CAST_MS:
        return ""
    beds = [
        one.name
        for one in site.places
        if one.kind == "bed" and any(part.piece == name for part in ground.on(one))
    ]
    if not beds:
        return ""
    hours = abs(when_ms - old.cast_ms) / _HOUR_MS
    return (
        f"{place.name}: piece {name} cast {hours:.0f} h apart from piece {name} in {' and '.join(beds)}: "
        f"both are told as one; are they? Two pieces want two numbers"
    )


def _out_of_steep(ground: Ground, site: Site, what: Cast, piece: Piece) -> str:
    """The steep gives the piece its lot; a steep that feeds two beds is empty after the first."""
    steeping = ground.steeps.get(what.steep or "")
    if steeping is None or what.steep is None:
        named = what.steep is not None and piece.steep != what.steep
        steep = site.place.get(what.steep or "")
        return f"{steep.name if steep else what.steep}: cast from, {NOTHING}" if named else ""
    for span in ground.spans:
        if span.until_ms is None and span.kind == "steep" and span.ground == what.steep:
            span.piece = piece.name
    piece.steep, piece.steeped_ms = what.steep, steeping.began_ms
    piece.lot, piece.variety, piece.recipe = steeping.lot, steeping.variety, steeping.recipe
    piece.moisture_wb, piece.weight_t = steeping.moisture_wb, steeping.weight_t
    del ground.steeps[what.steep]
    return ""


def couch_broken(ground: Ground, site: Site, what: CouchBroken, when_ms: int, known_ms: int) -> str:
    """The couch is spread to working depth: the turn clock runs from here."""
    place = site.place[what.bed]
    here = {part.piece for part in ground.on(place)}
    if not here:
        return f"{place.name}: couch broken, {NOTHING}"
    for piece in (ground.piece(name) for name in here):
        if piece.couch_ends_ms is not None:
            piece.couch_ends_ms = None
            for part in ground.parts:
                if part.piece == piece.name:
                    part.turned_ms = max(part.turned_ms, when_ms)
    return ""


def turned(ground: Ground, site: Site, what: Turned, when_ms: int, known_ms: int) -> str:
    """Restart the turn clock of a stretch; where pieces walk, it lies further down the floor since."""
    place = site.place[what.bed]
    where = spoken_of(ground, site, place, what.from_m, what.to_m)
    if where is None:
        return no_stretch(place, "turned", what.from_m, what.to_m)
    taken = ground.take_out(*where)
    if not taken:
        return f"{place.name}: turned, {NOTHING}"
    for part in taken:
        if part.turned_ms <= when_ms:
            part.turned_ms, part.by, part.turned, part.ploughed_ms = when_ms, what.by, True, 0
        ground.piece(part.piece).couch_ends_ms = None
    onto = None
    if what.onto_from_m is not None and what.onto_to_m is not None:
        onto = (min(what.onto_from_m, what.onto_to_m), max(what.onto_from_m, what.onto_to_m))
    ground.lay(taken)
    return _walk(ground, site, place, taken, where, onto)


def _walk(
    ground: Ground,
    site: Site,
    place: Place,
    taken: list[Part],
    where: Stretch,
    onto: tuple[float, float] | None,
) -> str:
    """Lay turned parts further down: where somebody said, else by the floor's own step, if there is room."""
    floor = _floor(site, place)
    if onto is None and (floor is None or floor.pieces != "walk" or floor.walk_m <= 0):
        return ""
    low, high = min(part.from_m for part in taken), max(part.to_m for part in taken)
    mine = {part.piece for part in taken}
    for part in taken:
        ground.parts.remove(part)
    if onto is None and floor is not None:
        beyond = [p.from_m for p in ground.parts if p.ground == where.ground and p.from_m >= high]
        step = max(0.0, min(floor.walk_m, min([floor.length_m, *beyond]) - high))
        onto = (low + step, high + step)
    start, end = onto or (low, high)
    scale = (end - start) / (high - low)
    moved = [
        replace(p, from_m=start + (p.from_m - low) * scale, to_m=start + (p.to_m - low) * scale)
        for p in taken
    ]
    under = {part.piece for part in ground.take_out(where.ground, start, end)} - mine
    ground.lay(moved if end - start >= LEAST_M else taken)
    return (
        f"{place.name}: turned onto {start:g}-{end:g} m, where piece {'/'.join(under)} lies" if under else ""
    )


def ploughed(ground: Ground, site: Site, what: Ploughed, when_ms: int, known_ms: int) -> str:
    """The rootlets are parted: matting is put off. The grain was not turned, its heat clock runs on."""
    place = site.place[what.bed]
    where = spoken_of(ground, site, place, what.from_m, what.to_m)
    if where is None:
        return no_stretch(place, "ploughed", what.from_m, what.to_m)
    taken = ground.take_out(*where)
    for part in taken:
        part.ploughed_ms = max(part.ploughed_ms, when_ms)
    ground.lay(taken)
    return "" if taken else f"{place.name}: ploughed, {NOTHING}"


OfPiece = Thinned | Thickened | Sprinkled | Withering | Chitted | Spired | Smelled


def of_piece(ground: Ground, site: Site, what: OfPiece, when_ms: int, known_ms: int) -> str:
    """Entries that are kept on the piece: depth, sprinkling, withering, and what somebody saw or smelled."""
    place = site.place[what.bed]
    here = {part.piece for part in ground.on(place)}
    if not here:
        return f"{place.name}: {_SAID[type(what)]}, {NOTHING}"
    depth_cm = what.depth_cm if isinstance(what, Thinned | Thickened) else None
    odd = ""
    for piece in (ground.piece(name) for name in sorted(here)):
        if depth_cm is not None:
            thicker = piece.depth_cm is not None and depth_cm > piece.depth_cm
            if piece.depth_cm is not None and thicker == isinstance(what, Thinned):
                odd = f"{place.name}: {_SAID[type(what)]} to {depth_cm:g} cm from {piece.depth_cm:g} cm"
            piece.depth_cm = depth_cm
        elif isinstance(what, Thinned | Thickened):
            piece.depth_cm = None
        elif isinstance(what, Withering):
            piece.withering_ms, piece.couch_ends_ms = piece.withering_ms or when_ms, None
    return odd


_SAID = {
    Thinned: "thinned", Thickened: "thickened", Sprinkled: "sprinkled", Withering: "withering",
    Chitted: "chit seen", Spired: "spire seen", Smelled: "smelled",
}  # fmt: skip


def hand_read(ground: Ground, site: Site, what: HandRead, when_ms: int, known_ms: int) -> str:
    """A reading by hand is kept on each piece of the bed, or on the one at that metre."""
    place = site.place[what.bed]
    here = ground.on(place)
    at_m = what.at_m
    there = [part for part in here if at_m is None or part.from_m <= at_m <= part.to_m]
    for name in sorted({part.piece for part in there or here}):
        ground.piece(name).read_by_hand(Hand(when_ms, what.c, what.bed, at_m, what.height_cm, what.by))
    if not here:
        return f"{place.name}: read by hand, {NOTHING}"
    return "" if there else f"{place.name}: read by hand at {at_m:g} m, where no grain is recorded"


def ordered(ground: Ground, site: Site, what: Ordered, when_ms: int, known_ms: int) -> str:
    """The newest order for a bed holds."""
    ground.orders[what.bed] = Order(what.until_ms, (what.why or "")[:80], what.by)
    return ""
