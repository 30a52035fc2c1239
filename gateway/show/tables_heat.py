"""What the beds will do if nobody turns them, as a table that a phone shows whole."""

from __future__ import annotations

from rich.text import Text

from gateway.core.rows import Row
from gateway.show.tables import Shown, cell, table
from gateway.show.words import Eyes

_NAMES = {"turn_at": "turn at", "high": "high", "urgent": "urgent"}
_AHEAD = (2, 4, 8)
_POINTS_AN_HOUR = 2


def forecast(found: list[Row], eyes: Eyes) -> Shown:
    """One bed a row: how fast it warms, how warm it will be, when it meets its limits, how it breathes."""
    return table(("Bed", "If nobody turns it"), (_bed(row, eyes) for row in found))


def _bed(row: Row, eyes: Eyes) -> list[Text]:
    rate = f"{row['rate_k_per_h']:+.1f} K an hour" if row["rate_k_per_h"] is not None else ""
    piece = "no cast recorded" if row["piece"] is None else f"piece {row['piece']}"
    head = cell(eyes.place(row["bed"]), piece, rate)
    if row["not_yet"] is not None:
        return [head, cell(f"not yet: {row['not_yet']}", _breathing(row))]
    points = [row["points"][hours * _POINTS_AN_HOUR - 1] for hours in _AHEAD]
    warm = [f"{eyes.time(point['at'])}: {_band(point)}" for point in points]
    moments = [f"{eyes.time(point['at'])} ({point['name']}): {_band(point)}" for point in row["moments"]]
    limits = [_limit(limit, row["made_at"], eyes) for limit in row["limits"] if limit["at"] is not None]
    return [head, cell(*warm, *moments, *(limits or ["meets no limit within 12 h"]), _breathing(row))]


def _band(point: Row) -> str:
    return f"{point['c']:.1f} °C ({point['low_c']:.1f}-{point['high_c']:.1f})"


def _limit(limit: Row, made_at: str, eyes: Eyes) -> str:
    name = f"{_NAMES.get(limit['name'], limit['name'])} {limit['limit_c']:.1f} °C"
    if limit["at"] == made_at:
        return f"{name} already"
    if limit["early"] is None or limit["late"] is None:
        return f"{name} by about {eyes.time(limit['at'])}"
    return f"{name} by {eyes.time(limit['early'])}-{eyes.time(limit['late'])}"


def _breathing(row: Row) -> str:
    found = row["breathing"]
    if found["w_per_t"] is not None:
        return f"breathes about {found['w_per_t']:.0f} W a tonne (grade {found['grade']})"
    if found["least_w_per_t"] is not None:
        return f"breathes at least {found['least_w_per_t']:.0f} W a tonne (grade {found['grade']})"
    return f"breathing not told: {found['not_yet']}"
