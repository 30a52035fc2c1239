"""Respiration: the proportions and the still bed against computed figures, and the estimate."""

import pytest

from gateway.core.estimate.respiration import Bed, Room, respiration
from gateway.core.science import respiration as science

DEEP = Bed(ppm=12_000.0, height_cm=6.0, depth_cm=15.0, warm_c=17.0, since_turn_h=5.0, shown_k_per_h=0.9)


def test_five_per_cent_in_five_days() -> None:
    """Stoichiometry, computed by hand: 71.66 kg of CO2, 764.2 MJ, 1.769 kW and 1.4546 K/h for 880 kg DM."""
    rate = science.co2_rate_mg_per_kg_h(0.05, 120.0)
    assert rate == pytest.approx(678.6, rel=1e-3)
    assert rate * 880.0 * 120.0 / 1e6 == pytest.approx(71.66, rel=1e-3)
    watts = science.watts_per_tonne(rate) * 0.88
    assert watts == pytest.approx(1769.0, rel=1e-3)
    assert watts * 120.0 * 3600.0 / 1e6 == pytest.approx(764.2, rel=1e-3)
    assert science.warming_k_per_h(watts / 1600.0, 2736.2) == pytest.approx(1.4546, rel=1e-3)
    assert science.watts_per_tonne(1.0) == pytest.approx(2.96, abs=0.03)
    assert pytest.approx(1.629, abs=1e-3) == science.CO2_PER_STARCH


def test_a_still_bed_of_15_cm() -> None:
    """Parabola: 700 mg/(kg h), 380 kg/m3 and 4.8299e-6 m2/s give 3.911 mol/m3, 9.28 % at 16 C."""
    through = science.diffusivity_in_bed(1.6e-5, 0.45)
    assert through == pytest.approx(4.8299e-6, rel=1e-4)
    rate = science.still_bed_rate_mg_per_kg_h(92_800.0, 0.0, 0.15, 16.0, 380.0, through)
    assert rate == pytest.approx(700.0, rel=5e-3)
    assert science.moles_per_m3(16.0) * 0.0928 == pytest.approx(3.911, rel=5e-3)
    half = science.still_bed_rate_mg_per_kg_h(92_800.0 * 0.75, 0.075, 0.15, 16.0, 380.0, through)
    assert half == pytest.approx(rate, rel=1e-9)
    with pytest.raises(ValueError, match="below its top"):
        science.still_bed_rate_mg_per_kg_h(5000.0, 0.15, 0.15, 16.0, 380.0, through)


def test_two_balances_and_one_flow_of_air_give_back_what_was_put_in() -> None:
    """700 mg/(kg h) in a kg of dry matter, aired at 2 m3/h: 0.1 W stays with grain and floor."""
    made_w = science.watts_per_tonne(700.0) / 1000.0
    flow_m3_s, co2_kg_m3 = 2.0 / 3600.0, 700e-6 / 2.0
    air_j_m3 = (made_w - 0.1) / flow_m3_s
    assert science.aired_rate_mg_per_kg_h(0.1, air_j_m3, co2_kg_m3) == pytest.approx(700.0, rel=1e-9)
    assert science.aired_rate_mg_per_kg_h(made_w, 0.0, 1.0) == pytest.approx(700.0, rel=1e-9)
    with pytest.raises(ValueError, match="expected <"):
        science.aired_rate_mg_per_kg_h(0.1, 1e6, 1e-6)


def test_an_estimate_has_a_range_and_a_grade() -> None:
    found = respiration(DEEP, Room(1_200.0, 12.0))
    assert found.grade == "D"
    assert found.not_yet is None
    assert found.rate is not None
    assert found.low is not None
    assert found.high is not None
    assert found.low.mg_per_kg_h < found.rate.mg_per_kg_h < found.high.mg_per_kg_h
    # 0.9 K/h kept in 4975 J/(kg K) is 1.24 W per kg of dry matter, 1.09 kW per tonne of barley.
    assert found.low.w_per_t == pytest.approx(1094.0, abs=2.0)
    less_co2 = respiration(DEEP._replace(ppm=6_000.0), Room(1_200.0, 12.0))
    assert less_co2.rate is not None
    assert less_co2.rate.mg_per_kg_h > found.rate.mg_per_kg_h


def test_much_co2_alone_raises_the_least() -> None:
    found = respiration(DEEP._replace(ppm=80_000.0, shown_k_per_h=0.1), Room(1_200.0, 12.0))
    assert found.low is not None
    assert found.low.mg_per_kg_h > 400.0


@pytest.mark.parametrize(
    ("bed", "why"),
    [
        (DEEP._replace(ppm=None), "no CO2"),
        (DEEP._replace(depth_cm=None), "depth"),
        (DEEP._replace(height_cm=14.0), "top of the bed"),
        (DEEP._replace(height_cm=40.0), "top of the bed"),
        (DEEP._replace(since_turn_h=0.3), "turned"),
        (DEEP._replace(ppm=1_400.0), "too little CO2"),
        (DEEP._replace(shown_k_per_h=None), "heat"),
        (DEEP._replace(ppm=2_000.0), "the air takes most"),
    ],
)
def test_no_number_where_something_is_missing(bed: Bed, why: str) -> None:
    found = respiration(bed, Room(1_200.0, 12.0))
    assert found.rate is None
    assert found.high is None
    assert found.not_yet is not None
    assert why in found.not_yet
