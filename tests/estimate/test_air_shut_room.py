"""How fast a room full of growing grain fills with CO2: computed figures, a stirred room, and a real office.

Figures: 0.32 m3 of CO2 an hour per tonne of barley, 5 % of dry matter lost in 5 days (arithmetic).
Office: Candanedo and Feldheim 2016 (occupancy detection): people breathe there, and no grain.
"""

import csv
import json
import math
import operator
import random
import tomllib
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest

from gateway.core import codec
from gateway.core.estimate.shut_room import Airing, Outlook, RoomAir, RoomSettings, airing, outlook, take

ROOT = Path(__file__).resolve().parents[2]
SETTINGS = RoomSettings(**tomllib.loads((ROOT / "config" / "shut-room.toml").read_text())["shut_room"])
OFFICE = ROOT.parent / "shared" / "data" / "candanedo-office-co2"
LEVELS = (5000.0, 15000.0)
MIN_MS = 60_000
T0 = 1_764_028_800_000


@pytest.mark.parametrize(
    ("m3_per_t", "ppm_h", "to_5000_min", "to_15000_min"),
    [(35.0, 9143.0, 30.1, 95.7), (70.0, 4571.0, 60.1, 191.4), (500.0, 640.0, 429.4, 1366.9)],
)
def test_figures_of_a_shut_room(
    m3_per_t: float, ppm_h: float, to_5000_min: float, to_15000_min: float
) -> None:
    """From 420 ppm. 500 m3/t: 640 ppm/h, 7.1 h to 5,000; 35: some 9,000 ppm/h, 30 min and 1.6 h."""
    shut = SETTINGS.shut_ppm_h(m3_per_t, 1.0)
    assert shut == pytest.approx(ppm_h, rel=1e-3)
    room = RoomAir()
    assert take(room, T0, 420.0)
    told = outlook(room, SETTINGS, T0, shut, LEVELS)
    assert told is not None
    means = [reach.if_shut_min[1] for reach in told.reaches if reach.if_shut_min]
    assert means == pytest.approx([to_5000_min, to_15000_min], abs=0.1)
    assert [reach.as_it_goes_min for reach in told.reaches] == [None, None]


class _Room:
    """One stirred room, exactly solved: grain breathes, doors let in air, a probe wavers."""

    def __init__(self, seed: int, m3_per_t: float, growth: float = 1.0, noise_ppm: float = 30.0) -> None:
        self.chance, self.noise_ppm = random.Random(seed), noise_ppm
        self.source_ppm_h = growth * SETTINGS.shut_ppm_h(m3_per_t, 1.0)
        self.shut_ppm_h = SETTINGS.shut_ppm_h(m3_per_t, 1.0)
        self.ppm, self.at_ms, self.air = 420.0, T0, RoomAir()

    def after(self, ppm: float, minutes: float, per_h: float) -> float:
        if per_h == 0.0:
            return ppm + self.source_ppm_h * minutes / 60
        even = 420.0 + self.source_ppm_h / per_h
        return even + (ppm - even) * math.exp(-per_h * minutes / 60)

    def go(self, minutes: int, per_h: float) -> None:
        for _ in range(minutes):
            self.ppm = self.after(self.ppm, 1.0, per_h)
            self.at_ms += MIN_MS
            take(self.air, self.at_ms, max(0.0, self.ppm + self.chance.gauss(0.0, self.noise_ppm)))

    def minutes_until(self, per_h: float, there: Callable[[float], bool]) -> float | None:
        return next((m / 10 for m in range(20_000) if there(self.after(self.ppm, m / 10, per_h))), None)

    def outlook(self) -> Outlook:
        told = outlook(self.air, SETTINGS, self.at_ms, self.shut_ppm_h, LEVELS)
        assert told is not None
        return told

    def airing(self) -> Airing | None:
        return airing(self.air, SETTINGS, self.at_ms, self.shut_ppm_h, LEVELS)


@pytest.mark.parametrize(("m3_per_t", "minutes"), [(35.0, 12), (70.0, 15), (500.0, 60)])
@pytest.mark.parametrize("seed", range(5))
def test_the_slope_of_a_shut_room_says_when(m3_per_t: float, minutes: int, seed: int) -> None:
    """On the third day growth is 1.4 times the mean: the slope knows, and the span of the load holds it."""
    room = _Room(seed, m3_per_t, growth=1.4)
    room.go(minutes, 0.0)
    for reach in room.outlook().reaches:
        true_min = room.minutes_until(0.0, partial(operator.le, reach.level_ppm))
        assert true_min is not None
        assert reach.as_it_goes_min == pytest.approx(true_min, rel=0.3)
        assert reach.if_shut_min is not None
        assert reach.if_shut_min[0] * 0.95 <= true_min <= reach.if_shut_min[1] * 1.05


