"""Whether the draught through a wet load seems lost while the fire burns.

A measured flow tells it. Without one: air-off warms off its plateau, full, while grain lower down is far
from as hot as air-on. At a break the drying front has passed that grain, and it is nearly as hot (ours; tried
on simulated loads, on no kiln).
"""

from __future__ import annotations

from gateway.core.estimate.kiln_break import ANNOUNCED
from gateway.core.follow.kiln_air import KilnAir
from gateway.core.follow.kiln_state import Kilning
from gateway.core.site_kiln import KilnFigures


def off_share(kilning: Kilning, air: KilnAir) -> float | None:
    """How far air-off is from its plateau to air-on, 0 to 1; None before a plateau was seen."""
    watch = kilning.watch
    if air.on is None or air.off is None or not watch.armed:
        return None
    plateau_c = watch.wet_c + watch.floor_k
    return (air.off.value_c - plateau_c) / max(air.on.value_c - plateau_c, 1.0)


def is_lost(kilning: Kilning, figures: KilnFigures, air: KilnAir, at_ms: int, too_wet: bool) -> bool:
    """Whether it seems so now; `too_wet`: by any reckoning there is too much water left for a break."""
    watch, law = figures.kiln_watch, figures.kiln_break
    if kilning.watch.seen.state == ANNOUNCED or air.on is None or kilning.fire != "lit":
        return False
    if air.flow_m3_h is not None and kilning.load is not None:
        usual_m3_h = figures.moisture.guessed_air_m3_h_t * kilning.load.barley_t
        return air.flow_m3_h < watch.lost_flow_share * usual_m3_h
    share = off_share(kilning, air)
    if share is None or share < law.warm_share or at_ms < kilning.watch.quiet_until_ms:
        return False
    if air.off_rh is not None and air.off_rh < watch.stew_rh:
        return False
    return too_wet or _front_below(kilning, figures, air)


def _front_below(kilning: Kilning, figures: KilnFigures, air: KilnAir) -> bool:
    """Whether a thermometer in the lower part of the load says that the front has not passed it."""
    watch, wet_c = figures.kiln_watch, kilning.watch.wet_c
    low = [
        spot.value_c
        for spot in air.grain
        if spot.probe.height_cm is not None
        and spot.probe.height_cm <= watch.lost_height_share * watch.depth_cm
    ]
    if not low or air.on is None:
        return False
    return (max(low) - wet_c) / max(air.on.value_c - wet_c, 1.0) < watch.lost_grain_share
