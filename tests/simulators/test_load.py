"""The load on a kiln's floor: what it keeps, where its air-off stands, how long it takes, how it warms."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulators.air import humidity_ratio, relative_humidity
from simulators.load import Load, Malt, fresh_air_kg_s

CLOSES = 1e-6
STILL = Malt(breath_mg_kg_h=0.0)
OUTDOOR_RATIO = humidity_ratio(10.0, 0.8)


def dry(load: Load, hours: float, on_c: float, m3_h: float, dt_s: float = 60.0) -> None:
    """So many hours from 10 C and 80 % outdoors."""
    for _ in range(round(hours * 3600.0 / dt_s)):
        load.step(dt_s, fresh_air_kg_s(m3_h * load.barley_t), on_c, OUTDOOR_RATIO, 10.0)


def broke_h(load: Load, on_c: float, m3_h: float) -> float:
    """When the air-off first leaves under 85 % of saturation."""
    for minute in range(60 * 60):
        dry(load, 1 / 60, on_c, m3_h)
        if minute > 60 and relative_humidity(load.off_c, load.off_ratio) < 0.85:
            return minute / 60
    raise AssertionError("it never broke")


@settings(max_examples=25, deadline=None)
@given(
    spells=st.lists(
        st.tuples(
            st.integers(1, 40),
            st.sampled_from([0.0, 1e-4, 0.02, 0.5, 2.0]),
            st.floats(-5, 110),
            st.floats(0.05, 1.0),
            st.booleans(),
        ),
        min_size=1,
        max_size=8,
    ),
    dt_s=st.sampled_from([10.0, 30.0, 60.0, 120.0]),
    moisture_wb=st.floats(0.05, 0.5),
)
def test_water_and_heat_balance_whatever_happens(
    spells: list[tuple[int, float, float, float, bool]], dt_s: float, moisture_wb: float
) -> None:
    load = Load(1.0, moisture_wb=moisture_wb)
    moved_j = load.began_j
    for steps, air_kg_s, on_c, rh, turned in spells:
        ratio = min(0.1, humidity_ratio(on_c, rh))
        for _ in range(steps):
            load.step(dt_s, air_kg_s, on_c, ratio, 10.0)
        if turned:
            load.mix(0.7)
    book = load.ledger
    moved_j += abs(book.brought_j) + book.made_j
    assert abs(load.water_gap_kg()) <= CLOSES * load.began_kg
    assert abs(load.heat_gap_j()) <= CLOSES * moved_j
    assert all(layer.moisture_db >= 0.0 and -60.0 < layer.warm_c < 160.0 for layer in load.layers)


def test_what_breathing_makes_follows_the_starch() -> None:
    """Source: C6H10O5 + 6 O2 -> 6 CO2 + 5 H2O: 1.629 kg of CO2 and 0.556 kg of water to a kg of starch."""
    load = Load(1.0)
    dry_kg = load.dry_kg()
    dry(load, 10.0, 45.0, 1800.0)
    lost_kg = dry_kg - load.dry_kg()
    assert lost_kg > 0.5
    assert load.ledger.co2_kg == pytest.approx(1.629 * lost_kg, rel=CLOSES)
    assert load.ledger.made_kg == pytest.approx(0.556 * lost_kg, rel=CLOSES)


def test_water_to_be_removed_by_mass_balance() -> None:
    """Source: 836 kg of dry matter from 44 % to 5 % wet basis loses 612.9 kg, by hand."""
    load = Load(1.0, malt=STILL)
    while load.moisture_wb_mean() > 0.05:
        dry(load, 1 / 60, 60.0, 2000.0)
    assert load.ledger.carried_kg == pytest.approx(612.9, abs=1.0)


def test_air_off_stands_near_the_wet_bulb_before_the_break() -> None:
    """Source: PsychroLib 25.35 C, CoolProp 25.32 C for 10 C and 80 % heated to 60 C. The grain takes some
    of the heat to warm itself and to free its water; with that taken off the air it is that wet bulb."""
    load = Load(1.0, malt=STILL)
    dry(load, 4.0, 60.0, 2000.0)
    assert load.off_c == pytest.approx(25.35, abs=0.5)
    assert relative_humidity(load.off_c, load.off_ratio) > 0.98
    before_j, before_kg, off_c = _taken_j(load), load.ledger.carried_kg, load.off_c
    dry(load, 1.0, 60.0, 2000.0)
    with_water_j = 4186.0 * off_c * (load.ledger.carried_kg - before_kg)
    per_kg_j = (_taken_j(load) - before_j + with_water_j) / (fresh_air_kg_s(2000.0) * 3600.0)
    per_k_j = 1006.0 + 2.5e6 * (humidity_ratio(off_c + 0.5, 1.0) - humidity_ratio(off_c - 0.5, 1.0))
    assert off_c + per_kg_j / per_k_j == pytest.approx(25.35, abs=0.1)


def _taken_j(load: Load) -> float:
    """Heat in the grain, and what freed its water and left by the top."""
    return load.heat_j() + load.ledger.freed_j + load.ledger.lost_j


@pytest.mark.parametrize(
    ("on_c", "m3_h", "ideal_h"),
    [(45.0, 1500.0, 28.0), (45.0, 2000.0, 21.0), (55.0, 1500.0, 22.0), (55.0, 2000.0, 16.0)],
)
def test_the_break_comes_when_an_ideal_kiln_says(on_c: float, m3_h: float, ideal_h: float) -> None:
    """Source: from 10 C, 80 % with air leaving saturated until 520 kg a tonne are gone, by hand: 21 to 28 h
    at 45 C, 16 to 22 h at 55 C for 2,000 to 1,500 m3/h a tonne."""
    assert broke_h(Load(1.0), on_c, m3_h) == pytest.approx(ideal_h, rel=0.06)


def test_a_step_of_a_minute_is_short_enough() -> None:
    coarse, fine = Load(1.0), Load(1.0)
    dry(coarse, 12.0, 50.0, 1800.0, 60.0)
    dry(fine, 12.0, 50.0, 1800.0, 10.0)
    assert coarse.water_kg() == pytest.approx(fine.water_kg(), rel=2e-3)
    assert [layer.warm_c for layer in coarse.layers] == pytest.approx(
        [layer.warm_c for layer in fine.layers], abs=0.3
    )


def test_it_dries_from_below() -> None:
    load = Load(1.0)
    dry(load, 10.0, 50.0, 1800.0)
    moistures = [layer.moisture_db for layer in load.layers]
    assert moistures[0] < 0.1
    assert moistures[-1] > 0.7
    assert moistures == sorted(moistures)


def test_a_wet_load_without_air_warms_by_itself() -> None:
    """By hand: 600 mg of CO2 per kg of dry matter and hour at 10.65 kJ/g, on 836 kg of dry matter at 1.55 and
    its water at 4.186 kJ/(kg K); at 22 C it is over 1.5 C/h (a green load's 1.45 C/h at 16 C, by hand)."""
    load = Load(1.0, warm_c=16.0)
    for _ in range(10):
        load.step(60.0, 0.0, 16.0, 0.006, 16.0)
    per_h = (load.warm_at(0.25) - 16.0) * 6.0
    expected = 600e-6 * 10_650.0 / (1.55 + 4.186 * 0.44 / 0.56)
    assert per_h == pytest.approx(expected, rel=0.03)
    warm = Load(1.0, warm_c=22.0)
    for _ in range(60):
        warm.step(60.0, 0.0, 22.0, 0.006, 22.0)
    assert warm.warm_at(0.25) - 22.0 > 1.5


def test_a_dry_load_without_air_does_not_warm() -> None:
    load = Load(1.0, moisture_wb=0.05, warm_c=30.0)
    for _ in range(120):
        load.step(60.0, 0.0, 30.0, 0.006, 30.0)
    assert load.warm_at(0.25) == pytest.approx(30.0, abs=1e-9)


def test_warm_wet_air_condenses_on_cold_grain() -> None:
    load = Load(1.0, warm_c=5.0)
    before_kg = load.water_kg()
    for _ in range(10):
        load.step(60.0, 0.5, 30.0, humidity_ratio(30.0, 0.95), 5.0)
    assert load.water_kg() > before_kg
    assert load.layers[0].warm_c > 10.0


def test_turning_makes_it_alike_and_keeps_water_and_heat() -> None:
    load = Load(1.0, malt=STILL)
    dry(load, 8.0, 50.0, 1800.0)
    water_kg, heat_j = load.water_kg(), load.heat_j()
    load.mix(1.0)
    assert load.water_kg() == pytest.approx(water_kg, rel=1e-12)
    assert load.heat_j() == pytest.approx(heat_j, rel=1e-12)
    assert math.isclose(load.layers[0].moisture_db, load.layers[-1].moisture_db, rel_tol=1e-9)


@pytest.mark.parametrize(
    ("c", "rh", "percent"),
    [(25.0, 0.70, 15.19), (10.0, 0.70, 15.73), (40.0, 0.30, 8.03), (85.0, 0.017, 1.63)],
)
def test_equilibrium_moisture(c: float, rh: float, percent: float) -> None:
    """Source: Modified Henderson for barley (ASAE D245's form), constants from memory; computed twice."""
    assert 100.0 * Malt().equilibrium_db(c, rh) == pytest.approx(percent, abs=0.01)


@pytest.mark.parametrize(("percent", "more"), [(5.0, 0.08), (10.0, 0.06), (15.0, 0.04), (20.0, 0.02)])
def test_freeing_the_grains_water_takes_more_heat(percent: float, more: float) -> None:
    """Source: Clausius-Clapeyron on Modified Henderson at 60 C, 1.08 to 1.02 of 2358 kJ/kg, by hand."""
    assert Malt().binding_j_kg(60.0, percent / 100.0) / 2.358e6 == pytest.approx(more, abs=0.006)
