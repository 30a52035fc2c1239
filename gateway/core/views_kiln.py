"""Each kiln as a row: its stage, the break, the water left by layer, heat damage, what its probes say.

Rows are dicts of plain values; times are Unix ms under their keys, to be printed at the edge. Moisture is a
share of the whole and an estimate with its band, never measured; heat damage is an index, never an assay.
"""

from __future__ import annotations

from typing import Any

from gateway.core.estimate.kiln_break import ANNOUNCED
from gateway.core.estimate.moisture import Band, Left
from gateway.core.follow import kiln_air, kiln_load, kiln_stage
from gateway.core.follow.kiln_air import KilnAir, Spot
from gateway.core.follow.kiln_state import Kilning
from gateway.core.rules import place_limit
from gateway.core.rules.air_entry import entry_state
from gateway.core.science import psychrometrics as moist
from gateway.core.site import Place, Programme, Stage
from gateway.core.site_kiln import KilnFigures
from gateway.core.state import State

#: Grade of the heat damage's constants: worked out by us, see config/kiln-physics.toml.
DAMAGE_GRADE = "D"
_HOUR_MS = 3_600_000


def kilns(state: State) -> list[dict[str, Any]]:
    """One row a kiln in the site file's order, whether anything lies in it or not."""
    return [kiln(state, place) for place in state.site.places if place.kind == "kiln"]


def kiln(state: State, place: Place) -> dict[str, Any]:
    """The row of one kiln."""
    kilning, figures = state.kilns.now.get(place.id), state.site.kiln
    air, programme = kiln_air.look(state, place), state.programme(place)
    left = _left(kilning, figures, air)
    entry = entry_state(state, place.id)
    return {
        "place": place.id,
        "piece": place_limit.piece(state, place),
        "said": kiln_stage.said(state, place, kilning) if kilning else "empty, or nothing recorded",
        "fire": kilning.fire if kilning else None,
        "fan": kilning.fan if kilning else None,
        "lit_at": (kilning.lit_ms or None) if kilning else None,
        "hand_dry_at": (kilning.hand_dry_ms or None) if kilning else None,
        "stripped_at": (kilning.stripped_ms or None) if kilning else None,
        "stage": _reached(programme, kilning),
        "stage_at": (kilning.stage_ms or None) if kilning else None,
        "next_stage": _next(programme, kilning, figures),
        "break": _break(kilning),
        "moisture_wb": _band(left.wb) if left else None,
        "moisture_by": _by(kilning),
        "layers_wb": [_band(one) for one in left.layers_wb] if left else [],
        "hand_dry_h": _span(left.hand_dry_h) if left else None,
        "target_h": _span(left.target_h) if left else None,
        "heat_damage": _damage(kilning),
        "air_on_c": air.on.value_c if air.on else None,
        "air_on_limit_c": place_limit.kiln_limit(state, place, state.at_ms),
        "air_off_c": air.off.value_c if air.off else None,
        "air_off_rh": air.off_rh,
        "grain": [_grain(spot, programme, kilning, figures) for spot in air.grain],
        "programme": [_stage(programme, kilning, index) for index in range(len(programme.stages))],
        "entry": {"state": entry.state, "why": entry.why, "cautions": list(entry.cautions)},
    }


def _left(kilning: Kilning | None, figures: KilnFigures | None, air: KilnAir) -> Left | None:
    if kilning is None or figures is None or kilning.stripped_ms:
        return None
    on_c = air.on.value_c if air.on else 20.0
    try:
        rh = min(1.0, max(0.0, moist.relative_humidity(on_c, kiln_air.ratio_of(air))))
        return kiln_load.left(kilning, figures, figures.isotherm.moisture_db(on_c, min(rh, 0.99)))
    except ValueError:
        return None


def _by(kilning: Kilning | None) -> str | None:
    """What the estimate goes by: the measured air flow, or a guessed one."""
    if kilning is None or kilning.load is None:
        return None
    return "air flow measured" if kilning.air_flow_measured else "air flow guessed"


def _break(kilning: Kilning | None) -> dict[str, Any]:
    if kilning is None:
        return {"state": "not_seen", "at": None, "known_at": None, "sureness": 0.0, "late": False}
    seen = kilning.watch.seen
    return {
        "state": seen.state,
        "at": seen.at_ms,
        "known_at": seen.known_at_ms,
        "sureness": seen.sureness,
        "late": seen.late,
    }


def _reached(programme: Programme, kilning: Kilning | None) -> str | None:
    if kilning is None or not kilning.lit_ms or not programme.stages:
        return None
    return kiln_stage.stage_of(programme, kilning).name


def _next(
    programme: Programme, kilning: Kilning | None, figures: KilnFigures | None
) -> dict[str, Any] | None:
    """The stage to come, its hour, and what it still waits for."""
    if kilning is None or figures is None or kilning.stripped_ms or not kilning.lit_ms:
        return None
    if kilning.stage + 1 >= len(programme.stages):
        return None
    stage = programme.stages[kilning.stage + 1]
    return {
        "name": stage.name,
        "at": round(kilning.lit_ms + stage.from_h * _HOUR_MS),
        "waits_for": _waits(stage, kilning, figures),
    }


def _waits(stage: Stage, kilning: Kilning, figures: KilnFigures) -> list[str]:
    if stage.after == "dry":
        wanted = stage.dry_wb or figures.moisture.hand_dry_wb
        return [] if kiln_stage.may_begin(stage, kilning, figures) else [f"moisture at {wanted:.0%}"]
    if stage.after != "break":
        return []
    broken = kilning.watch.seen.state == ANNOUNCED
    return [*([] if broken else ["kiln break"]), *([] if kilning.hand_dry_ms else ["hand-dry recorded"])]


def _damage(kilning: Kilning | None) -> dict[str, Any] | None:
    """The index: 1 nothing lost, 0 all; over the whole load, and of the layer that lost most."""
    if kilning is None or not kilning.damage.lost:
        return None
    return {"left": kilning.damage.left(), "worst_left": kilning.damage.worst(), "grade": DAMAGE_GRADE}


def _grain(
    spot: Spot, programme: Programme, kilning: Kilning | None, figures: KilnFigures | None
) -> dict[str, Any]:
    wet = limit_c = None
    if kilning is not None and figures is not None:
        wet = kiln_load.layer_wb(kilning, spot.probe.height_cm, figures.kiln_watch.depth_cm)
    if wet is not None and figures is not None:
        limit_c = min(figures.kiln_watch.wet_limit_c(wet), programme.cap_c)
    return {
        "probe": spot.probe.id,
        "height_cm": spot.probe.height_cm,
        "value_c": spot.value_c,
        "moisture_wb": wet,
        "limit_c": limit_c,
    }


def _stage(programme: Programme, kilning: Kilning | None, index: int) -> dict[str, Any]:
    stage = programme.stages[index]
    return {
        "name": stage.name,
        "from_h": stage.from_h,
        "target_c": stage.target_c,
        "limit_c": stage.limit_c,
        "ramp_k_per_h": stage.ramp_k_per_h,
        "after": stage.after,
        "reached": kilning is not None and bool(kilning.lit_ms) and index <= kilning.stage,
    }


def _band(band: Band) -> dict[str, float]:
    return {"mean": band.mean, "low": band.low, "high": band.high}


def _span(hours: tuple[float | None, float | None]) -> dict[str, float | None]:
    return {"soonest": hours[0], "latest": hours[1]}
