"""Moisture left: what the balance gives exactly, and how near it is where nothing is as the book says."""

import json
import math

import pytest

from gateway.core import codec
from gateway.core.estimate.moisture import Air, Load, left, loaded, pass_air, turned
from gateway.core.science import psychrometrics as air
from gateway.core.science.grain import db_of_wb, water_to_remove_kg
from tests.estimate.kiln_moist import PHYSICS, SETTINGS, air_of, begin, reckon
from tests.estimate.kiln_worlds import BARLEY, DRY_KG, Kilning

RATIO = air.humidity_ratio(10.0, 0.8)
WET_C = air.heated_wet_bulb_c(10.0, 0.8, 60.0)
REST = BARLEY.moisture_db(60.0, air.relative_humidity(60.0, RATIO))


def test_while_air_leaves_full_the_balance_is_the_airs() -> None:
    """10 C, 80 % to 60 C takes up 0.01443 kg/kg (PsychroLib, CoolProp): 4 h at 2,000 m3/h per tonne."""
    load = begin()
    for _ in range(240):
        pass_air(load, SETTINGS, PHYSICS, 60.0, Air(60.0, RATIO, WET_C, 2000.0, 10.0))
    air_kg = 4 * 2000.0 / air.volume_m3_per_kg(10.0, RATIO)
    removed = left(load, SETTINGS, REST).removed_kg
    assert removed.mean == pytest.approx(0.01443 * air_kg, rel=0.005)
    assert removed.high == pytest.approx((1 + SETTINGS.air_flow_share_sd) * 0.01443 * air_kg, rel=0.005)


def test_from_44_to_5_per_cent_is_613_kg_and_the_ideal_hours() -> None:
    """836 kg dry: 612.9 kg. The ideal time for 520 kg at 2,000 m3/h is 14.6 h, computed from 1.2 kg/m3."""
    load = begin(0.44, 0.0)
    hours = 0.0
    while left(load, SETTINGS, 0.0).removed_kg.mean < 520.0:
        pass_air(load, SETTINGS, PHYSICS, 60.0, Air(60.0, RATIO, WET_C, 2000.0, 10.0))
        hours += 1 / 60
    assert hours == pytest.approx(14.6, rel=0.05)
    assert water_to_remove_kg(DRY_KG, 0.44, 0.05) == pytest.approx(612.9, abs=0.1)
    while left(load, SETTINGS, 0.0).wb.mean > 0.05:
        pass_air(load, SETTINGS, PHYSICS, 60.0, Air(60.0, RATIO, 45.0, 2000.0, 10.0))
    assert left(load, SETTINGS, 0.0).removed_kg.mean == pytest.approx(612.9, abs=1.0)


@pytest.mark.parametrize(("flow_m3_h", "ideal_h"), [(5000, 5.8), (4000, 7.3), (3000, 9.7), (2000, 14.6)])
def test_the_ideal_hours_to_the_break_at_four_flows(flow_m3_h: float, ideal_h: float) -> None:
    """520 kg off a tonne at 60 C from 10 C and 80 %, air-off full: grade D, computed by hand."""
    load, minutes = begin(0.44, 0.0), 0
    while left(load, SETTINGS, 0.0).removed_kg.mean < 520.0:
        pass_air(load, SETTINGS, PHYSICS, 60.0, Air(60.0, RATIO, WET_C, flow_m3_h, 10.0))
        minutes += 1
    assert minutes / 60.0 == pytest.approx(ideal_h, abs=0.1)


@pytest.mark.parametrize(("on_c", "g_per_kg"), [(50.0, 11.3), (60.0, 14.4), (65.0, 16.0)])
def test_what_full_air_picks_up(on_c: float, g_per_kg: float) -> None:
    """From 10 C and 80 %: computed with PsychroLib and by hand."""
    wet_c = air.heated_wet_bulb_c(10.0, 0.80, on_c)
    assert 1000.0 * (air.ratio_after_load(on_c, RATIO, wet_c) - RATIO) == pytest.approx(g_per_kg, abs=0.06)


