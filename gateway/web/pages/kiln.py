"""The kiln: its programme against what is measured of air-on, grain and air-off, since the fire was lit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from gateway.core.asked import KILN_WORK
from gateway.core.site import Place, Probe, Programme
from gateway.core.state import State
from gateway.web.pages import bed
from gateway.web.pages.chart import Column
from gateway.web.pages.floor import standing
from gateway.web.pages.say import Say

Row = dict[str, Any]
_HOUR_MS = 3_600_000
LONGEST_MS = 96 * _HOUR_MS
#: What is done at a kiln, as buttons: the word recorded, and the word said.
_NAMES = {
    "drawn": "Fire drawn",
    "turned": "Kiln turned",
    "hand-dry": "Hand-dry",
    "fan-on": "Fan on",
    "fan-off": "Fan off",
    "to-store": "To store",
}
WORK = tuple((word, _NAMES.get(word, word.capitalize())) for word in KILN_WORK)
#: Which thermometer is which, by where it hangs in the kiln.
PARTS = ("air-on, under the load", "grain", "air-off, over the load")


def kiln(state: State, place: Place) -> Row:
    """What lies in a kiln, since when it is lit, what its thermometers say."""
    firing = state.pieces.now.kilns.get(place.id)
    lit_ms = firing.lit_ms if firing else None
    programme = state.programme(place)
    probes = sorted(
        state.site.probes_of[place.id], key=lambda probe: (probe.quantity, probe.height_cm or 0.0)
    )
    return {
        "piece": firing.piece if firing else None,
        "last": firing.last if firing else None,
        "lit_ms": lit_ms,
        "programme": programme,
        "stage": stage(programme, lit_ms, state.at_ms),
        "alarms": standing(state, place.id),
        "values": [_value(state, probe) for probe in probes],
        "at_ms": state.at_ms,
    }


def _value(state: State, probe: Probe) -> Row:
    window = state.windows.get(probe.id)
    known = (
        window is not None
        and window.value is not None
        and not window.silent
        and probe.id not in state.out_of_service
    )
    return {
        "probe": probe.id,
        "quantity": probe.quantity,
        "part": part(probe),
        "height_cm": probe.height_cm,
        "value": window.value if window and known else None,
        "at": window.measured_ms if window and known else None,
    }


def part(probe: Probe) -> str:
    """What a kiln's probe measures, by its height: under the load, in it, over it."""
    height = probe.height_cm if probe.height_cm is not None else 0.0
    return PARTS[0] if height < 0 else PARTS[1] if height < 100 else PARTS[2]


def stage(programme: Programme, lit_ms: int | None, at_ms: int) -> Row | None:
    """The programme's stage by the fire's hours, and the one that follows; None without fire or programme."""
    if lit_ms is None or not programme.stages:
        return None
    hours = (at_ms - lit_ms) / _HOUR_MS
    here = [one for one in programme.stages if hours >= one.from_h] or [programme.stages[0]]
    later = [one for one in programme.stages if one.from_h > hours]
    return {
        "name": here[-1].name,
        "target_c": here[-1].target_c,
        "limit_c": here[-1].limit_c,
        "hours": hours,
        "then": later[0] if later else None,
    }


def span(lit_ms: int | None, now_ms: int) -> tuple[int, int]:
    """From when to when it is shown: since the fire was lit, else the last day."""
    return max(lit_ms if lit_ms is not None else now_ms - 24 * _HOUR_MS, now_ms - LONGEST_MS), now_ms


def steps(programme: Programme, lit_ms: int | None, shown: tuple[int, int]) -> list[Row]:
    """The programme's targets and limits as lines over the time shown."""
    if lit_ms is None or not programme.stages:
        return [{"name": "limit", "points": [(shown[0], programme.cap_c), (shown[1], programme.cap_c)]}]
    found: list[Row] = []
    for name, key in (("wanted", "target_c"), ("limit", "limit_c")):
        points: list[tuple[int, float]] = []
        for at, one in enumerate(programme.stages):
            from_ms = lit_ms + round(one.from_h * _HOUR_MS)
            ends_h = programme.stages[at + 1].from_h if at + 1 < len(programme.stages) else None
            to_ms = shown[1] if ends_h is None else lit_ms + round(ends_h * _HOUR_MS)
            if from_ms < shown[1] and to_ms > shown[0]:
                points += [
                    (max(shown[0], from_ms), getattr(one, key)),
                    (min(shown[1], to_ms), getattr(one, key)),
                ]
        if points:
            found.append({"name": name, "points": points})
    return found


def drawing(
    say: Say,
    probes: Sequence[Probe],
    series: Mapping[str, list[Column]],
    shown: tuple[int, int],
    lines: Sequence[Row],
) -> Row:
    """Programme and thermometers as one drawing, hours since the fire was lit."""
    return bed.drawing(say, probes, series, shown, shown[0], lines)
