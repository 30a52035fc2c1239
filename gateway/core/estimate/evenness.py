"""How even a bed is: from top to bottom, along it, where it is coldest and hottest, in the floor's words."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import NamedTuple

#: Thermometers this near along the bed hang in one place, and this near in height in one layer (ours).
_ONE_PLACE_M, _ONE_LAYER_CM = 1.0, 2.0


class Spot(NamedTuple):
    """One good thermometer: where it hangs (None: not told), and what it says now, C."""

    probe: str
    value_c: float
    height_cm: float | None = None
    at_m: float | None = None


class Lie(NamedTuple):
    """Where a bed lies on its floor, metres from the steep's end, and how deep (None: not told)."""

    from_m: float | None = None
    to_m: float | None = None
    depth_cm: float | None = None


UNTOLD = Lie()


class Named(NamedTuple):
    """A spot and the words for its place: "top, kiln end"; the probe's name where nothing else is told."""

    spot: Spot
    words: str


class Evenness(NamedTuple):
    """Spreads in K, from the coldest to the hottest; None where too few thermometers can tell.

    `over_height_k`: the largest between heights of one place. `along_k`: the largest between places in one
    layer. `spread_k`: over all of them.
    """

    spread_k: float | None
    over_height_k: float | None
    along_k: float | None
    coldest: Named
    hottest: Named


def evenness(spots: Sequence[Spot], lie: Lie = UNTOLD) -> Evenness | None:
    """The evenness of a bed by its good thermometers in the grain; None without any."""
    if not spots:
        return None
    coldest = min(spots, key=lambda spot: (spot.value_c, spot.probe))
    hottest = max(spots, key=lambda spot: (spot.value_c, spot.probe))
    return Evenness(
        round(hottest.value_c - coldest.value_c, 2) if len(spots) > 1 else None,
        _most([spot for spot in spots if spot.height_cm is not None], over_height=True),
        _most([spot for spot in spots if spot.at_m is not None], over_height=False),
        Named(coldest, words(coldest, spots, lie)),
        Named(hottest, words(hottest, spots, lie)),
    )


def words(spot: Spot, spots: Sequence[Spot], lie: Lie) -> str:
    """Where a thermometer hangs, as one would say it on the floor."""
    heights = [one.height_cm for one in spots if one.height_cm is not None]
    depth_cm = lie.depth_cm or 0.0
    layer = _third(
        spot.height_cm, *((0.0, depth_cm) if depth_cm else _ends(heights)), ("bottom", "middle", "top")
    )
    along = _third(spot.at_m, lie.from_m, lie.to_m, ("steep end", "middle of the bed", "kiln end"))
    said = [part for part in (layer, along) if part]
    return ", ".join(said) or f"at {spot.probe}"


def _ends(heights: Sequence[float]) -> tuple[float | None, float | None]:
    return (min(heights), max(heights)) if heights else (None, None)


def _third(value: float | None, low: float | None, high: float | None, names: tuple[str, str, str]) -> str:
    """Which third of a length a value lies in; nothing where that is not told, or there is no length."""
    if value is None or low is None or high is None or high - low < 1e-9:
        return ""
    return names[min(2, max(0, int(3.0 * (value - low) / (high - low))))]


def _most(spots: list[Spot], over_height: bool) -> float | None:
    """The largest spread over height within one place, or along the bed within one layer."""
    across = _ONE_PLACE_M if over_height else _ONE_LAYER_CM
    spreads = []
    for group in _near(spots, across, over_height):
        own = [(one.height_cm if over_height else one.at_m) or 0.0 for one in group]
        apart = _ONE_LAYER_CM if over_height else _ONE_PLACE_M
        if max(own) - min(own) >= apart:
            values = [one.value_c for one in group]
            spreads.append(max(values) - min(values))
    return round(max(spreads), 2) if spreads else None


def _near(spots: list[Spot], within: float, by_place: bool) -> list[list[Spot]]:
    """Spots put together that hang in one place (or in one layer), those not told in a group of their own."""

    def key(spot: Spot) -> tuple[bool, float]:
        where = spot.at_m if by_place else spot.height_cm
        return (where is None, where or 0.0)

    groups: list[list[Spot]] = []
    for untold, some in groupby(sorted(spots, key=key), key=lambda spot: key(spot)[0]):
        first = 0.0
        for spot in some:
            if (
                not groups
                or (not untold and key(spot)[1] - first > within)
                or key(groups[-1][0])[0] != untold
            ):
                groups.append([])
                first = key(spot)[1]
            groups[-1].append(spot)
    return groups
