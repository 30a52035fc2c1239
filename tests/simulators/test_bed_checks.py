"""The bed in limiting cases that can be worked out by hand."""

from dataclasses import replace

import pytest

from simulators.air import co2_ppm
from simulators.bed import Surroundings
from simulators.grain import Grain, Lie
from tests.simulators.sites import around, bed

# A steady breath whatever the age and the warmth; nothing gets in or out but what a test lets.
STEADY = Grain(loss_share=0.05, q10=1.0, tired_c=500.0, dead_c=600.0, shape=((0.0, 1.0), (1.0, 1.0)))
SEALED = Lie(
    top_w_m2_k=0.0, base_w_m2_k=0.0, open_per_h=0.0, matted_per_h=0.0, unevenness=0.0, diffusivity_m2_s=0.0
)
HALF_PERCENT = 0.005


def five_days(shape: tuple[tuple[float, float], ...]) -> tuple[float, float, float]:
    """kg of CO2, MJ of heat and the rise in C of a sealed tonne of barley over 120 h."""
    sealed = bed(replace(STEADY, shape=shape), SEALED, barley_t=1.0)
    sealed.open_ledgers()
    before_c = sealed.temperatures()[0]
    for _ in range(5 * 24 * 6):
        sealed.step(600.0, around())
    return sealed.co2.generated, sealed.heat.generated / 1e6, sealed.temperatures()[0] - before_c


@pytest.mark.parametrize("shape", [STEADY.shape, Grain().shape], ids=["even", "by day"])
def test_five_percent_of_a_tonne_breathed_away_in_five_days(shape: tuple[tuple[float, float], ...]) -> None:
    """Source: stoichiometry of C6H10O5 and 2,816 kJ per mol of glucose, worked out by hand:
    0.05 x 880 kg DM x 6 x 44.01 / 162.14 = 71.66 kg CO2, and 764.2 MJ. The bed's 10.65 J/mg lies
    0.13 % under 2,816 kJ/mol. (5 % and 880 kg DM a tonne are the case, not claims about a floor.)"""
    co2_kg, heat_mj, rise_c = five_days(shape)

    assert co2_kg == pytest.approx(71.66, rel=HALF_PERCENT)
    assert heat_mj == pytest.approx(764.2, rel=HALF_PERCENT)
    assert heat_mj * 1e3 / (120 * 3600) == pytest.approx(1.769, rel=HALF_PERCENT)  # kW, the mean
    assert rise_c / 120 == pytest.approx(1.4546, rel=HALF_PERCENT)  # C/h, nothing lost


def test_mean_rate_of_that_case() -> None:
    """Source: 71.66 kg / 880 kg DM / 120 h = 678.6 mg per kg of DM and hour, by hand."""
    assert STEADY.mean_mg_per_kg_h() == pytest.approx(678.6, rel=HALF_PERCENT)


def steady_rate(mg_per_kg_h: float) -> Grain:
    """Grain that breathes so much and no other."""
    return replace(STEADY, loss_share=mg_per_kg_h * 120.0 / STEADY.co2_per_starch / 1e6)


def test_co2_at_the_base_of_a_still_bed() -> None:
    """Source: the analytic parabola S L^2 / (2 D) for a sealed base and an open top, 15 cm deep,
    700 mg/(kg DM h) x 380 kg DM/m3, D = 4.8299e-6 m2/s: 3.911 mol/m3, 9.28 vol % at 16 C."""
    still = bed(steady_rate(700.0), replace(SEALED, diffusivity_m2_s=4.8299e-6, cells=20))
    still.lay(60.0, 16.0, 0.0, Surroundings(16.0, 0.0, 0.0, 16.0))

    lowest = still.columns[0].co2[0]
    assert lowest / 0.0440095 == pytest.approx(3.911, rel=HALF_PERCENT)
    assert co2_ppm(lowest, 16.0) / 1e4 == pytest.approx(9.28, rel=HALF_PERCENT)


def test_heart_of_a_bed_between_two_cold_faces() -> None:
    """Source: the analytic parabola q L^2 / (8 k), 788 W/m3, k = 0.18 W/mK, 15 cm: 12.31 C."""
    rate = 788.0 * 3600.0 / 380.0 / STEADY.heat_j_per_mg
    faces = replace(SEALED, conductivity_w_mk=0.18, top_w_m2_k=1e9, base_w_m2_k=1e9, cells=41)
    between = bed(steady_rate(rate), faces)
    cold = around(room_c=12.0)
    for _ in range(300):
        between.step(3600.0, cold)

    assert max(between.temperatures()) - 12.0 == pytest.approx(12.31, rel=HALF_PERCENT)


def test_warmth_follows_q10_and_dies() -> None:
    """A Q10 of 2 doubles over 10 K by definition; hot grain breathes less and dead grain not at all."""
    grain = Grain()
    assert grain.warmth(26.0) == pytest.approx(2.0 * grain.warmth(16.0))
    assert grain.warmth(40.0) < grain.warmth(30.0)
    assert grain.warmth(60.0) == 0.0
