"""Exposure means: the worked examples of the authorities, and a brute-force integral with exact fractions.

Examples: 29 CFR 1910.1000(d); EH40's method, whose method and examples the South African regulations of 1995
(annexure 2) and 2021 (annexure 3) print too. Concentrations of EH40's examples c and d are from memory.
"""

import json
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.core import codec
from gateway.core.science.exposure import (
    HOURS_8,
    MINUTES_15,
    Exposure,
    Gauge,
    Span,
    mean_8_h,
    mean_15_min,
    mean_of_day,
    mg_per_m3,
    mixture,
    moved,
    take,
)

MIN = 60_000
H = 60 * MIN
T0 = 1_764_028_800_000
STANDS = Gauge(top=1e6, hold_ms=48 * H)


def _day(*periods: tuple[float, float]) -> tuple[Exposure, int]:
    """Nil for two days, then (hours, concentration) one after another, then nil; and when that was."""
    exposure, at_ms = Exposure(), T0
    for ago_h in (48, 36, 24, 12):
        assert take(exposure, STANDS, T0 - ago_h * H, 0.0)
    for hours, value in periods:
        assert take(exposure, STANDS, at_ms, value)
        at_ms += round(hours * H)
    assert take(exposure, STANDS, at_ms, 0.0)
    return exposure, at_ms


def _mean_8_h(*periods: tuple[float, float]) -> float:
    exposure, at_ms = _day(*periods)
    mean = mean_8_h(exposure, STANDS, at_ms)
    assert mean.low == pytest.approx(mean.high, abs=1e-9)
    assert mean.low == pytest.approx(mean_of_day(periods), abs=1e-9)
    assert (mean.known_share, mean.over) == (1.0, False)
    return mean.low


def test_oshas_example_of_a_day() -> None:
    """29 CFR 1910.1000(d)(1)(ii): 81.25 ppm, below 100."""
    assert _mean_8_h((2, 150), (2, 75), (4, 50)) == pytest.approx(81.25, abs=1e-9)


def test_oshas_example_of_a_mixture() -> None:
    """29 CFR 1910.1000(d)(2)(ii): 0.925, within the limit."""
    assert mixture([(500, 1000), (45, 200), (40, 200)]) == pytest.approx(0.925, abs=1e-9)


def test_eh40s_examples_of_days() -> None:
    """a: 0.11 mg/m3; b: 0.15; c: 0.19, 0.18625 before rounding; d, a night shift: 0.62/8 = 0.078."""
    assert _mean_8_h((22 / 3, 0.12)) == pytest.approx(0.110, abs=1e-9)
    assert _mean_8_h((8, 0.15)) == pytest.approx(0.15, abs=1e-9)
    day = (2.5, 0.32), (0.25, 0), (2, 0.07), (0.75, 0), (2, 0.20), (0.25, 0), (1.5, 0.10)
    assert _mean_8_h(*day) == pytest.approx(0.18625, abs=1e-9)
    assert round(_mean_8_h(*day), 2) == 0.19
    assert _mean_8_h((2, 0.10), (4, 0), (2, 0.21)) == pytest.approx(0.0775, abs=1e-9)


def test_a_long_shift_is_divided_by_8_all_the_same() -> None:
    """12 hours at 4,000 ppm of CO2 are 6,000, over 5,000: the 24-hour rule."""
    assert _mean_8_h((12, 4000)) == 6000.0


def test_any_24_hours_are_asked_not_the_day_of_the_calendar() -> None:
    """4 h at 5,000 twice, 18 h apart, across midnight: 5,000 in the 24 hours that hold both."""
    exposure, at_ms = _day((4, 5000), (14, 0), (4, 5000), (30, 0))
    assert mean_8_h(exposure, STANDS, at_ms).low == 0.0
    assert exposure.long.highest.low == pytest.approx(5000.0, abs=1e-9)
    assert exposure.long.highest.at_ms == T0 + 22 * H


def test_short_bursts_are_averaged_over_15_minutes() -> None:
    """5 min at 600 then nil: 200 (South African regulations of 2021, para 95)."""
    exposure, at_ms = _day((5 / 60, 600), (1, 0))
    assert exposure.short.highest.low == pytest.approx(200.0, abs=1e-9)
    assert mean_15_min(exposure, STANDS, at_ms).high == 0.0


def test_the_window_matters() -> None:
    """12 min at 100, then 5 at 150: the first 15 minutes 110 (EH40, from memory), the last 15 116.7."""
    exposure, _ = _day((12 / 60, 100))
    assert take(exposure, STANDS, T0 + 12 * MIN + 1, 150.0)
    assert mean_15_min(exposure, STANDS, T0 + 15 * MIN).low == pytest.approx(110.0, abs=0.01)
    exposure, _ = _day((12 / 60, 100), (5 / 60, 150), (1, 0))
    assert exposure.short.highest.low == pytest.approx((10 * 100 + 5 * 150) / 15, abs=1e-9)
    assert exposure.short.highest.at_ms == T0 + 17 * MIN


