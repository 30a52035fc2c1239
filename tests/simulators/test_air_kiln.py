"""Moist air against the handbook, and the kiln that is built on it."""

import pytest

from simulators.air import (
    co2_kg_per_m3,
    co2_ppm,
    enthalpy_j_per_kg,
    humidity_ratio,
    relative_humidity,
    saturated_enthalpy_j_per_kg,
    saturation_pa,
    wet_bulb_c,
)
from simulators.kiln import Kiln


@pytest.mark.parametrize(("c", "pa"), [(5.0, 872.6), (25.0, 3169.7), (50.0, 12351.3), (100.0, 101418.0)])
def test_saturation_pressure(c: float, pa: float) -> None:
    """Source: ASHRAE Handbook - Fundamentals 2017, ch. 1, table 3, as quoted by PsychroLib's tests."""
    assert saturation_pa(c) == pytest.approx(pa, rel=3e-4)


def test_wet_bulb_of_the_handbooks_example() -> None:
    """Source: the same chapter's example 1: 40 C dry bulb, 20 C wet bulb: W 0.0065, RH 14 %, h 56.7 kJ/kg."""
    low, high = 0.0, 0.02
    for _ in range(40):
        ratio = 0.5 * (low + high)
        low, high = (ratio, high) if wet_bulb_c(40.0, ratio) < 20.0 else (low, ratio)
    assert low == pytest.approx(0.0065, abs=1e-4)
    assert relative_humidity(40.0, low) == pytest.approx(0.14, abs=0.01)
    assert enthalpy_j_per_kg(40.0, low) == pytest.approx(56_700, abs=100)


def test_air_heated_from_ten_to_sixty_degrees() -> None:
    """Source: psychrolib 25.35 C, CoolProp 25.32 C for outside 10 C, 80 %, heated to 60 C; W 0.00609;
    pick-up to saturation 0.01443 kg/kg."""
    ratio = humidity_ratio(10.0, 0.8)
    wet = wet_bulb_c(60.0, ratio)
    assert ratio == pytest.approx(0.00609, abs=2e-5)
    assert wet == pytest.approx(25.35, abs=0.1)
    assert humidity_ratio(wet, 1.0) - ratio == pytest.approx(0.01443, abs=1e-4)


def test_the_table_of_saturated_air_follows_the_formula() -> None:
    for tenth in range(0, 600, 7):
        c = tenth / 10
        exact = enthalpy_j_per_kg(c, humidity_ratio(c, 1.0))
        assert saturated_enthalpy_j_per_kg(c) == pytest.approx(exact, rel=2e-3, abs=50.0)


def test_co2_share_of_a_weight() -> None:
    """Source: 5,000 ppm is 9,148 mg/m3 at 20 C (the UK's EH40 prints 9,150)."""
    assert co2_kg_per_m3(5000.0, 20.0) == pytest.approx(9148e-6, rel=1e-3)
    assert co2_ppm(co2_kg_per_m3(5000.0, 20.0), 20.0) == pytest.approx(5000.0)


def run_kiln(hours: float, kiln: Kiln) -> float | None:
    """When it broke, in hours since lighting."""
    broke_h = None
    for _ in range(int(hours * 60)):
        if kiln.step(60.0, 10.0, 0.8):
            broke_h = kiln.lit_h
    return broke_h


def test_a_kiln_keeps_its_plateau_and_breaks_once() -> None:
    """Source: from 10 C and 80 % outdoors at 2,000 m3/h a tonne the ideal break at 45 C air-on lies at
    21 to 28 h, worked out by hand; ours must come near it, never before it."""
    kiln = Kiln()
    kiln.begin(0.0, 10.0, 0.8)
    assert run_kiln(8.0, kiln) is None
    assert kiln.air_on_c == pytest.approx(45.0, abs=0.2)
    assert kiln.warm_at(kiln.depth_m) == pytest.approx(kiln.plateau_c, abs=0.9)
    assert kiln.off_rh() > 0.95
    broke_h = run_kiln(40.0, kiln)
    assert broke_h is not None
    assert 20.0 < broke_h < 32.0
    assert kiln.warm_at(kiln.depth_m) > kiln.plateau_c + 10.0
    assert kiln.off_rh() < 0.5


def test_a_fire_answers_slowly_and_goes_out_when_damped() -> None:
    kiln = Kiln()
    kiln.begin(0.0, 10.0, 0.8)
    kiln.step(60.0, 10.0, 0.8)
    assert kiln.air_on_c < 15.0
    run_kiln(6.0, kiln)
    kiln.fire = 0.0
    run_kiln(3.0, kiln)
    assert kiln.air_on_c == pytest.approx(10.0, abs=0.5)


def test_no_draught_dries_nothing() -> None:
    kiln = Kiln(draught=0.0)
    kiln.begin(6.0, 10.0, 0.8)
    assert kiln.removed_kg == 0.0


def test_a_kiln_not_lit_yet_stays_cold() -> None:
    kiln = Kiln()
    kiln.begin(-5.0, 10.0, 0.8)
    run_kiln(4.0, kiln)
    assert kiln.air_on_c == pytest.approx(10.0)
