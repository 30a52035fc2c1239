"""What a kiln's load holds as it is reckoned: its moisture, and what that says of break and draught."""

from __future__ import annotations

from gateway.core.estimate import moisture
from gateway.core.estimate.kiln_break import ANNOUNCED, WITHDRAWN
from gateway.core.follow.kiln_air import KilnAir
from gateway.core.follow.kiln_state import Kilning
from gateway.core.science.grain import wb_of_db
from gateway.core.site_kiln import KilnFigures
from gateway.core.state import State

_HOUR_MS = 3_600_000


def mean_wb(kilning: Kilning) -> float | None:
    """The load's estimated moisture, share of the whole."""
    return wb_of_db(kilning.load.members[1].stack.mean_db()) if kilning.load else None


def layer_wb(kilning: Kilning, height_cm: float | None, depth_cm: float) -> float | None:
    """The least estimated moisture of the layer at a height; of the middle where no height is told.

    Of the driest reckoning: grain at the drying front is hot because it is dry, and where the front is by the
    others hangs on a guessed draught. A break taken back proves the driest wrong: then of the wettest.
    """
    if kilning.load is None:
        return None
    share = 0.5 if height_cm is None else height_cm / depth_cm
    found = [max(0.0, _between(one.stack.moisture, share)) for one in kilning.load.members]
    return wb_of_db(max(found) if kilning.watch.seen.state == WITHDRAWN else min(found))


def _between(layers: list[float], share: float) -> float:
    """The value so far up, between the middles of two layers: a step is not what a probe touches."""
    place = min(max(share * len(layers) - 0.5, 0.0), len(layers) - 1.0)
    low = int(place)
    high = min(low + 1, len(layers) - 1)
    return layers[low] + (place - low) * (layers[high] - layers[low])


def left(kilning: Kilning, figures: KilnFigures, rest_db: float) -> moisture.Left | None:
    """What is left of the water; None where nothing is reckoned."""
    return moisture.left(kilning.load, figures.moisture, rest_db) if kilning.load else None


def is_wet(kilning: Kilning, figures: KilnFigures) -> bool:
    """Whether the load is still wet: no break seen, and more than hand-dry as far as is reckoned."""
    found = mean_wb(kilning)
    broken = kilning.watch.seen.state == ANNOUNCED
    return not broken and (found is None or found > figures.moisture.hand_dry_wb)


def too_wet_to_break(kilning: Kilning, figures: KilnFigures, air: KilnAir) -> bool:
    """Whether even the driest reckoning has so much water left that no dry air can reach the top yet."""
    if kilning.load is None:
        return False
    if kilning.unlikely_ms and air.off_rh is not None and air.off_rh >= figures.kiln_watch.stew_rh:
        # The draught seemed lost before: then warm air-off is no evidence, and damp air-off is.
        return True
    if air.off_rh is not None and air.off_rh < figures.kiln_watch.dry_rh:
        # Air that warms and is not full has passed dry grain on top: more went through than is reckoned.
        return False
    if air.off_rh is None and _warms_quickly(kilning, figures, air):
        return False
    driest_db = min(member.stack.mean_db() for member in kilning.load.members)
    return wb_of_db(driest_db) > figures.kiln_watch.no_break_wb


def past_doubt(kilning: Kilning, figures: KilnFigures, air: KilnAir) -> bool:
    """Whether a break stands that is past doubt: air-off is half the way up, or far too dry for wet grain."""
    if kilning.watch.seen.state != ANNOUNCED:
        return False
    return kilning.watch.stays or (air.off_rh is not None and air.off_rh <= figures.kiln_watch.broken_rh)


def _warms_quickly(kilning: Kilning, figures: KilnFigures, air: KilnAir) -> bool:
    """Whether air-off left its plateau quicker than wet grain heats itself, or a lost draught lets it warm.

    Then the load is none that is reckoned here: a smaller one, or another dryer.
    """
    watch = kilning.watch
    at_ms = watch.seen.at_ms
    if watch.seen.state != ANNOUNCED or at_ms is None or air.off is None or watch.measured_ms <= at_ms:
        return False
    rise_k = air.off.value_c - watch.wet_c - watch.foot_k
    return rise_k * _HOUR_MS >= figures.kiln_watch.quick_k_per_h * (watch.measured_ms - at_ms)


def weigh_by_break(kilning: Kilning, figures: KilnFigures, air: KilnAir) -> None:
    """A break past doubt says how dry the load is, better than a draught that nobody measured.

    Only if the air-off is dry too: where the draught was lost, air-off that warms is full.
    """
    if kilning.break_weighed or not past_doubt(kilning, figures, air):
        return
    wb, dry = mean_wb(kilning), air.off_rh is not None and air.off_rh < figures.kiln_watch.dry_rh
    if wb is None or kilning.load is None or not dry:
        return
    kilning.break_weighed = True
    if wb > figures.moisture.hand_dry_wb and not kilning.air_flow_measured:
        moisture.measured(kilning.load, figures.moisture.hand_dry_wb, figures.moisture.break_sd)


def is_choked(state: State, kilning: Kilning, figures: KilnFigures) -> bool:
    """Whether the draught seemed lost lately: the load warmed as at a break that cannot be one."""
    choked_ms = figures.kiln_watch.choked_h * _HOUR_MS
    return bool(kilning.unlikely_ms) and state.at_ms - kilning.unlikely_ms <= choked_ms
