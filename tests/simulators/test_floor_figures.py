"""A simulated floor behaves as floors are said to: figures of common practice, no source, unless named."""

import pytest

from simulators.world import World
from tests.simulators.sites import START_S, around, bed, site


@pytest.mark.parametrize(("age_h", "at_c"), [(60.0, 16.0), (84.0, 16.5)])
def test_a_bed_warms_by_one_to_four_degrees_between_turns(age_h: float, at_c: float) -> None:
    one, air = bed(), around(13.0)
    one.lay(age_h, at_c, 0.0, air)
    for _ in range(8 * 120):
        one.step(30.0, air)

    assert 1.0 <= max(one.temperatures()) - at_c <= 4.0


def test_co2_in_a_bed_before_and_after_a_turn() -> None:
    """0.5 to 5 vol % just before, 0.1 to 0.5 % just after."""
    one, air = bed(), around(13.0)
    one.lay(84.0, 19.0, 10.0, air)
    before = one.co2_ppm_at(6.0, 0.05)
    one.begin_turn(0.0, 12.0, 0.0)
    one.walk(0.0, 1500.0, air)
    for _ in range(10):
        one.step(30.0, air)

    assert 5_000 <= before <= 50_000
    assert 1_000 <= one.co2_ppm_at(6.0, 0.05) <= 5_000


@pytest.mark.parametrize("seed", range(5))
def test_the_built_in_start_has_one_bed_near_its_limit(seed: int) -> None:
    """Its warmest probe passes 22.0 C after 10 to 20 minutes, stays there, and rises on at 0.7 to 1.1 K/h."""
    world = World(site(), seed, start_s=START_S)
    first: float | None = None
    said: dict[str, float] = {}
    for minute in range(1, 121):
        world.step(60.0)
        for reading in world.readings():
            said[reading.probe] = reading.value
        hottest = max(said.get(probe, 0.0) for probe in ("c1", "c2", "c3"))
        if hottest >= 22.0 and first is None:
            first = minute
        assert first is None or hottest >= 21.9
    assert first is not None
    assert 9 <= first <= 20
    bed_c = [line["hottest_c"] for line in world.truth() if line["kind"] == "bed" and line["bed"] == "bed-c"]
    start_c, end_c = bed_c[0], bed_c[-1]
    assert isinstance(start_c, float)
    assert isinstance(end_c, float)
    assert 0.7 <= (end_c - start_c) / (len(bed_c) - 1) * 60 <= 1.1
    for probe in ("a1", "d1"):
        assert said[probe] < 19.0


def test_a_turn_cools_the_hot_bed_and_not_below_its_room() -> None:
    world = World(site(), 1, start_s=START_S)
    world.step(1800.0)
    hot = world.beds["bed-c"]
    before_c = max(hot.temperatures())
    assert world.command({"turn": "bed-c"}) is None
    world.step(2400.0)

    assert before_c - max(hot.temperatures()) >= 2.0
    assert min(hot.temperatures()) > world.floors["floor-1"].room.temperature_c


def test_a_neglected_bed_overheats_and_ends_alive_or_dead_but_finite() -> None:
    one, air = bed(), around(13.0)
    one.lay(72.0, 22.0, 12.0, air)
    for _ in range(72 * 60):
        one.step(60.0, air)

    assert 25.0 < max(one.temperatures()) < 60.0


@pytest.mark.parametrize(("m3_per_t", "ppm_per_h"), [(35.0, 9_000.0), (70.0, 4_500.0), (500.0, 640.0)])
def test_a_shut_floor_climbs_the_faster_the_smaller_it_is(m3_per_t: float, ppm_per_h: float) -> None:
    """Source: 0.32 m3 of CO2 an hour and tonne over the room's volume a tonne, by hand; the load of this
    start breathes at 0.4 to 1.6 of that mean."""
    small = site()
    small["floor"][0]["volume_m3"] = 32.0 * m3_per_t
    world = World(small, 1, start_s=START_S)
    assert world.command({"draught": {"place": "floor-1", "amount": 0}}) is None
    room = world.floors["floor-1"].room
    before = room.co2_ppm()
    world.step(3600.0)

    assert 0.4 * ppm_per_h <= room.co2_ppm() - before <= 1.6 * ppm_per_h
