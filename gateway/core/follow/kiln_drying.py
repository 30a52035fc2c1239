"""Air through a kiln's load, as it is reckoned: since the last minute, or for a fire told of late."""

from __future__ import annotations

from gateway.core.estimate import moisture
from gateway.core.estimate.moisture_layers import Physics
from gateway.core.follow import kiln_load
from gateway.core.follow.kiln_air import KilnAir, ratio_of
from gateway.core.follow.kiln_state import Kilning
from gateway.core.site import Place
from gateway.core.site_kiln import KilnFigures
from gateway.core.state import State

_HOUR_MS = 3_600_000
#: Nobody knows what a load went through in a longer hole; the reckoning does not leap over it.
LONGEST_MS = 10 * 60_000
#: A fire recorded late is reckoned back so far, so much of it at a time: the gateway has other work (ours).
BACK_MS, _BACK_STEP_MS = 72 * _HOUR_MS, 8 * _HOUR_MS


def dry(state: State, kilning: Kilning, figures: KilnFigures, air: KilnAir) -> None:
    """Let the air since the last minute through the load as it is reckoned."""
    passed_ms = min(state.at_ms - kilning.dried_ms, LONGEST_MS)
    kilning.dried_ms = state.at_ms
    if passed_ms <= 0 or air.on is None or kilning.load is None or not kilning.fan:
        return
    flow = air.flow_m3_h
    kilning.air_flow_measured = flow is not None
    seconds = passed_ms / 1000.0
    if flow is None and kiln_load.is_choked(state, kilning, figures):
        # Less goes through than is guessed; not nothing, or a wrong guess would never be found out.
        seconds *= figures.kiln_watch.choked_share
    off_c = air.off.value_c if air.off else None
    through = moisture.Air(air.on.value_c, ratio_of(air), off_c, flow, air.on.value_c)
    _pass(kilning, kilning.load, figures, seconds, passed_ms / 60_000.0, through)


def catch_up(state: State, place: Place, kilning: Kilning, figures: KilnFigures, air: KilnAir) -> None:
    """A part of the fire before anybody told of it: air-on by the programme, the weather as it is now.

    A stage that waits for something is not taken to have begun.
    """
    stages = [one for one in state.programme(place).stages if one.after == "hours"]
    begun_ms = kilning.began_ms - kilning.lit_ms - kilning.behind_ms
    part_ms = min(kilning.behind_ms, _BACK_STEP_MS)
    kilning.behind_ms -= part_ms
    if kilning.load is None or not stages:
        return
    for done_ms in range(0, part_ms, LONGEST_MS):
        step_ms = min(LONGEST_MS, part_ms - done_ms)
        hour = max(0.0, (begun_ms + done_ms) / _HOUR_MS)
        on_c = max((one.target_c for one in stages if one.from_h <= hour), default=stages[0].target_c)
        through = moisture.Air(on_c, ratio_of(air), None, None, on_c)
        _pass(kilning, kilning.load, figures, step_ms / 1000.0, step_ms / 60_000.0, through)


def _pass(
    kilning: Kilning,
    load: moisture.Load,
    figures: KilnFigures,
    seconds: float,
    minutes: float,
    air: moisture.Air,
) -> None:
    """Air through the load and what its heat does; nothing where no air can be as told."""
    try:
        moisture.pass_air(load, figures.moisture, _physics(figures), seconds, air)
    except ValueError:
        return
    stack = load.members[1].stack
    layers = [(c, db / (1.0 + db)) for c, db in zip(stack.warm_c, stack.moisture, strict=True)]
    kilning.damage.take(figures.heat_damage, minutes, layers)


def _physics(figures: KilnFigures) -> Physics:
    """The drying law of a site."""
    law = figures.moisture
    return Physics(figures.isotherm, figures.thin_layer, law.dry_kj_per_kg_k, law.full_rh)
