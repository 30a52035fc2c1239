"""What the command about air answers: rows, the line above, and whether it is bad news."""

from __future__ import annotations

from gateway.cli.show_floor import Told
from gateway.core import views_air
from gateway.core.engine import State
from gateway.show import documents, tables_air, words

_BAD = ("leave", "no_entry")
_STOPPED = "the gateway is not running: hand meter only"


def air(state: State, *, runs: bool) -> Told:
    """What is known of the air; of a gateway that does not run nobody knows anything."""
    found = documents.air(views_air.air(state))
    if not runs:
        for row in found:
            if row["entry"] == "below":
                row |= {"entry": "unknown", "entry_why": _STOPPED, "line": _STOPPED}
    places = {row["place"]: row["entry"] for row in found}
    out = sum(entry in _BAD for entry in places.values())
    unknown = sum(entry == "unknown" for entry in places.values())
    blind = sum(entry == "no_gas_watch" for entry in places.values())
    inside = sum(len(row["inside"]) for row in {row["place"]: row for row in found}.values())
    head = words.count(len(places), "place")
    head += f", {out} to stay out of" if out else ""
    head += f", {unknown} with air unknown" if unknown else ""
    head += f", {blind} with no gas watch" if blind else ""
    head += f", {inside} inside" if inside else ""
    head += ". Never a permit; not a certified gas alarm."
    return Told(found, head, tables_air.air, bool(out or unknown))


def watch(state: State) -> str:
    """How far gas is watched, in a line: where, and where a probe is not heard."""
    rows = views_air.air(state)
    by_place = {row["place"]: row["entry"] for row in rows if row["gas"]}
    if not by_place:
        return "no gas watch"
    names = [state.site.place[place].name for place in by_place]
    lost = sum(entry == "unknown" for entry in by_place.values())
    blind = len({row["place"] for row in rows}) - len(by_place)
    said = f"CO2 or CO probes in {', '.join(names[:4])}{' …' if len(names) > 4 else ''}"
    said += f"; air unknown in {lost}" if lost else ""
    return f"{said}; no gas watch in {words.count(blind, 'place')}" if blind else said