@pytest.mark.parametrize("seed", range(5))
def test_air_that_is_let_in_only_makes_it_later_than_told(seed: int) -> None:
    room = _Room(seed, 35.0)
    room.go(20, 0.5)
    reach = room.outlook().reaches[0]
    true_min = room.minutes_until(0.5, lambda ppm: ppm >= 5000.0)
    assert true_min is not None
    assert reach.as_it_goes_min is not None
    assert reach.as_it_goes_min <= 1.1 * true_min
    soonest = reach.soonest_min()
    assert soonest is not None
    assert soonest <= reach.as_it_goes_min


@pytest.mark.parametrize("seed", range(5))
def test_airing_is_seen_and_how_long_until_down(seed: int) -> None:
    room = _Room(seed, 35.0)
    room.go(70, 0.0)
    assert room.ppm > 10_000.0
    assert room.airing() is None
    opened_ms = room.at_ms
    room.go(8, 4.0)
    told = room.airing()
    assert told is not None
    assert abs(told.since_ms - opened_ms) <= 3 * MIN_MS
    assert told.per_h == pytest.approx(4.0, rel=0.3)
    true_min = room.minutes_until(4.0, lambda ppm: ppm < 5000.0)
    down = told.downs[0]
    assert true_min is not None
    assert down.latest_min is not None
    assert down.latest_min == pytest.approx(true_min, rel=0.35)
    assert down.soonest_min <= down.latest_min
    assert told.downs[1].latest_min == 0.0


def test_a_door_too_small_is_told() -> None:
    """1.3 changes an hour in 35 m3/t come to rest at 7,450 ppm: never below 5,000."""
    room = _Room(1, 35.0)
    room.go(150, 0.0)
    room.go(20, 1.3)
    told = room.airing()
    assert told is not None
    assert told.downs[0].latest_min is None


def test_a_still_room_and_a_breath_are_no_slope_and_no_airing() -> None:
    room = _Room(3, 35.0)
    for minute in range(120):
        room.at_ms += MIN_MS
        breath = 3000.0 if minute in (40, 80) else 0.0
        take(room.air, room.at_ms, 800.0 + breath + room.chance.gauss(0.0, 20.0))
        assert room.airing() is None
        told = room.outlook()
        assert told.slope is None or abs(told.slope.ppm_h) < 1500.0


def test_silence_tells_nothing() -> None:
    room = _Room(4, 35.0)
    assert outlook(room.air, SETTINGS, T0, None, LEVELS) is None
    room.go(20, 0.0)
    late_ms = room.at_ms + 11 * MIN_MS
    assert outlook(room.air, SETTINGS, late_ms, room.shut_ppm_h, LEVELS) is None
    assert airing(room.air, SETTINGS, late_ms, room.shut_ppm_h, LEVELS) is None


@pytest.mark.data
def test_an_office_is_no_shut_malting_floor() -> None:
    """5.65 days of people at work, 37 known jumps of noise: 5,000 ppm is never told as near."""
    room, soonest, aired, minute = RoomAir(), math.inf, 0, 0
    with (OFFICE / "datatraining.txt").open() as file:
        next(file)
        for row in csv.reader(file):
            minute += 1
            now_ms = T0 + minute * MIN_MS
            assert take(room, now_ms, float(row[5]))
            told = outlook(room, SETTINGS, now_ms, None, LEVELS)
            assert told is not None
            soonest = min(soonest, told.reaches[0].as_it_goes_min or math.inf)
            aired += airing(room, SETTINGS, now_ms, None, LEVELS) is not None
    assert minute == 8143
    assert soonest > 300.0
    # An office does empty, and its windows do open; most of the time it is neither.
    assert aired < 0.05 * minute


def test_memory_is_an_hour_and_stored_exactly() -> None:
    room = _Room(5, 70.0)
    room.go(500, 1.0)
    for odd in (float("nan"), -1.0, 2e6):
        assert not take(room.air, room.at_ms + MIN_MS, odd)
    assert not take(room.air, room.at_ms - MIN_MS, 400.0)
    assert len(room.air.ppm) == 61
    assert codec.restore(RoomAir, json.loads(json.dumps(codec.plain(room.air)))) == room.air
    with pytest.raises(ValueError, match="expected above 0"):
        SETTINGS.shut_ppm_h(0.0, 8.0)
