"""Nothing is lost unseen: heat and CO2 of a bed, CO2 of a room, water of a kiln."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulators.bed import Bed, Ledger
from simulators.kiln import Kiln
from simulators.room import Room
from simulators.solve import diffuse
from tests.simulators.sites import around, bed

CLOSES = 1e-6


def check(ledger: Ledger, stored: float) -> None:
    """The ledger closes to 1e-6 of what was generated."""
    assert ledger.generated > 0.0
    assert abs(ledger.gap(stored)) <= CLOSES * ledger.generated


def check_bed(one: Bed) -> None:
    """Both ledgers of a bed."""
    check(one.heat, one.heat_stored_j())
    check(one.co2, one.co2_stored_kg())


@settings(max_examples=30, deadline=None)
@given(
    age_h=st.floats(0, 200),
    centre_c=st.floats(2, 40),
    since_h=st.floats(0, 30),
    dt_s=st.sampled_from([10.0, 30.0, 60.0, 600.0]),
    room_c=st.floats(0, 30),
    floor_c=st.floats(0, 30),
    turn_at=st.integers(0, 100),
    seed=st.integers(0, 1000),
)
def test_heat_and_co2_of_a_bed_balance_through_a_turn(
    age_h: float,
    centre_c: float,
    since_h: float,
    dt_s: float,
    room_c: float,
    floor_c: float,
    turn_at: int,
    seed: int,
) -> None:
    one, air = bed(seed=seed), around(room_c, floor_c=floor_c)
    one.lay(age_h, centre_c, since_h, air)
    for k in range(120):
        if k == turn_at:
            one.begin_turn(0.0, 12.0, k * dt_s)
        one.walk((k - 1) * dt_s, k * dt_s, air)
        one.step(dt_s, air)

    check_bed(one)


def test_a_turn_vents_what_it_takes_out_of_the_bed() -> None:
    one, air = bed(), around()
    one.lay(84.0, 21.8, 11.0, air)
    heat_j, co2_kg = one.heat_stored_j(), one.co2_stored_kg()
    one.begin_turn(0.0, 12.0, 0.0)
    let_out_kg = one.walk(0.0, 1500.0, air)

    assert heat_j - one.heat_stored_j() == pytest.approx(one.heat.vented, rel=CLOSES)
    assert co2_kg - one.co2_stored_kg() == pytest.approx(let_out_kg, rel=CLOSES)
    assert one.heat.vented > 0.0
    assert let_out_kg > 0.0


@given(
    values=st.lists(st.floats(-50, 50), min_size=2, max_size=12),
    storage=st.floats(0.01, 1e4),
    inside=st.floats(0, 100),
    below=st.tuples(st.floats(0, 100), st.floats(-50, 50)),
    above=st.tuples(st.floats(0, 100), st.floats(-50, 50)),
    source=st.floats(0, 100),
    exchange=st.floats(0, 10),
)
def test_a_step_of_the_stack_balances(
    values: list[float],
    storage: float,
    inside: float,
    below: tuple[float, float],
    above: tuple[float, float],
    source: float,
    exchange: float,
) -> None:
    count = len(values)
    out = diffuse(values, storage, inside, below, above, [source] * count, [exchange] * count)
    gained = storage * (sum(out.values) - sum(values))
    went = out.out_above + out.out_below + out.out_through
    scale = storage * sum(map(abs, values)) + count * (source + 50.0 * (exchange + below[0] + above[0] + 1.0))

    assert abs(gained - (source * count - went)) <= 1e-9 * scale


def test_co2_of_a_room_balances() -> None:
    room = Room(1200.0)
    room.begin(13.0, 1400.0)
    for k in range(2000):
        room.shutters = 0.0 if k % 300 < 150 else 2.5
        room.step(30.0, 0.05, 40_000.0, 8.0, 420.0)

    assert abs(room.co2_gap_kg()) <= CLOSES * room.given_kg


def test_a_shut_full_room_climbs_as_by_hand() -> None:
    """Source: 0.60 kg of CO2 an hour and tonne into 500 m3 a tonne, no air let in: + 640 ppm an hour
    (0.60 / 44.01 x 8.314 x 288 / 101,325 = 0.32 m3; over 500 m3)."""
    room = Room(500.0, shutters=0.0)
    room.begin(15.0, 420.0)
    for _ in range(120):
        room.step(30.0, 0.60 / 120, 0.0, 15.0, 420.0)

    assert room.co2_ppm() - 420.0 == pytest.approx(640.0, rel=0.02)


def test_water_of_a_kiln_balances() -> None:
    """What the air took, worked out from its flow and its two humidities, is what the grain lost."""
    kiln = Kiln()
    kiln.begin(0.0, 10.0, 0.8)
    began_kg, carried_kg = kiln.load.water_kg(), 0.0
    for _ in range(48 * 60):
        off_c = kiln.load.off_c
        kiln.step(60.0, 10.0, 0.8)
        warmth = 0.5 * (kiln.air_on_c + off_c) - 10.0
        shaft = min(1.15, max(0.15, (max(0.0, warmth) / 24.0) ** 0.5))
        flow_kg = 2000.0 * 8.0 * shaft * 1.22 / 3600.0 * 60.0
        carried_kg += flow_kg * (kiln.off_ratio() - kiln.inlet_ratio)

    made_kg = kiln.load.ledger.made_kg
    assert carried_kg == pytest.approx(began_kg + made_kg - kiln.load.water_kg(), rel=CLOSES)
    assert carried_kg == pytest.approx(kiln.removed_kg, rel=CLOSES)
