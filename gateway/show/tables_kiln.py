"""The kilns, as a table that a phone shows whole."""

from __future__ import annotations

from rich.text import Text

from gateway.core.rows import Row
from gateway.show.tables import Shown, cell, table
from gateway.show.words import Eyes

_BREAK = {"not_seen": "kiln break not seen", "announced": "kiln break", "withdrawn": "break taken back"}


def kilns(found: list[Row], eyes: Eyes) -> Shown:
    """One kiln a row: how far it is, what its air and grain say, what is left of the water."""
    return table(("Kiln", "Now"), (_kiln(row, eyes) for row in found))


def _kiln(row: Row, eyes: Eyes) -> list[Text]:
    piece = f"piece {row['piece']}" if row["piece"] else ""
    fire = f"fire {row['fire']}" if row["fire"] else ""
    fan = "fan off" if row["fan"] is False else ""
    said = [_broke(row, eyes), *_water(row), *_damage(row)] if row["stage"] or row["moisture_wb"] else []
    return [
        cell(eyes.place(row["place"]), piece, row["said"], fire, fan),
        cell(*_air(row), *_stage(row, eyes), *said, f"air to breathe: {row['entry']['why']}"),
    ]


def _air(row: Row) -> list[str]:
    found = []
    if row["air_on_c"] is not None:
        found.append(f"air-on {row['air_on_c']:.1f} °C, limit {row['air_on_limit_c']:g}")
    for one in row["grain"]:
        limit = f", limit {one['limit_c']:g}" if one["limit_c"] is not None else ""
        height = f" at {one['height_cm']:g} cm" if one["height_cm"] is not None else ""
        found.append(f"grain{height} {one['value_c']:.1f} °C{limit}")
    if row["air_off_c"] is not None:
        damp = f", {row['air_off_rh']:.0f} %RH" if row["air_off_rh"] is not None else ""
        found.append(f"air-off {row['air_off_c']:.1f} °C{damp}")
    return found or ["no probe is heard"]


def _stage(row: Row, eyes: Eyes) -> list[str]:
    found = [f"stage: {row['stage']}"] if row["stage"] else []
    after = row["next_stage"]
    if after:
        waits = f", waits for {' and '.join(after['waits_for'])}" if after["waits_for"] else ""
        found.append(f"next: {after['name']} from {eyes.time(after['at'])}{waits}")
    return found


def _broke(row: Row, eyes: Eyes) -> str:
    one = row["break"]
    said = _BREAK[one["state"]]
    if one["state"] != "announced":
        return said
    since = "before" if one["late"] else "at"
    return f"{said} {since} {eyes.time(one['at'])}, {one['sureness']:.0%} sure"


def _water(row: Row) -> list[str]:
    band = row["moisture_wb"]
    if band is None:
        return []
    low, mean, high = (100.0 * band[key] for key in ("low", "mean", "high"))
    found = [f"about {mean:.0f} % moisture ({low:.0f}-{high:.0f}), estimated", str(row["moisture_by"])]
    hours = row["hand_dry_h"]
    if hours and hours["soonest"]:
        latest = f"-{hours['latest']:.0f}" if hours["latest"] is not None else " or more"
        found.append(f"hand-dry in {hours['soonest']:.0f}{latest} h")
    return found


def _damage(row: Row) -> list[str]:
    one = row["heat_damage"]
    return [f"heat damage (index): {one['left']:.2f} left, no assay"] if one else []
