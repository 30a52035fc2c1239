"""The shipped limits against the lists they are from, and that none is loosened unseen."""

import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from gateway.core.science.exposure_limits import LEVELS, Limit, limit_of, loosened

CONFIG = Path(__file__).resolve().parents[2] / "config" / "exposure-limits.toml"
SHIPPED = tomllib.loads(CONFIG.read_text())
LIMITS = tuple(Limit(**row) for row in SHIPPED["limit"])


@pytest.mark.parametrize(
    ("jurisdiction", "substance", "levels"),
    [
        # HSE EH40/2005; 29 CFR 1910.1000 Z-1; NIOSH Pocket Guide; Directives 2006/15/EC, 2022/431, 2017/164.
        ("uk", "co2", (5000, 15000, None, None)),
        ("uk", "co", (20, 100, None, None)),
        ("uk", "so2", (0.5, 1, None, None)),
        ("us-osha", "co2", (5000, None, None, None)),
        ("us-osha", "co", (50, None, None, None)),
        ("us-niosh", "co2", (5000, 30000, None, 40000)),
        ("us-niosh", "co", (35, None, 200, 1200)),
        ("us-niosh", "so2", (2, 5, None, 100)),
        ("eu", "co2", (5000, None, None, None)),
        ("eu", "co", (20, 100, None, None)),
        ("eu", "so2", (0.5, 1, None, None)),
    ],
)
def test_the_lists(jurisdiction: str, substance: str, levels: tuple[float | None, ...]) -> None:
    limit = limit_of(LIMITS, jurisdiction, substance)
    assert limit is not None
    assert tuple(getattr(limit, name) for name in LEVELS) == levels


def test_each_has_a_source_and_a_grade_and_is_there_once() -> None:
    assert len({(one.jurisdiction, one.substance) for one in LIMITS}) == len(LIMITS)
    assert all(one.source and one.grade in "ABC" and one.unit == "ppm" for one in LIMITS)
    assert all(any(getattr(one, name) for name in LEVELS) for one in LIMITS)
    assert limit_of(LIMITS, "uk", "tea") is None


def test_lower_is_allowed_and_higher_or_missing_is_told() -> None:
    ours = limit_of(LIMITS, "uk", "co2")
    assert ours is not None
    assert loosened(ours, replace(ours, mean_8_h=3000, mean_15_min=15000, ceiling=20000)) == ()
    assert loosened(ours, replace(ours, mean_8_h=5000.1)) == ("mean_8_h",)
    assert loosened(ours, replace(ours, mean_8_h=float("nan"), mean_15_min=None)) == (
        "mean_8_h",
        "mean_15_min",
    )
    with pytest.raises(ValueError, match="expected co2 in ppm"):
        loosened(ours, replace(ours, unit="mg/m3"))