def test_water_is_kept() -> None:
    """What the layers lost is what is said to have left, with and without a meter, to a part in a million."""
    for flow in (None, 1.0):
        load = begin()
        before = [member.stack.mean_db() for member in load.members]
        for minute in Kilning(3).minutes()[:600]:
            pass_air(load, SETTINGS, PHYSICS, 60.0, air_of(minute, flow))
        turned(load, 0.5)
        removed = sorted(
            DRY_KG * (was - member.stack.mean_db()) for was, member in zip(before, load.members, strict=True)
        )
        told = left(load, SETTINGS, REST).removed_kg
        assert [told.low, told.mean, told.high] == pytest.approx(removed, rel=1e-6)


@pytest.mark.parametrize("metered", [True, False])
def test_the_band_holds_the_truth(metered: bool) -> None:
    """Kilnings with another barley, fire water, biased probes, mishaps and a meter 12 % out."""
    told = [one for seed in range(300, 308) for one in reckon(seed, metered)]
    held = [one.left.wb.low - 0.003 <= one.true_wb <= one.left.wb.high + 0.003 for one in told]
    assert len(told) == 72
    assert sum(held) >= 0.9 * len(held)
    off = [abs(one.left.wb.mean - one.true_wb) for one in told]
    assert math.fsum(off) / len(off) < 0.04


def test_layers_dry_from_below_and_turning_mixes_them() -> None:
    load = begin()
    for minute in Kilning(3, mishaps=False).minutes()[:600]:
        pass_air(load, SETTINGS, PHYSICS, 60.0, air_of(minute, 1.0))
    layers = left(load, SETTINGS, REST).layers_wb
    assert len(layers) == SETTINGS.layers
    assert layers[0].mean < 0.15
    assert layers[-1].mean > 0.4
    assert all(band.low <= band.mean <= band.high for band in layers)
    whole = left(load, SETTINGS, REST).removed_kg
    turned(load, 1.0)
    mixed = left(load, SETTINGS, REST)
    assert mixed.layers_wb[0].mean == pytest.approx(mixed.layers_wb[-1].mean)
    assert mixed.removed_kg.mean == pytest.approx(whole.mean)


def test_hours_to_go() -> None:
    load = begin(0.44, 0.0)
    assert left(load, SETTINGS, REST).hand_dry_h == (None, None)
    for _ in range(240):
        pass_air(load, SETTINGS, PHYSICS, 60.0, Air(60.0, RATIO, WET_C, 2000.0, 10.0))
    now = left(load, SETTINGS, REST)
    soonest, latest = now.hand_dry_h
    water_kg = DRY_KG * (db_of_wb(0.44) - db_of_wb(SETTINGS.hand_dry_wb)) - now.removed_kg.mean
    assert soonest is not None
    assert latest is not None
    assert soonest < water_kg / (now.removed_kg.mean / 4) < latest
    assert now.target_h[0] is not None
    assert now.target_h[0] > soonest
    # A damp cold air never brings it there.
    assert left(load, SETTINGS, 0.12).target_h == (None, None)


def test_a_load_is_stored_and_restored_exactly() -> None:
    load = begin()
    for minute in Kilning(5).minutes()[:300]:
        pass_air(load, SETTINGS, PHYSICS, 60.0, air_of(minute, 1.0))
    assert codec.restore(Load, json.loads(json.dumps(codec.plain(load)))) == load


def test_silence_and_odd_air_do_no_harm() -> None:
    load = loaded(SETTINGS, DRY_KG, 1.0, 16.0)
    pass_air(load, SETTINGS, PHYSICS, 86_400.0, Air(60.0, RATIO, 120.0, 1e6, 10.0))
    pass_air(load, SETTINGS, PHYSICS, 0.0, Air(60.0, RATIO, None, 0.0, 10.0))
    pass_air(load, SETTINGS, PHYSICS, 60.0, Air(5.0, RATIO, -5.0, 2000.0, 5.0))
    now = left(load, SETTINGS, REST)
    assert all(0.0 <= part <= 0.6 for band in now.layers_wb for part in band)
    before = codec.plain(load)
    with pytest.raises(ValueError, match="expected"):
        pass_air(load, SETTINGS, PHYSICS, 60.0, Air(900.0, RATIO, 20.0, 2000.0, 10.0))
    with pytest.raises(ValueError, match="expected"):
        pass_air(load, SETTINGS, PHYSICS, 60.0, Air(60.0, -1.0, 20.0, 2000.0, 10.0))
    assert codec.plain(load) == before
