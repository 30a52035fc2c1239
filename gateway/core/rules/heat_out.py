"""Thermometers of a hot bed that may hang in the room's air: they do not say yet that the grain is cooler.

They come out before a turn, and may be forgotten on a hook. A turn leaves grain warmer than this.
"""

from __future__ import annotations

from gateway.core.follow import heat as balance
from gateway.core.site import Place
from gateway.core.state import State

_MINUTE_MS = 60_000
#: Nearer to the room's air than this part of the limit's distance from it (ours): a turn cools grain less.
_OUT_SHARE = 0.25
#: Where the room is nearly as warm as the limit, nothing tells grain from air (ours).
_LEAST_K = 3.0


def under_c(state: State, place: Place, limit_c: float) -> float | None:
    """Under this a thermometer of a hot bed may hang in the air (Cel); None where nothing tells."""
    air_c = balance.room_c(state, place)
    if air_c is None or limit_c - air_c < _LEAST_K:
        return None
    return air_c + _OUT_SHARE * (limit_c - air_c)


def more_ms(state: State, off_ms: int) -> int:
    """How much longer than others such a probe must have come down: as long as one may be out."""
    return max(0, round(state.site.honest.back_within_min * _MINUTE_MS) - off_ms)