def test_ppm_and_mg() -> None:
    """EH40 prints 9,150 mg/m3 for 5,000 ppm of CO2 (at 20 C), OSHA 9,000 (at 25 C)."""
    assert mg_per_m3(5000.0, 44.0095, 20.0) == pytest.approx(9148.0, abs=1.0)
    assert mg_per_m3(5000.0, 44.0095, 25.0) == pytest.approx(9000.0, abs=6.0)


def test_what_is_not_known_is_nothing_at_least_and_the_range_end_at_most() -> None:
    gauge = Gauge(top=10_000.0, hold_ms=3 * MIN)
    exposure = Exposure()
    assert mean_15_min(exposure, gauge, T0) == (0.0, 10_000.0, 0.0, False)
    assert take(exposure, gauge, T0, 600.0)
    mean = mean_15_min(exposure, gauge, T0 + 15 * MIN)
    assert mean.low == pytest.approx(3 * 600 / 15, abs=1e-9)
    assert mean.high == pytest.approx((3 * 600 + 12 * 10_000) / 15, abs=1e-9)
    assert mean.known_share == pytest.approx(0.2)
    day = mean_8_h(exposure, gauge, T0 + 24 * H)
    assert day.low == pytest.approx(600 / 20 / 8, abs=1e-9)
    assert day.high == pytest.approx((600 / 20 + 10_000 * (24 - 1 / 20)) / 8, abs=1e-6)


def test_a_reading_at_the_range_end_is_at_least_that_and_said() -> None:
    gauge = Gauge(top=5_000.0, hold_ms=10 * MIN)
    exposure = Exposure()
    for minute in range(6):
        assert take(exposure, gauge, T0 + minute * MIN, 5_000.0)
    assert take(exposure, gauge, T0 + 6 * MIN, 400.0)
    assert mean_15_min(exposure, gauge, T0 + 7 * MIN).over
    for minute in range(7, 30):
        assert take(exposure, gauge, T0 + minute * MIN, 400.0)
    assert not mean_15_min(exposure, gauge, T0 + 29 * MIN).over
    assert mean_8_h(exposure, gauge, T0 + 29 * MIN).over


def test_old_and_odd_readings_change_nothing() -> None:
    exposure, at_ms = _day((1, 500))
    before = codec.plain(exposure)
    for measured_ms, value in (
        (at_ms, 9e5),
        (at_ms - 1, 9e5),
        (at_ms + 1, float("nan")),
        (at_ms + 1, float("inf")),
    ):
        assert not take(exposure, STANDS, measured_ms, value)
    assert codec.plain(exposure) == before
    assert take(exposure, STANDS, at_ms + 1, -50.0)
    assert exposure.value == 0.0


def test_a_clock_that_was_set_changes_no_mean() -> None:
    exposure, at_ms = _day((1, 500), (0.2, 900))
    before = mean_15_min(exposure, STANDS, at_ms), mean_8_h(exposure, STANDS, at_ms)
    moved(exposure, -7 * H)
    assert (mean_15_min(exposure, STANDS, at_ms - 7 * H), mean_8_h(exposure, STANDS, at_ms - 7 * H)) == before


def _brute(
    readings: list[tuple[int, float]], gauge: Gauge, span: Span, end_ms: int
) -> tuple[Fraction, Fraction, Fraction]:
    """Lower and upper mean and known ms, by adding up every step of the signal with fractions."""
    start_ms = end_ms - span.window_ms
    low = high = known = Fraction(0)
    spoken = 0
    for (from_ms, value), (next_ms, _) in pairwise([*readings, (end_ms, 0.0)]):
        ms = min(next_ms, from_ms + gauge.hold_ms, end_ms) - max(from_ms, start_ms)
        if ms > 0:
            spoken += ms
            low += Fraction(value) * ms
    known = Fraction(spoken)
    high = low + Fraction(gauge.top) * (span.window_ms - spoken)
    return low / span.divide_ms, high / span.divide_ms, known


VALUES = st.sampled_from([0.0, 400.0, 412.5, 5_000.0]) | st.floats(0.0, 40_000.0)


@st.composite
def _readings(draw: st.DrawFn, least_ms: int) -> list[tuple[int, float]]:
    steps = st.one_of(
        st.integers(least_ms, max(least_ms, 20_000)),
        st.integers(max(least_ms, 60_000), 400_000),
        st.integers(1_800_000, 9_000_000),
    )
    found, at_ms = [], T0 + draw(st.integers(0, 100_000))
    for step_ms, value in draw(st.lists(st.tuples(steps, VALUES), min_size=1, max_size=60)):
        at_ms += step_ms
        found.append((at_ms, value))
    return found


