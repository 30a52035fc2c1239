"""Whether the draught through a wet load seems lost while the fire burns.

A measured flow tells it. Without one: air-off warms off its plateau, full, while grain lower down is far
from as hot as air-on. At a break the drying front has passed that grain, and it is nearly as hot (ours; tried
on simulated loads, on no kiln).
"""

from __future__ import annotations

from gateway.core.estimate.kiln_break import ANNOUNCED
from gateway.core.follow import kiln_air
from gateway.core.follow.kiln_air import KilnAir
from gateway.core.follow.kiln_load import past_doubt
from gateway.core.follow.kiln_state import Kilning
from gateway.core.site import Place
from gateway.core.site_kiln import KilnFigures
from gateway.core.state import State

#: Less than a limit, where grain is seen to be under it.
_DRIER = 0.99


def off_share(kilning: Kilning, air: KilnAir) -> float | None:
    """How far air-off is from its plateau to air-on, 0 to 1; None before a plateau was seen."""
    watch = kilning.watch
    if air.on is None or air.off is None or not watch.armed:
        return None
    plateau_c = watch.wet_c + watch.floor_k
    return (air.off.value_c - plateau_c) / max(air.on.value_c - plateau_c, 1.0)


def is_lost(
    kilning: Kilning, figures: KilnFigures, air: KilnAir, at_ms: int, too_wet: bool, known: bool
) -> bool:
    """Whether it seems so now; `too_wet`: by any reckoning there is too much water left for a break.

    Once `known`, what disturbs the look for a break does not take it back.
    """
    watch, law = figures.kiln_watch, figures.kiln_break
    if kilning.watch.seen.state == ANNOUNCED or air.on is None or kilning.fire != "lit":
        return False
    if air.flow_m3_h is not None and kilning.load is not None:
        usual_m3_h = figures.moisture.guessed_air_m3_h_t * kilning.load.barley_t
        return air.flow_m3_h < watch.lost_flow_share * usual_m3_h
    share = off_share(kilning, air)
    if share is None or share < law.warm_share or (at_ms < kilning.watch.quiet_until_ms and not known):
        return False
    if air.off_rh is not None and air.off_rh < watch.stew_rh:
        return False
    if not _fire_steady(kilning, figures, air.on.value_c):
        # A fire that fails takes the plateau from under air-off before the load cools.
        return False
    share = _low_share(kilning, figures, air)
    return too_wet or (share is not None and share < watch.lost_grain_share)


def turned_unsaid(kilning: Kilning, figures: KilnFigures, air: KilnAir) -> bool:
    """Whether grain low in the load is suddenly cool again: it was turned, and nobody said so.

    A front does not go back, and grain keeps its heat when the draught is lost. Keeps `kilning.low_share`.
    """
    share = _low_share(kilning, figures, air)
    if share is None or air.on is None or not kilning.watch.armed:
        return False
    if not _fire_steady(kilning, figures, air.on.value_c):
        return False
    share = min(1.0, share)
    if share < kilning.low_share - figures.kiln_watch.turned_fall_share:
        kilning.low_share = share
        return True
    kilning.low_share = max(kilning.low_share, share)
    return False


def _fire_steady(kilning: Kilning, figures: KilnFigures, on_c: float) -> bool:
    lift_k = on_c - kilning.watch.wet_c
    if lift_k < figures.kiln_break.least_lift_k:
        return False
    return abs(on_c - kilning.watch.fire_c) <= figures.kiln_break.fire_share * lift_k


def seen_wb(
    state: State, place: Place, kilning: Kilning, figures: KilnFigures, value_c: float
) -> float | None:
    """What grain so warm holds at most past the break, whatever is reckoned: the wettest of it, on top, is
    half-way to air-on by then, and what is warmer is drier.

    None where warmth says nothing: before the break it may be the fire's as well as dryness, and is judged by
    what is reckoned; and grain hotter than air-on heats itself.
    """
    air = kiln_air.look(state, place)
    if kilning.watch.seen.state != ANNOUNCED or air.on is None:
        return None
    wet_c, on_c = kilning.watch.wet_c, air.on.value_c
    if value_c > on_c + state.programme(place).deadband_k:
        return None
    share = (value_c - wet_c) / max(on_c - wet_c, 1.0)
    sure = past_doubt(kilning, figures, air)
    needed = figures.kiln_break.stays_share if sure else figures.kiln_watch.dried_share
    return _DRIER * figures.moisture.hand_dry_wb if share >= needed else None


def _low_share(kilning: Kilning, figures: KilnFigures, air: KilnAir) -> float | None:
    """How far the warmest grain in the lower part of the load is on the way to air-on; None: not known."""
    watch, wet_c = figures.kiln_watch, kilning.watch.wet_c
    low = [
        spot.value_c
        for spot in air.grain
        if spot.probe.height_cm is not None
        and spot.probe.height_cm <= watch.lost_height_share * watch.depth_cm
    ]
    if not low or air.on is None:
        return None
    return (max(low) - wet_c) / max(air.on.value_c - wet_c, 1.0)
