"""A room without a broker: how fast a shut one fills, how an open one clears, and that nothing is lost."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulators.air import co2_kg_per_m3, humidity_ratio
from simulators.airing import AirAct, AirMoment, run
from simulators.room import Room

CLOSES = 1e-6


def hours_to(moments: list[AirMoment], ppm: float) -> float:
    """Hours until the true CO2 has passed a level."""
    return next(i + 1 for i, one in enumerate(moments) if one.truth.co2_ppm > ppm) / 60.0


@pytest.mark.parametrize(
    ("m3_per_t", "ppm", "expected_h"),
    [(35.0, 5000.0, 0.5), (35.0, 15_000.0, 1.6), (70.0, 5000.0, 1.0), (500.0, 5000.0, 7.1)],
)
def test_a_shut_room_fills_as_worked_out(m3_per_t: float, ppm: float, expected_h: float) -> None:
    """Source: 0.60 kg of CO2 an hour and tonne, none let out, by hand: 640 ppm/h in 500 m3, 9,000 in 35."""
    assert hours_to(list(run(1, m3_per_t)), ppm) == pytest.approx(expected_h, rel=0.05)


def test_a_seed_gives_the_same_numbers() -> None:
    assert list(run(4, 70.0, hours=2.0)) == list(run(4, 70.0, hours=2.0))
    assert list(run(4, 70.0, hours=2.0)) != list(run(5, 70.0, hours=2.0))


def test_fresh_air_holds_a_room_where_the_balance_says() -> None:
    """Source: 0.32 m3/h of CO2 a tonne in 200 m3/h of air of 420 ppm settles at 2,020 ppm, by hand."""
    last = list(run(1, 70.0, hours=12.0, shutters=1.0))[-1]
    assert last.truth.co2_ppm == pytest.approx(420.0 + 0.32 / 200.0 * 1e6, rel=0.03)


@pytest.mark.parametrize("way", ["door", "fan"])
def test_a_door_and_a_fan_clear_a_room(way: str) -> None:
    moments = list(run(1, 70.0, hours=5.0, acts=(AirAct(2.0, way, 1.0),)))
    assert moments[-1].truth.co2_ppm < 0.6 * moments[119].truth.co2_ppm


def test_people_give_co2() -> None:
    """By hand: four people at 0.03 m3/h in 560 m3 shut up add 214 ppm in an hour."""
    alone, four = (
        list(run(1, 70.0, hours=1.0, acts=acts))[-1].truth for acts in ((), (AirAct(0.0, "people", 4.0),))
    )
    assert four.co2_ppm - alone.co2_ppm == pytest.approx(4 * 0.03 / 560.0 * 1e6, rel=0.01)


def test_fumes_of_a_furnace_come_and_go() -> None:
    acts = (AirAct(1.0, "fumes", 1.0), AirAct(2.0, "fumes", 0.0), AirAct(2.0, "fan", 1.0))
    moments = list(run(1, 70.0, hours=4.0, acts=acts))
    assert moments[58].truth.co_ppm == 0.0
    assert moments[119].truth.co_ppm == pytest.approx(0.02 / 70.0 * 1e6, rel=0.05)
    assert moments[-1].truth.co_ppm < 1.0


def test_an_unknown_act_is_refused() -> None:
    with pytest.raises(ValueError, match="expected shutters"):
        list(run(1, 70.0, hours=1.0, acts=(AirAct(0.0, "candle", 1.0),)))


@settings(max_examples=40, deadline=None)
@given(
    volume_m3=st.floats(50, 20_000),
    shutters=st.floats(0, 3),
    door=st.booleans(),
    fan=st.booleans(),
    people=st.integers(0, 8),
    given_kg=st.floats(0, 2),
    fumes_m3=st.floats(0, 0.05),
    outdoor_c=st.floats(-15, 35),
    outdoor_rh=st.floats(0.2, 1.0),
    dt_s=st.sampled_from([10.0, 60.0, 600.0]),
)
def test_co2_co_and_water_are_kept(
    volume_m3: float,
    shutters: float,
    door: bool,
    fan: bool,
    people: int,
    given_kg: float,
    fumes_m3: float,
    outdoor_c: float,
    outdoor_rh: float,
    dt_s: float,
) -> None:
    """What was there and was given is what went out and is there; the givings are added up here again."""
    room = Room(volume_m3, shutters=shutters, door_open=door, fan_on=fan, people=people)
    room.begin(14.0, 900.0)
    co2_began_kg, water_began_kg = room.co2_kg, room.water_kg
    given_co2_kg = 0.0
    for _ in range(100):
        given_co2_kg += given_kg + people * 0.03 * dt_s / 3600.0 * co2_kg_per_m3(1e6, room.temperature_c)
        room.step(dt_s, given_kg, 5000.0, outdoor_c, 420.0, outdoor_rh, fumes_m3)
    co2_kg = co2_began_kg + given_co2_kg
    assert abs(co2_kg - room.breathed_kg - room.co2_kg) <= CLOSES * co2_kg
    assert abs(100 * fumes_m3 - room.co_out_m3 - room.co_m3) <= CLOSES * max(1e-9, 100 * fumes_m3)
    water_kg = water_began_kg + room.water_given_kg
    assert abs(room.water_gap_kg()) <= CLOSES * water_kg
    assert room.water_kg <= humidity_ratio(room.temperature_c, 1.0) * volume_m3 * 1.22 * (1.0 + 1e-9)


def test_water_left_by_a_dry_room_is_the_outdoors() -> None:
    """By hand: two air changes an hour keep exp(-2) of the excess over the outdoors after an hour."""
    room = Room(1000.0, 2.0, lag_h=1e9, wet_per_h=0.0)
    room.begin(15.0, 420.0, 0.8)
    outdoors_kg = humidity_ratio(5.0, 0.7) * 1220.0
    excess_kg = room.water_kg - outdoors_kg
    for _ in range(60):
        room.step(60.0, 0.0, 0.0, 5.0, 420.0, 0.7)
    assert room.water_kg - outdoors_kg == pytest.approx(0.135335 * excess_kg, rel=1e-5)
