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
    oldest = min(taken, key=lambda part: part.turned_ms)
    name = oldest.piece if len({part.piece for part in taken}) == 1 else ""
    odd = ""
    for other in dict.fromkeys(part.piece for part in taken):
        odd = odd or _merge(ground, name or oldest.piece, other)
    name = name or oldest.piece
    there = ground.take_out(*onto)
    for other in dict.fromkeys(part.piece for part in there if part.piece != name):
        odd = odd or f"{target.name}: piece {name} moved onto piece {other}; the two are one now"
        merged = f"{other}+{name}"[:40]
        _merge(ground, other, name)
        _rename(ground, there, other, merged)
        name = merged
    oldest = min((*taken, *there), key=lambda part: part.turned_ms)
    ground.lay([replace(oldest, piece=name, ground=onto.ground, from_m=onto.from_m, to_m=onto.to_m)])
    return odd


def _merge(ground: Ground, keep: str, other: str) -> str:
    """One piece of two, as old as the older; the other's name says where it went."""
    if keep == other:
        return ""
    one, two = ground.piece(keep), ground.piece(other)
    if two.cast_ms is not None:
        one.cast_ms = min(one.cast_ms, two.cast_ms) if one.cast_ms is not None else two.cast_ms
    one.known_ms = max(one.known_ms, two.known_ms)
    if two.couch_ends_ms is None:
        one.couch_ends_ms = None
    two.into = keep
    for part in ground.parts:
        if part.piece == other:
            part.piece = keep
    return ""


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
    _merge(ground, what.piece, what.other)
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
