"""How far a kilning is: the stage its fire has reached, and what the next one waits for.

No stage above the wet limit begins by time alone: kiln break seen and hand-dry recorded (common practice, no
source). Relighting resets nothing.
"""

from __future__ import annotations

from gateway.core.estimate.kiln_break import ANNOUNCED
from gateway.core.follow import kiln_load
from gateway.core.follow.kiln_state import Kilning
from gateway.core.site import Place, Programme, Stage
from gateway.core.site_kiln import KilnFigures
from gateway.core.state import State

_HOUR_MS = 3_600_000
_NO_STAGE = Stage("no programme", 0.0, 0.0, 0.0)


def may_begin(stage: Stage, kilning: Kilning, figures: KilnFigures) -> bool:
    """Whether what a stage waits for, besides its hour, has come."""
    if stage.after == "break":
        return kilning.watch.seen.state == ANNOUNCED and bool(kilning.hand_dry_ms)
    if stage.after == "dry":
        found = kiln_load.mean_wb(kilning)
        return found is not None and found <= (stage.dry_wb or figures.moisture.hand_dry_wb)
    return True


def advance(state: State, place: Place, kilning: Kilning) -> None:
    """Let the stage go on where its hour and all it waits for have come; never back."""
    stages, figures = state.programme(place).stages, state.site.kiln
    if not stages or figures is None or not kilning.lit_ms:
        return
    hours = (state.at_ms - kilning.lit_ms) / _HOUR_MS
    kilning.stage_ms = kilning.stage_ms or kilning.lit_ms
    while kilning.stage + 1 < len(stages):
        after = stages[kilning.stage + 1]
        if hours < after.from_h or not may_begin(after, kilning, figures):
            break
        kilning.stage, kilning.stage_ms = kilning.stage + 1, state.at_ms
    kilning.stage = min(kilning.stage, len(stages) - 1)
    if kilning.stage and kilning.watch.seen.state == ANNOUNCED:
        kilning.break_raised = True


def stage_of(programme: Programme, kilning: Kilning | None) -> Stage:
    """The stage the fire has reached; the first where no fire is recorded: its limit is the lowest."""
    if not programme.stages:
        return _NO_STAGE
    return programme.stages[min(kilning.stage if kilning else 0, len(programme.stages) - 1)]


def said(state: State, place: Place, kilning: Kilning | None) -> str:
    """How far the kilning is, in few words: "7 h in, break not seen"."""
    if kilning is None or not kilning.lit_ms:
        return "no fire recorded"
    hours = max(0, (state.at_ms - kilning.lit_ms) // _HOUR_MS)
    seen = kilning.watch.seen
    return f"{hours} h in, break {'seen' if seen.state == ANNOUNCED else 'not seen'}"
