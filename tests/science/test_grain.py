"""Water in grain. The isotherm's table was computed twice, by two programs, from the same constants."""

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.core.science import grain
from gateway.core.science.grain import Isotherm, ThinLayer

CONFIG = Path(__file__).resolve().parents[2] / "config" / "kiln-physics.toml"
SHIPPED = tomllib.loads(CONFIG.read_text())
BARLEY = Isotherm(**SHIPPED["isotherm"])
LAYER = ThinLayer(**SHIPPED["thin_layer"])


def test_dry_and_wet_basis() -> None:
    """Arithmetic: 836 kg dry from 44 to 5 % is 612.9 kg; 45 % of the whole is 81.82 % of the dry matter."""
    assert grain.water_to_remove_kg(836.0, 0.44, 0.05) == pytest.approx(612.9, abs=0.1)
    assert 100.0 * grain.db_of_wb(0.45) == pytest.approx(81.82, abs=0.01)
    assert 100.0 * grain.db_of_wb(0.12) == pytest.approx(13.6, abs=0.05)
    assert 100.0 * grain.db_of_wb(0.05) == pytest.approx(5.26, abs=0.01)
    assert grain.dry_kg_of(1000.0, 0.12) == pytest.approx(880.0)


@pytest.mark.parametrize(
    ("temperature_c", "rh", "db", "wb"),
    [
        (10, 0.70, 15.73, 13.59),
        (20, 0.60, 13.41, 11.83),
        (25, 0.70, 15.19, 13.18),
        (40, 0.30, 8.03, 7.43),
        (60, 0.50, 10.73, 9.69),
        (60, 0.05, 2.94, 2.86),
        (85, 0.017, 1.63, 1.60),
    ],
)
def test_equilibrium_of_barley(temperature_c: float, rh: float, db: float, wb: float) -> None:
    """Modified Henderson, form of ASAE D245, constants from memory: per cent, and the humidity back."""
    moisture = BARLEY.moisture_db(temperature_c, rh)
    assert 100.0 * moisture == pytest.approx(db, abs=0.01)
    assert 100.0 * grain.wb_of_db(moisture) == pytest.approx(wb, abs=0.01)
    assert BARLEY.rh(temperature_c, moisture) == pytest.approx(rh, abs=1e-6)


@given(st.floats(-20.0, 120.0), st.floats(-0.5, 1.5))
def test_equilibrium_is_never_below_nothing(temperature_c: float, rh: float) -> None:
    """The newer Chung-Pfost gives -2.00 % at 85 C and 1.7 %: this form must not."""
    assert 0.0 <= BARLEY.moisture_db(temperature_c, rh) < 0.6


@pytest.mark.parametrize(("db", "ratio"), [(5, 1.08), (10, 1.06), (15, 1.04), (20, 1.02), (30, 1.00)])
def test_heat_to_dry_grain_over_that_of_water(db: float, ratio: float) -> None:
    """Clausius-Clapeyron on the isotherm at 60 C, computed before."""
    assert BARLEY.latent_ratio(60.0, db / 100.0) == pytest.approx(ratio, abs=0.005)


@pytest.mark.parametrize(("temperature_c", "per_h"), [(20, 0.139), (40, 0.365), (60, 0.852), (70, 1.255)])
def test_thin_layer_rate(temperature_c: float, per_h: float) -> None:
    """O'Callaghan and others 1971, from memory: constants in config/kiln-physics.toml."""
    assert 3600.0 * LAYER.rate_per_s(temperature_c) == pytest.approx(per_h, abs=0.0006)


@pytest.mark.parametrize(
    ("temperature_c", "kj"), [(15, 2465), (20, 2454), (40, 2406), (60, 2358), (80, 2308)]
)
def test_latent_heat(temperature_c: float, kj: float) -> None:
    """CoolProp, to its whole kJ/kg."""
    assert grain.latent_kj_per_kg(temperature_c) == pytest.approx(kj, abs=0.7)


@given(
    st.floats(0.0, 1.2), st.floats(0.0, 0.4), st.floats(0.0, 100.0), st.floats(0.0, 1e5), st.floats(0.0, 1.0)
)
def test_a_steps_length_does_not_matter(
    moisture: float, rest: float, temperature_c: float, seconds: float, share: float
) -> None:
    """Drying in two steps is drying in one, and never crosses the equilibrium."""
    whole = LAYER.dried_db(moisture, rest, temperature_c, seconds)
    part = LAYER.dried_db(moisture, rest, temperature_c, share * seconds)
    assert LAYER.dried_db(part, rest, temperature_c, (1.0 - share) * seconds) == pytest.approx(
        whole, abs=1e-9
    )
    assert min(moisture, rest) - 1e-12 <= whole <= max(moisture, rest) + 1e-12


def test_what_no_grain_can_be_is_refused() -> None:
    for call in (
        lambda: grain.db_of_wb(1.0),
        lambda: grain.wb_of_db(-0.1),
        lambda: BARLEY.rh(20.0, -0.1),
        lambda: BARLEY.latent_ratio(20.0, 0.0),
        lambda: BARLEY.moisture_db(-200.0, 0.5),
    ):
        with pytest.raises(ValueError, match="expected"):
            call()
