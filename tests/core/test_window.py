"""One probe's recent past: order, trend, what was missed."""

from __future__ import annotations

import pytest

from gateway.core.window import Window

MINUTE = 60_000


def filled(minutes: int, per_hour: float) -> Window:
    window = Window()
    for minute in range(1, minutes + 1):
        window.take(minute * MINUTE, 15.0 + per_hour * minute / 60, 0, minute * MINUTE)
    return window


def test_an_older_reading_is_counted_but_changes_no_present_value() -> None:
    window = filled(5, 1.0)
    value = window.value

    assert not window.take(2 * MINUTE, 99.0, 0, 6 * MINUTE)
    assert window.value == value
    assert window.heard_run_ms == 6 * MINUTE


def test_what_was_stamped_ahead_is_given_up_once_its_time_did_not_come() -> None:
    window = filled(10, 1.0)
    assert not window.ahead(10 * MINUTE, 11 * MINUTE)
    window.take(160 * MINUTE, 17.0, 0, 10 * MINUTE)
    assert not window.ahead(15 * MINUTE, 10 * MINUTE)
    assert window.ahead(16 * MINUTE, 11 * MINUTE)

    window.give_up(16 * MINUTE)
    assert window.take(11 * MINUTE, 15.2, 0, 11 * MINUTE)
    assert (window.value, window.measured_ms) == (15.2, 11 * MINUTE)
    assert window.times[-1] <= 10 * MINUTE


@pytest.mark.parametrize("per_hour", [-2.0, 0.0, 0.9])
def test_the_trend_of_a_straight_line_is_its_slope(per_hour: float) -> None:
    assert filled(60, per_hour).trend_per_h() == pytest.approx(per_hour, abs=1e-4)


def test_too_little_tells_no_trend_and_a_turn_cuts_what_came_before() -> None:
    assert filled(10, 1.0).trend_per_h() is None
    assert filled(60, 1.0).trend_per_h(since_ms=50 * MINUTE) is None
    assert filled(60, 1.0).trend_per_h(since_ms=40 * MINUTE) == pytest.approx(1.0, abs=2e-3)


def test_the_drift_is_of_the_last_minutes_and_is_not_told_of_noise() -> None:
    def drift(values: list[float]) -> float | None:
        window = Window()
        for minute, value in enumerate(values, 1):
            window.take(minute * MINUTE, value, 0, minute * MINUTE)
        return window.drift_per_h()

    turned_round = [16_000.0] * 40 + [3_000.0] * 10 + [3_000.0 + 500 * minute for minute in range(10)]
    assert drift(turned_round) == pytest.approx(30_000, rel=0.05)
    assert drift([800.0] * 20 + [6_000.0] * 30) == 0.0
    assert drift([6_000.0 + (7 * minute * minute) % 61 for minute in range(60)]) is None
    assert drift([800.0, 6_000.0]) is None


def test_the_state_is_bounded() -> None:
    window = filled(5000, 0.1)

    assert len(window.times) <= 36
    assert len(window.times) == len(window.values)


def test_what_a_trend_is_told_from_never_falls_short_of_its_span() -> None:
    window = Window()
    for minute in range(1, 400):
        window.take(minute * MINUTE, 15.0 + minute * 0.01, 0, minute * MINUTE)
        if minute > 45:
            assert minute * MINUTE - window.from_ms >= 45 * MINUTE
            assert window.from_ms + window.times[-1] > (minute - 2) * MINUTE
            assert window.trend_per_h() == pytest.approx(0.6, abs=1e-3)


def test_the_missed_share_counts_against_what_was_expected() -> None:
    whole, half = filled(90, 0.0), Window()
    for minute in range(2, 92, 2):
        half.take(minute * MINUTE, 15.0, 0, minute * MINUTE)

    assert whole.missed_share(60, 90 * MINUTE) == pytest.approx(0.0, abs=0.05)
    assert half.missed_share(60, 90 * MINUTE) == pytest.approx(0.5, abs=0.05)
