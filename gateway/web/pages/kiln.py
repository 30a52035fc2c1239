"""The kiln: its programme against what is measured of air-on, grain and air-off, since the fire was lit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

from gateway.core import views_kiln
from gateway.core.asked import KILN_WORK
from gateway.core.follow import kiln_air
from gateway.core.site import Place, Probe
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
#: Which thermometer is which, by what the judge takes it for.
PARTS = {"air_on": "air-on, under the load", "grain": "grain", "air_off": "air-off, over the load"}


def kiln(state: State, place: Place) -> Row:
    """What lies in a kiln, since when it is lit, what its thermometers say."""
    firing = state.pieces.now.kilns.get(place.id)
    lit_ms = firing.lit_ms if firing else None
    told = views_kiln.kiln(state, place)
    probes = sorted(
        state.site.probes_of[place.id],
        key=lambda probe: (probe.quantity != "temperature", probe.quantity, probe.height_cm or 0.0),
    )
    return {
        "piece": firing.piece if firing else None,
        "last": firing.last if firing else None,
        "lit_ms": lit_ms,
        "told": told,
        "stage": stage(told, lit_ms, state.at_ms),
        "alarms": standing(state, place.id),
        "first_c": told["programme"][0]["target_c"] if told["programme"] else None,
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
        "part": PARTS[kiln_air.role(probe)],
        "height_cm": probe.height_cm,
        "value": window.value if window and known else None,
        "at": window.measured_ms if window and known else None,
    }


def stage(told: Row, lit_ms: int | None, at_ms: int) -> Row | None:
    """The stage that the judge goes by, never by time alone, and the fire's hours; None without fire."""
    if lit_ms is None:
        return None
    here = _reached(told)[-1:]
    return {
        "name": here[0]["name"] if here else "Fire lit",
        "target_c": here[0]["target_c"] if here else None,
        "hours": (at_ms - lit_ms) / _HOUR_MS,
    }


def _reached(told: Row) -> list[Row]:
    return [one for one in told["programme"] if one["reached"]]


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
    what = f"an index, never an assay; its figures are of grade {found['grade']}, A the best"
    return f"{said} (1: nothing lost; {what})"


def span(lit_ms: int | None, now_ms: int) -> tuple[int, int]:
    """From when to when it is shown: since the fire was lit, else the last day."""
    return max(lit_ms if lit_ms is not None else now_ms - 24 * _HOUR_MS, now_ms - LONGEST_MS), now_ms


def steps(told: Row, lit_ms: int | None, shown: tuple[int, int]) -> list[Row]:
    """The targets and limits of the stages that were reached as lines over the time shown."""
    stages, from_ms, to_ms = _reached(told), *shown
    if lit_ms is None or not stages:
        limit_c = told["air_on_limit_c"]
        return [{"name": "limit", "points": [(from_ms, limit_c), (to_ms, limit_c)]}]
    newest_ms = told["stage_at"] or lit_ms
    begins = [min(newest_ms, lit_ms + round(one["from_h"] * _HOUR_MS)) for one in stages[:-1]]
    # A stage begins when all it waits for has come, which may be long after its hour.
    begins += [newest_ms, to_ms]
    found: list[Row] = []
    for name, key in (("wanted", "target_c"), ("limit", "limit_c")):
        points = [
            (min(max(at, from_ms), to_ms), one[key])
            for one, span_ms in zip(stages, pairwise(begins), strict=True)
            if span_ms[0] < to_ms and span_ms[1] > from_ms
            for at in span_ms
        ]
        if points:
            found.append({"name": name, "points": points})
    return found


def marks(seen: Row, shown: tuple[int, int]) -> list[Row]:
    """The kiln break as a mark over the drawing; none where it is not seen, or was before."""
    at = seen["at"]
    if seen["state"] != "announced" or at is None or not shown[0] <= at <= shown[1]:
        return []
    return [{"at": at, "seen": True}]


def drawing(
    say: Say,
    probes: Sequence[Probe],
    series: Mapping[str, list[Column]],
    shown: tuple[int, int],
    lines: Sequence[Row],
) -> Row:
    """Programme and thermometers as one drawing, hours since the fire was lit."""
    return bed.drawing(say, probes, series, shown, shown[0], lines)
