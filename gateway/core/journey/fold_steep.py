"""What entries about steeps and kilns do to the ground. The same rules as in `fold_floor`."""

from __future__ import annotations

from gateway.core.inputs import KilnWorked
from gateway.core.inputs_journey import Steeped, Stood
from gateway.core.journey.fold_floor import NOTHING
from gateway.core.journey.ground import Firing, Ground, Span, Stand, Steeping
from gateway.core.site import Site

#: So many stands are kept of a steep: twice what any recipe has.
_STANDS = 40


def steeped(ground: Ground, site: Site, what: Steeped, when_ms: int, known_ms: int) -> str:
    """A lot is in the steep and under water: the first wet stand begins."""
    place = site.place[what.steep]
    before = ground.steeps.get(what.steep)
    ground.steeps[what.steep] = Steeping(
        what.piece, when_ms, [Stand("wet", when_ms)], what.lot, what.variety, what.moisture_wb,
        what.weight_t, what.recipe,
    )  # fmt: skip
    if before is not None:
        lot = f"lot {before.lot}" if before.lot else "another lot"
        return f"{place.name}: steeped, and nobody recorded that {lot} was cast from it"
    known = what.recipe is None or any(recipe.id == what.recipe for recipe in site.recipes)
    return "" if known else f"{place.name}: no recipe {what.recipe} in the site file; the first one is taken"


def stood(ground: Ground, site: Site, what: Stood, when_ms: int, known_ms: int) -> str:
    """The steep was filled or drained. The same kind twice is one stand: the grain has been so since."""
    place = site.place[what.steep]
    steeping = ground.steeps.get(what.steep)
    if steeping is None:
        return f"{place.name}: {what.stand} stand, {NOTHING}"
    last = steeping.stands[-1]
    if last.kind == what.stand:
        known = what.water_c is not None and last.water_c is None
        last.water_c = what.water_c if what.water_c is not None else last.water_c
        # The first wet stand began with the steeping; its water may be measured a little later.
        return "" if known else f"{place.name}: a {what.stand} stand while it was {what.stand} already"
    steeping.stands.append(Stand(what.stand, when_ms, what.water_c))
    del steeping.stands[:-_STANDS]
    return ""


def kiln(ground: Ground, site: Site, what: KilnWorked, when_ms: int, known_ms: int) -> str:
    """Lit starts the programme; relit goes on with it; drawn ends the fire, stripped the load as well."""
    if what.kiln is None:
        return ""
    place = site.place.get(what.kiln)
    name = place.name if place else what.kiln
    firing = ground.kilns.setdefault(what.kiln, Firing())
    if what.what in ("lit", "relit"):
        if firing.lit_ms is None:
            firing.lit_ms = when_ms
        elif what.what == "lit":
            return f"{name}: lit again; the programme goes on from the first fire"
    elif what.what == "drawn":
        firing.lit_ms = None
    elif what.what == "stripped":
        return _stripped(ground, firing, name, when_ms)
    elif what.what == "to-store":
        return _stored(ground, what.kiln, firing, name, when_ms)
    return ""


def _stripped(ground: Ground, firing: Firing, name: str, when_ms: int) -> str:
    firing.lit_ms = None
    if firing.piece is None:
        return f"{name}: stripped, but no piece is recorded in it"
    ground.piece(firing.piece).stripped_ms = when_ms
    firing.last, firing.piece = firing.piece, None
    return ""


def _stored(ground: Ground, kiln: str, firing: Firing, name: str, when_ms: int) -> str:
    piece = firing.last or firing.piece
    if piece is None:
        return f"{name}: to store, but no piece is recorded there"
    odd = f"{name}: piece {piece} to store, and nobody recorded that it was stripped" if firing.piece else ""
    one = ground.piece(piece)
    one.stored_ms, one.stripped_ms = when_ms, one.stripped_ms or when_ms
    firing.last = firing.piece = firing.lit_ms = None
    ground.spans.append(Span("store", kiln, None, None, piece, when_ms, when_ms + 1))
    return odd
