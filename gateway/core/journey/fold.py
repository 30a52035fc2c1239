"""One entry onto the ground: the table of what each does, and where everything lies afterwards."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from gateway.core.inputs import Cast, CouchBroken, KilnWorked, Loaded, Moved, Turned
from gateway.core.inputs_journey import (
    Chitted,
    HandRead,
    Joined,
    Ordered,
    Ploughed,
    Smelled,
    Spired,
    Split,
    Sprinkled,
    Steeped,
    Stood,
    Thickened,
    Thinned,
    Withering,
)
from gateway.core.journey import figures
from gateway.core.journey import fold_floor as floor
from gateway.core.journey import fold_moves as moves
from gateway.core.journey import fold_steep as steep
from gateway.core.journey.ground import Ground
from gateway.core.site import Site

Fold = Callable[[Ground, Site, Any, int, int], str]

FOLDS: dict[type, Fold] = {
    Steeped: steep.steeped,
    Stood: steep.stood,
    Cast: floor.cast,
    CouchBroken: floor.couch_broken,
    Turned: floor.turned,
    Ploughed: floor.ploughed,
    Thinned: floor.of_piece,
    Thickened: floor.of_piece,
    Sprinkled: floor.of_piece,
    Withering: floor.of_piece,
    HandRead: floor.hand_read,
    Chitted: floor.of_piece,
    Spired: floor.of_piece,
    Smelled: floor.of_piece,
    Moved: moves.moved,
    Joined: moves.joined,
    Split: moves.split,
    Loaded: moves.loaded,
    KilnWorked: steep.kiln,
    Ordered: floor.ordered,
}
#: Entries after which something may lie elsewhere.
_LAYING = (Steeped, Cast, Turned, Moved, Joined, Split, Loaded, KilnWorked)


def fold(ground: Ground, site: Site, event: Any, when_ms: int, known_ms: int) -> str:
    """Let an entry change the ground; returns in plain words what does not fit, or "".

    An entry about a place that is no longer in the site file changes nothing; a figure that cannot be
    is taken as not given.
    """
    for key in ("bed", "to", "steep"):
        place = getattr(event, key, None)
        if place is not None and place not in site.place:
            return ""
    cannot_be, believed = figures.cannot_be(event), figures.believed(event)
    odd = "" if believed is None else FOLDS[type(event)](ground, site, believed, when_ms, known_ms)
    if isinstance(event, _LAYING):
        ground.follow(when_ms)
    return odd or (f"{_where(site, event)}: {cannot_be}" if cannot_be else "")


def _where(site: Site, event: Any) -> str:
    ids = (getattr(event, key, None) for key in ("bed", "steep", "kiln"))
    place = site.place.get(next((one for one in ids if one), ""))
    return place.name if place else "Floor"
