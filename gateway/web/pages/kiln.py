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
WORK = tuple((word, _NAMES.get(word, word.capitalize())) for word in KILN_WORK if word != "moisture")
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


def estimated(say: Say, told: Row) -> Row:
    """Kiln break, moisture and heat damage in words: estimates, and said to be."""
    return {
        "break_words": _break(say, told["break"]),
        "moisture_words": _moisture(told),
        "damage_words": _damage(told["heat_damage"]),
    }


def _break(say: Say, seen: Row) -> str:
    if seen["state"] == "announced":
        sure = f"{seen['sureness']:.0%} sure{', found late' if seen['late'] else ''}"
        return f"seen, at {say.clock(seen['at'])} (known {say.clock(seen['known_at'])}, {sure})"
    return "withdrawn: what looked like it was none" if seen["state"] == "withdrawn" else "not seen"


def _moisture(told: Row) -> str:
    band, hours = told["moisture_wb"], told["hand_dry_h"]
    if band is None:
        return "not estimated: no load is followed"
    by = told["moisture_by"] or "air flow guessed"
    text = f"{band['low'] * 100:.0f} to {band['high'] * 100:.0f} % of the wet weight, estimated, {by}"
    if hours and hours["soonest"] is not None:
        latest = f" to {hours['latest']:.0f}" if hours["latest"] is not None else " or more"
        text += f"; hand-dry in {hours['soonest']:.0f}{latest} h"
    return text


def _damage(found: Row | None) -> str:
    if found is None:
        return "not reckoned yet"
    said = f"{found['left']:.2f} over the load, {found['worst_left']:.2f} where most is lost"
    return f"{said} (1: nothing lost; an index, never an assay; grade {found['grade']})"


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
