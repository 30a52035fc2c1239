"""What people did to a kiln, or found there: what it changes of the load and of what may be thought of it."""

from __future__ import annotations

from gateway.core.estimate import kiln_break, moisture
from gateway.core.follow.kiln_state import Kilning
from gateway.core.inputs import KilnWorked
from gateway.core.site_kiln import KilnFigures
from gateway.core.state import State

_TURNS = {"turned": True, "levelled": False}
_FIRES = {"lit": "lit", "relit": "lit", "damped": "damped", "drawn": "out"}


def worked(kilning: Kilning, figures: KilnFigures, event: KilnWorked, at_ms: int) -> None:
    """One entry, at a Unix time in ms."""
    watch, law, what = kilning.watch, figures.kiln_break, event.what
    if event.moisture_wb is not None and kilning.load is not None:
        moisture.measured(kilning.load, event.moisture_wb / 100.0, figures.moisture.sample_sd)
    if what in _FIRES:
        kilning.fire = _FIRES[what]
        kilning.burned = kilning.burned and kilning.fire != "lit"
        if what in ("lit", "relit") and not kilning.lit_ms:
            kilning.lit_ms = at_ms
        kiln_break.stand_still(watch, law, at_ms, kilning.fire != "lit" or not kilning.fan)
    elif what in _TURNS:
        kiln_break.disturb(watch, law, at_ms, mixed=_TURNS[what])
        kilning.low_share = 0.0
        if _TURNS[what] and kilning.load is not None:
            moisture.turned(kilning.load, figures.moisture.turned_share)
            kilning.damage.turned(figures.moisture.turned_share)
    elif what in ("fan-on", "fan-off"):
        kilning.fan = what == "fan-on"
        kiln_break.stand_still(watch, law, at_ms, kilning.fire == "damped" or not kilning.fan)
    elif what == "hand-dry":
        kilning.hand_dry_ms = at_ms
    elif what == "stripped":
        kilning.stripped_ms, kilning.fire = at_ms, "out"


def read_again(state: State) -> None:
    """An entry was put right: go by those that hold now."""
    for place, kilning in state.kilns.now.items():
        _again(state, place, kilning)


def _again(state: State, place: str, kilning: Kilning) -> None:
    """An entry was put right: fire, fan and hand-dry are as the entries that hold now say."""
    fire, fan, lit_ms, hand_dry_ms = "out", True, 0, 0
    for record in state.pieces.records:
        if record.word != "kiln" or record.void_n or record.body.get("kiln") != place:
            continue
        what = record.body["what"]
        if what in _FIRES:
            fire = _FIRES[what]
            lit_ms = lit_ms or (record.when_ms if fire == "lit" else 0)
        elif what in ("fan-on", "fan-off"):
            fan = what == "fan-on"
        elif what == "hand-dry":
            hand_dry_ms = record.when_ms
        elif what in ("stripped", "to-store") and not kilning.stripped_ms:
            fire, fan, lit_ms, hand_dry_ms = "out", True, 0, 0
    if not kilning.stripped_ms:
        kilning.fire, kilning.fan = fire, fan
        kilning.lit_ms, kilning.hand_dry_ms = lit_ms, hand_dry_ms
