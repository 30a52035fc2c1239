"""What moving, joining, splitting and loading do to the ground. The same rules as in `fold_floor`."""

from __future__ import annotations

from dataclasses import replace

from gateway.core.inputs import Loaded, Moved
from gateway.core.inputs_journey import Joined, Split
from gateway.core.journey.fold_floor import NOTHING, no_stretch, spoken_of, stretch
from gateway.core.journey.ground import Firing, Ground
from gateway.core.piece import Part
from gateway.core.site import Site


def moved(ground: Ground, site: Site, what: Moved, when_ms: int, known_ms: int) -> str:
    """What lay on the stretch lies on the other bed; where another piece lies there, the two become one."""
    source, target = site.place[what.bed], site.place[what.to]
    where = spoken_of(ground, site, source, what.from_m, what.to_m)
    onto = stretch(target, what.onto_from_m, what.onto_to_m)
    if where is None:
        return no_stretch(source, "moved", what.from_m, what.to_m)
    if onto is None:
        return no_stretch(target, "moved onto", what.onto_from_m, what.onto_to_m)
    taken = ground.take_out(*where)
    if not taken:
        return f"{source.name}: moved, {NOTHING}"
    ground.know(source.id)
    ground.know(target.id)
    name = min(taken, key=lambda part: part.turned_ms).piece
    for other in dict.fromkeys(part.piece for part in taken if part.piece != name):
        _with(ground, name, other)
    there = ground.take_out(*onto)
    odd = ""
    for other in dict.fromkeys(part.piece for part in there if part.piece != name):
        odd = odd or f"{target.name}: piece {name} moved onto piece {other}; the two are one now"
        merged = f"{other}+{name}"[:40]
        _rename(ground, there, other, merged)
        _with(ground, merged, name)
        name = merged
    oldest = min((*taken, *there), key=lambda part: part.turned_ms)
    ground.lay([replace(oldest, piece=name, ground=onto.ground, from_m=onto.from_m, to_m=onto.to_m)])
    return odd


def _with(ground: Ground, name: str, other: str) -> None:
    """A piece has taken up another, or some of it: as old as the older, in the couch only if both are."""
    one, two = ground.piece(name), ground.piece(other)
    casts = [cast_ms for cast_ms in (one.cast_ms, two.cast_ms) if cast_ms is not None]
    one.cast_ms = min(casts, default=None)
    one.known_ms = max(one.known_ms, two.known_ms)
    ends = one.couch_ends_ms, two.couch_ends_ms
    one.couch_ends_ms = None if ends[0] is None or ends[1] is None else min(ends[0], ends[1])
    one.withering_ms = one.withering_ms if two.withering_ms is not None else None
    if not any(part.piece == other for part in ground.parts):
        two.into = name


def _rename(ground: Ground, parts: list[Part], old: str, new: str) -> None:
    piece = ground.pieces.pop(old, None)
    if piece is not None:
        ground.pieces[new] = replace(piece, name=new, into=None)
        ground.pieces[old] = replace(piece, into=new)
    for part in (*ground.parts, *parts):
        if part.piece == old:
            part.piece = new


def joined(ground: Ground, site: Site, what: Joined, when_ms: int, known_ms: int) -> str:
    """Two pieces are one, where both lie on a floor."""
    here = {part.piece for part in ground.parts}
    missing = [name for name in (what.piece, what.other) if name not in here]
    if missing or what.piece == what.other:
        return (
            f"Piece {what.piece} joined with {what.other}, but {'/'.join(missing) or 'that'} lies on no floor"
        )
    for part in ground.parts:
        part.piece = what.piece if part.piece == what.other else part.piece
    _with(ground, what.piece, what.other)
    if what.name and what.name != what.piece:
        _rename(ground, [], what.piece, what.name[:40])
    return ""


def split(ground: Ground, site: Site, what: Split, when_ms: int, known_ms: int) -> str:
    """A stretch of a bed is a piece of its own, with the age and the turns it has."""
    place = site.place[what.bed]
    where = stretch(place, what.from_m, what.to_m)
    if where is None:
        return no_stretch(place, "split", what.from_m, what.to_m)
    taken = ground.take_out(*where)
    name = what.piece[:40]
    taken_name = name in ground.pieces and name not in {part.piece for part in taken}
    for part in taken:
        if part.piece != name and not taken_name:
            ground.piece(name)
            old = ground.piece(part.piece)
            ground.pieces[name] = replace(old, name=name, into=None, out_of=old.name, hand=list(old.hand))
            part.piece = name
    ground.lay(taken)
    if not taken:
        return f"{place.name}: split, {NOTHING}"
    return f"{place.name}: split off as piece {name}, but there is a piece of that name" if taken_name else ""


def loaded(ground: Ground, site: Site, what: Loaded, when_ms: int, known_ms: int) -> str:
    """What lay on the stretch is in the kiln."""
    place = site.place[what.bed]
    where = spoken_of(ground, site, place, what.from_m, what.to_m)
    if where is None:
        return no_stretch(place, "loaded", what.from_m, what.to_m)
    ground.know(place.id)
    taken = ground.take_out(*where)
    if not taken:
        return f"{place.name}: loaded, {NOTHING}"
    odd = ""
    for name in dict.fromkeys(part.piece for part in taken):
        ground.piece(name).loaded_ms = when_ms
        if what.kiln is not None:
            firing = ground.kilns.setdefault(what.kiln, Firing())
            if firing.piece not in (None, name):
                kiln = site.place.get(what.kiln)
                odd = (
                    f"{kiln.name if kiln else what.kiln}: piece {name} loaded, and nobody recorded that "
                    f"piece {firing.piece} was stripped"
                )
            firing.piece = name
    return odd
