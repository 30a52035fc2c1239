"""Moist air against the handbook's numbers, and against two libraries' tables.

Handbook: ASHRAE Fundamentals 2017 chapter 1, as quoted by PsychroLib's test file (test_psychrolib_si.py).
moist_air.csv beside this file was computed once by PsychroLib 2.5.0 and CoolProp 8.0.0.
"""

import csv
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from gateway.core.science import psychrometrics as air

TABLE = Path(__file__).with_name("moist_air.csv")


def _rows() -> list[dict[str, float]]:
    lines = [line for line in TABLE.read_text().splitlines() if not line.startswith("#")]
    return [{name: float(value) for name, value in row.items()} for row in csv.DictReader(lines)]


@pytest.mark.parametrize(
    ("temperature_c", "table_pa"), [(5, 872.6), (25, 3169.7), (50, 12351.3), (100, 101418.0)]
)
def test_saturation_is_the_handbooks_table(temperature_c: float, table_pa: float) -> None:
    """Table 3 of the handbook; 0.03 %."""
    assert air.saturation_pa(temperature_c) == pytest.approx(table_pa, rel=3e-4)


@pytest.mark.parametrize(("temperature_c", "table"), [(5, 0.005425), (25, 0.020173), (50, 0.086863)])
def test_saturated_ratio_is_the_handbooks_but_for_its_enhancement(temperature_c: float, table: float) -> None:
    """Table 2 of the handbook is of real moist air: 0.4 to 0.6 % above the formula."""
    ours = air.humidity_ratio(temperature_c, 1.0)
    assert ours < table
    assert ours == pytest.approx(table, rel=0.0065)


def test_the_handbooks_worked_example() -> None:
    """Chapter 1, example 1: 40 C dry bulb, 20 C wet bulb, 101.325 kPa; dew point 7 C is read off a chart."""
    ratio = air.ratio_of_wet_bulb(40.0, 20.0)
    assert ratio == pytest.approx(0.0065, abs=1e-4)
    assert air.relative_humidity(40.0, ratio) == pytest.approx(0.14, abs=0.01)
    assert air.enthalpy_kj_per_kg(40.0, ratio) == pytest.approx(56.7, abs=0.1)
    assert air.volume_m3_per_kg(40.0, ratio) == pytest.approx(0.896, rel=0.01)
    assert air.dew_point_c(ratio) == pytest.approx(7.0, abs=0.5)


def test_pressures_of_the_librarys_own_tests() -> None:
    """PsychroLib's test file: W of 3169.7 Pa at 95,461 Pa, and the pressure at 500 m."""
    assert air.ratio_of_vapour(3169.7, 95_461.0) == pytest.approx(0.02136040, rel=1e-6)
    assert air.standard_pressure_pa(500.0) == pytest.approx(95_461.0, abs=1.0)


def test_a_kilns_air() -> None:
    """10 C, 80 % heated to 60 C: PsychroLib 25.35 C, CoolProp 25.32 C wet bulb; pick-up computed by both."""
    ratio = air.humidity_ratio(10.0, 0.80)
    wet_c = air.heated_wet_bulb_c(10.0, 0.80, 60.0)
    assert ratio == pytest.approx(0.00609, abs=2e-5)
    assert 100.0 * air.relative_humidity(60.0, ratio) == pytest.approx(4.93, abs=0.02)
    assert wet_c == pytest.approx(25.35, abs=0.1)
    assert air.ratio_after_load(60.0, ratio, wet_c) - ratio == pytest.approx(0.01443, abs=1e-4)


@pytest.mark.parametrize(
    ("air_on_c", "outdoor_c", "outdoor_rh", "plateau_c"),
    [
        (50, 10, 0.80, 22.7),
        (60, 10, 0.80, 25.4),
        (65, 10, 0.80, 26.6),
        (60, 5, 0.85, 24.4),
        (60, 15, 0.75, 26.5),
    ],
)
def test_where_air_off_sits_before_the_break(
    air_on_c: float, outdoor_c: float, outdoor_rh: float, plateau_c: float
) -> None:
    """Computed with PsychroLib and by hand, to a tenth of a degree."""
    assert air.heated_wet_bulb_c(outdoor_c, outdoor_rh, air_on_c) == pytest.approx(plateau_c, abs=0.06)


