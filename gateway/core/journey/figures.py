"""Figures that cannot be: kept as they were written and asked about; nothing is reckoned from them.

The bounds are ours (no source): what lies beyond them is a slip of the pen, not grain, barley or water.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, NamedTuple

from gateway.core.inputs_journey import HandRead


class Bounds(NamedTuple):
    """The least and the most a figure can be, and how it is said."""

    least: float
    most: float
    says: str


_BOUNDS = {
    "c": Bounds(-20.0, 80.0, "a reading of {:g} C"),
    "water_c": Bounds(-2.0, 60.0, "water of {:g} C"),
    "depth_cm": Bounds(0.5, 150.0, "a depth of {:g} cm"),
    "height_cm": Bounds(0.0, 150.0, "a height of {:g} cm"),
    "litres": Bounds(0.1, 20_000.0, "{:g} litres"),
    "share_pct": Bounds(0.0, 100.0, "a share of {:g} %"),
    "moisture_wb": Bounds(1.0, 60.0, "a moisture of {:g} %"),
    "weight_t": Bounds(0.01, 500.0, "a weight of {:g} t"),
}


def cannot_be(event: Any) -> str:
    """In plain words, without the place, which figures of an entry cannot be, or ""."""
    wrong = _wrong(event)
    said = " and ".join(_BOUNDS[key].says.format(value) for key, value in wrong.items())
    return f"{said} cannot be" if wrong else ""


def believed(event: Any) -> Any | None:
    """The entry without the figures that cannot be; None for a reading by hand without its reading."""
    wrong = _wrong(event)
    if isinstance(event, HandRead) and "c" in wrong:
        return None
    return replace(event, **dict.fromkeys(wrong)) if wrong else event


def _wrong(event: Any) -> dict[str, float]:
    given = {key: getattr(event, key, None) for key in _BOUNDS}
    return {
        key: value
        for key, value in given.items()
        if value is not None and not _BOUNDS[key].least <= value <= _BOUNDS[key].most
    }
