"""Heat damage (index): what the fitted constants give, computed before by two programs. Grade D, no assay."""

import math

import pytest

from gateway.core.estimate.heat_damage import DamageSettings, HeatDamage
from tests.estimate.kiln_worlds import BARLEY, CONFIG, LAYER

SETTINGS = DamageSettings(**CONFIG["heat_damage"])


def _held(grain_c: float, moisture_wb: float, hours: float, settings: DamageSettings = SETTINGS) -> float:
    damage = HeatDamage()
    for _ in range(round(hours * 60)):
        damage.take(settings, 1.0, [(grain_c, moisture_wb)])
    return damage.left()


@pytest.mark.parametrize(
    ("grain_c", "moisture_wb", "hours", "left"),
    [(72, 0.06, 4, 0.92), (80, 0.05, 4, 0.60), (55, 0.44, 12, 0.09), (65, 0.44, 12, 0.00)],
)
def test_what_is_left_when_held(grain_c: float, moisture_wb: float, hours: float, left: float) -> None:
    assert _held(grain_c, moisture_wb, hours) == pytest.approx(left, abs=0.005)


def test_it_is_very_sensitive_to_b() -> None:
    """b = 7 instead of 8 gives 0.29 for the 80 C cure: why it is an index."""
    other = DamageSettings(SETTINGS.k65_per_min, SETTINGS.ea_kj_mol, 7.0, SETTINGS.wet_wb)
    assert _held(80.0, 0.05, 4.0, other) == pytest.approx(0.29, abs=0.005)


def test_the_half_life_in_a_mash() -> None:
    """Some 10 min at 65 C, fully wet (a summary of R. Muller, BRF, 1990): 0.06 a minute is 11.6."""
    assert math.log(2) / SETTINGS.rate_per_min(65.0, 0.45) == pytest.approx(11.55, abs=0.1)
    assert SETTINGS.rate_per_min(65.0, 0.80) == SETTINGS.rate_per_min(65.0, 0.45)


def test_drying_that_keeps_wet_grain_cool_costs_next_to_nothing() -> None:
    """12 h in 55 C air: grain no warmer than its moisture allows (wet bulb while over 30 %), as in a kiln."""
    damage, moisture, grain_c = HeatDamage(), 0.44 / 0.56, 24.0
    for _ in range(720):
        rest = BARLEY.moisture_db(grain_c, 0.3)
        moisture = LAYER.dried_db(moisture, rest, 55.0, 60.0)
        wb = moisture / (1 + moisture)
        grain_c = 24.0 + 31.0 * min(1.0, max(0.0, (0.30 - wb) / 0.22))
        damage.take(SETTINGS, 1.0, [(grain_c, wb)])
    assert damage.left() > 0.99


def test_layers_and_turning() -> None:
    damage = HeatDamage()
    assert (damage.left(), damage.worst()) == (1.0, 1.0)
    damage.take(SETTINGS, 60.0, [(60.0, 0.44), (25.0, 0.44)])
    assert damage.worst() < damage.left() < 1.0
    before = damage.left()
    damage.turned(1.0)
    assert damage.left() == pytest.approx(before)
    assert damage.worst() == pytest.approx(before)


def test_a_fire_leaves_nothing_and_breaks_nothing() -> None:
    damage = HeatDamage()
    damage.take(SETTINGS, 1e6, [(900.0, 0.9)])
    damage.turned(0.5)
    assert damage.left() < 1e-200