def test_two_libraries_say_the_same() -> None:
    """PsychroLib to its own last digits; CoolProp is of real air, 0.6 % more water and 0.03 K."""
    rows = _rows()
    assert len(rows) == 40
    for row in rows:
        t, rh, pa = row["temperature_c"], row["rh"], row["pressure_pa"]
        ratio = air.humidity_ratio(t, rh, pa)
        assert air.saturation_pa(t) == pytest.approx(row["psy_saturation_pa"], rel=1e-6)
        assert ratio == pytest.approx(row["psy_ratio"], rel=1e-5, abs=1e-8)
        assert air.enthalpy_kj_per_kg(t, ratio) == pytest.approx(row["psy_enthalpy_kj"], abs=2e-4)
        assert air.volume_m3_per_kg(t, ratio, pa) == pytest.approx(row["psy_volume_m3"], abs=2e-6)
        assert air.wet_bulb_c(t, ratio, pa) == pytest.approx(row["psy_wet_bulb_c"], abs=0.0015)
        assert air.dew_point_c(ratio, pa) == pytest.approx(row["psy_dew_point_c"], abs=0.0015)
        assert ratio == pytest.approx(row["cool_ratio"], rel=7e-3)
        assert air.wet_bulb_c(t, ratio, pa) == pytest.approx(row["cool_wet_bulb_c"], abs=0.03)


KILN_AIR = st.tuples(st.floats(15.0, 110.0), st.floats(0.0, 1.0), st.floats(80_000.0, 105_000.0))


@given(KILN_AIR)
@example((74.5, 1.0, 85867.90625))  # full air, whose ratio is that of its own warmth but for the last bit
def test_wet_bulb_and_dew_point_are_the_formulas_turned_round(of: tuple[float, float, float]) -> None:
    temperature_c, share, pressure_pa = of
    ratio = share * air.humidity_ratio(min(temperature_c, 80.0), 1.0, pressure_pa)
    wet_c = air.wet_bulb_c(temperature_c, ratio, pressure_pa)
    dew_c = air.dew_point_c(ratio, pressure_pa)
    assert dew_c - 1e-6 <= wet_c <= temperature_c or wet_c < 0.5
    if abs(wet_c) > 0.01:  # the formulas for ice and for water do not meet at 0 C
        assert air.ratio_of_wet_bulb(temperature_c, wet_c, pressure_pa) == pytest.approx(ratio, abs=1e-9)
    if dew_c > -40.0:
        assert air.saturation_pa(dew_c) == pytest.approx(
            air.vapour_of_ratio(ratio, pressure_pa), rel=1e-8, abs=1e-9
        )


@given(
    st.floats(30.0, 110.0),
    st.floats(0.002, 0.012),
    st.floats(-20.0, 120.0),
)
def test_air_never_leaves_water_in_the_load_and_never_holds_more_than_it_can(
    air_on_c: float, ratio: float, air_off_c: float
) -> None:
    off = air.ratio_after_load(air_on_c, ratio, air_off_c)
    assert off >= ratio
    if off > ratio:
        assert air.relative_humidity(air_off_c, off) <= 1.0 + 1e-9


def test_what_no_air_can_be_is_refused() -> None:
    for call in (
        lambda: air.saturation_pa(-41.0),
        lambda: air.saturation_pa(float("nan")),
        lambda: air.humidity_ratio(20.0, 1.01),
        lambda: air.ratio_of_vapour(200_000.0),
        lambda: air.vapour_of_ratio(-0.001),
        lambda: air.wet_bulb_c(20.0, -0.001),
        lambda: air.standard_pressure_pa(20_000.0),
    ):
        with pytest.raises(ValueError, match="expected"):
            call()