@settings(max_examples=150, deadline=None)
@given(_readings(60_000), st.integers(30_000, 3_600_000), st.integers(0, 200_000))
def test_readings_a_minute_apart_or_more_are_exact(
    readings: list[tuple[int, float]], hold_ms: int, after_ms: int
) -> None:
    """At every reading, some time after the last, and stored and restored in between."""
    gauge = Gauge(top=50_000.0, hold_ms=hold_ms)
    exposure = Exposure()
    for count, (measured_ms, value) in enumerate(readings, 1):
        assert take(exposure, gauge, measured_ms, value)
        exposure = codec.restore(Exposure, json.loads(json.dumps(codec.plain(exposure))))
        for now_ms in (measured_ms, measured_ms + after_ms) if count == len(readings) else (measured_ms,):
            for span, mean in (
                (MINUTES_15, mean_15_min(exposure, gauge, now_ms)),
                (HOURS_8, mean_8_h(exposure, gauge, now_ms)),
            ):
                low, high, known = _brute(readings[:count], gauge, span, now_ms)
                assert mean.low == pytest.approx(float(low), rel=1e-9, abs=1e-6)
                assert mean.high == pytest.approx(float(high), rel=1e-9, abs=1e-6)
                assert mean.known_share == pytest.approx(float(known / span.window_ms), abs=1e-9)


@settings(max_examples=150, deadline=None)
@given(_readings(1), st.integers(1, 600_000), st.lists(st.integers(0, 400_000), max_size=5))
def test_readings_as_fast_as_they_like_are_bounded(
    readings: list[tuple[int, float]], hold_ms: int, ticks_ms: list[int]
) -> None:
    """The bounds hold the truth; they are apart by no more than one cell at the window's old end."""
    gauge = Gauge(top=50_000.0, hold_ms=hold_ms)
    exposure = Exposure()
    for measured_ms, value in readings:
        take(exposure, gauge, measured_ms, value)
    for now_ms in sorted(readings[-1][0] + tick_ms for tick_ms in ticks_ms):
        for span, mean in (
            (MINUTES_15, mean_15_min(exposure, gauge, now_ms)),
            (HOURS_8, mean_8_h(exposure, gauge, now_ms)),
        ):
            low, high, _ = _brute(readings, gauge, span, now_ms)
            assert mean.low <= float(low) + 1e-6
            assert mean.high >= float(high) - 1e-6
            cell = 50_000.0 * span.cell_ms / span.divide_ms
            assert float(low) - mean.low <= cell + 1e-6
            assert mean.high - float(high) <= cell + 1e-6


@settings(max_examples=100, deadline=None)
@given(_readings(60_000), st.integers(30_000, 3_600_000))
def test_the_highest_is_the_highest_of_all_windows(readings: list[tuple[int, float]], hold_ms: int) -> None:
    """The mean of a signal of steps turns only at a step, or a window after one: all of those are tried."""
    gauge = Gauge(top=50_000.0, hold_ms=hold_ms)
    exposure = Exposure()
    for measured_ms, value in readings:
        assert take(exposure, gauge, measured_ms, value)
    last_ms = readings[-1][0]
    for span, track in ((MINUTES_15, exposure.short), (HOURS_8, exposure.long)):
        turns = [t for at_ms, _ in readings for t in (at_ms, at_ms + hold_ms)]
        ends = [t for at_ms in turns for t in (at_ms, at_ms + span.window_ms) if t <= last_ms]
        best = max(float(_brute(readings, gauge, span, end_ms)[0]) for end_ms in ends)
        assert track.highest.low == pytest.approx(best, rel=1e-9, abs=1e-6)


def test_memory_is_bounded_whatever_the_probe_sends() -> None:
    exposure = Exposure()
    for number in range(150_000):
        take(exposure, STANDS, T0 + 700 * number, 400.0 + number % 977)
    assert len(exposure.short.pieces) <= MINUTES_15.window_ms // MINUTES_15.cell_ms + 2
    assert len(exposure.long.pieces) <= HOURS_8.window_ms // HOURS_8.cell_ms + 2


def test_roundings_do_not_add_up() -> None:
    """Ten days of a reading each 10 s: the running sum is the sum of the last window."""
    exposure, gauge = Exposure(), Gauge(40_000.0, MIN)
    readings = [(T0 + 10_000 * i, 0.1 + 39_000.0 * (i * 7919 % 1000) / 1000) for i in range(86_400)]
    for measured_ms, value in readings:
        assert take(exposure, gauge, measured_ms, value)
    now_ms = readings[-1][0]
    low, _, _ = _brute(readings, gauge, MINUTES_15, now_ms)
    assert mean_15_min(exposure, gauge, now_ms).low == pytest.approx(float(low), rel=1e-12)
