"""The air of each place as a table: two columns, so that a phone shows it whole."""

from __future__ import annotations

from typing import Any

from rich.text import Text

from gateway.core.rows import Row
from gateway.show.tables import Shown, cell, table
from gateway.show.words import Eyes, number

_BAD, _ODD = "bold red", "yellow"
ENTRY = {
    "leave": "STAY OUT",
    "no_entry": "NO ENTRY without a hand meter",
    "unknown": "AIR UNKNOWN, hand meter only",
    "no_gas_watch": "no gas watch",
    "below": "below its levels; no permit",
}
_STYLE = {"leave": _BAD, "no_entry": _BAD, "unknown": _BAD, "no_gas_watch": _ODD, "below": ""}
_GAS = {"co2": "CO2", "co": "CO"}
_AGAINST = {"over": "OVER", "under": "under", "unknown": "not known against"}
#: Less of a window measured than this, and the upper bound says little.
_MOST = 0.5


def air(found: list[Row], eyes: Eyes) -> Shown:
    """One place and gas a row: what was measured, and what to know before going in."""
    return table(("Place", "Air"), (_air(row, eyes) for row in found))


def _air(row: Row, eyes: Eyes) -> list[Text]:
    at_least = "at least " if row["over_range"] else ""
    value = f"{at_least}{number(row['value'], row['unit'])}" if row["value"] is not None else ""
    inside = [f"{eyes.who(one['person'])} in, out by {eyes.time(one['until'])}" for one in row["inside"]]
    return [
        cell(eyes.place(row["place"]), _GAS.get(row["gas"] or "", ""), value, style=_STYLE[row["entry"]]),
        cell(
            ENTRY[row["entry"]] if row["gas"] else "",
            row["line"],
            _means(row),
            *(
                f"{'MISSED: ' if one['missed'] else ''}{text}"
                for one, text in zip(row["inside"], inside, strict=True)
            ),
            style=_STYLE[row["entry"]],
        ),
    ]


def _means(row: Row) -> str:
    said = [_mean(row["mean_15min"], "15 min"), _mean(row["mean_8h"], "8 h")]
    told = "; ".join(part for part in said if part)
    return f"had someone stood here: {told}" if told else ""


def _mean(mean: dict[str, Any] | None, name: str) -> str:
    if not mean or mean["low"] is None:
        return ""
    low, high = f"{mean['low']:,.0f}", "no end" if mean["high"] is None else f"{mean['high']:,.0f}"
    if mean["known_share"] < _MOST:
        figure = f"{name} at least {low}, measured for {100 * mean['known_share']:.0f} % of it"
    else:
        figure = f"{name} {low}" if low == high else f"{name} {low} to {high}"
    return figure if mean["limit"] is None else f"{figure}, {_AGAINST[mean['against']]} {mean['limit']:,.0f}"
