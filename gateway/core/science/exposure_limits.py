"""Limits of what people may breathe at work, by jurisdiction; the numbers come from outside.

A site may go lower. Going higher, or leaving a limit out, takes a written reason and the safety officer's
name: `loosened` says where it was tried.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

#: The fields that are limits, in the order they are told.
LEVELS = ("mean_8_h", "mean_15_min", "ceiling", "danger")


@dataclass(frozen=True, slots=True)
class Limit:
    """One substance's limits in one jurisdiction, in `unit`; None where that law or body sets none.

    `ceiling` may never be exceeded; `danger` is "immediately dangerous to life or health". `grade` says how
    sure the numbers are, `source` where they stand.
    """

    jurisdiction: str
    substance: str
    unit: str
    grade: str
    source: str
    mean_8_h: float | None = None
    mean_15_min: float | None = None
    ceiling: float | None = None
    danger: float | None = None


def limit_of(limits: Iterable[Limit], jurisdiction: str, substance: str) -> Limit | None:
    """The limits of a substance there; None where there are none."""
    for one in limits:
        if (one.jurisdiction, one.substance) == (jurisdiction, substance):
            return one
    return None


def loosened(shipped: Limit, wanted: Limit) -> tuple[str, ...]:
    """The limits of `shipped` that `wanted` raises or leaves out; ValueError if not of one substance."""
    if (shipped.substance, shipped.unit) != (wanted.substance, wanted.unit):
        raise ValueError(
            f"{wanted.substance} in {wanted.unit}: expected {shipped.substance} in {shipped.unit}, to compare"
        )
    return tuple(name for name in LEVELS if _above(getattr(shipped, name), getattr(wanted, name)))


def _above(shipped: float | None, wanted: float | None) -> bool:
    if shipped is None:
        return False
    # Not "wanted > shipped": a limit that is no number is no limit.
    return wanted is None or not wanted <= shipped
