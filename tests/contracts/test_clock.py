"""Clocks: one contract for all three, and what each alone promises."""

from pathlib import Path

import pytest

from gateway.edges.clock import (
    TOPIC_BEGIN_MS,
    ScaledClock,
    TopicClock,
    WallClock,
    real_mono_ms,
    real_wall_ms,
)
from gateway.ports import Clock

EPOCH_MS = 1_700_000_000_000


class Hands:
    """A wall and a monotonic clock moved by hand."""

    def __init__(self) -> None:
        self.wall_now = 1_000_000
        self.mono_now = 5_000

    def wall(self) -> int:
        return self.wall_now

    def mono(self) -> int:
        return self.mono_now


def _scaled(hands: Hands, speed: float = 60) -> ScaledClock:
    return ScaledClock(speed, EPOCH_MS, 1_000_000, hands.wall, hands.mono)


@pytest.mark.parametrize("clock", [WallClock(), _scaled(Hands()), TopicClock(EPOCH_MS)])
def test_every_clock_gives_whole_milliseconds_that_do_not_go_backwards(clock: Clock) -> None:
    walls = [clock.wall_ms() for _ in range(50)]
    monos = [clock.mono_ms() for _ in range(50)]
    assert all(isinstance(value, int) for value in walls + monos)
    assert monos == sorted(monos)
    assert isinstance(clock.trusted(), bool)


def test_the_wall_clock_is_the_machines() -> None:
    before = real_wall_ms()
    assert before <= WallClock().wall_ms() <= real_wall_ms()
    before = real_mono_ms()
    assert before <= WallClock().mono_ms() <= real_mono_ms()


def test_the_wall_clock_is_trusted_once_the_time_service_left_its_mark(tmp_path: Path) -> None:
    mark = tmp_path / "synchronized"
    mark.touch()
    clock = WallClock(mark=mark)
    assert clock.trusted()
    mark.unlink()
    assert clock.trusted(), "a clock that was set does not become unset while the machine runs"


def test_the_wall_clock_can_be_declared_trusted(tmp_path: Path) -> None:
    assert WallClock(always_trusted=True, mark=tmp_path / "none").trusted()


def test_the_scaled_clock_is_epoch_plus_speed_times_what_passed_since_it_started() -> None:
    hands = Hands()
    clock = _scaled(hands, 60)
    assert clock.wall_ms() == EPOCH_MS
    hands.wall_now += 1_500
    assert clock.wall_ms() == EPOCH_MS + 90_000
    before = clock.mono_ms()
    hands.mono_now += 1_500
    assert clock.mono_ms() - before == 90_000
    assert clock.trusted()


@pytest.mark.parametrize("speed", [0, -1, 100_001, float("nan")])
def test_a_speed_that_makes_no_sense_is_refused(speed: float) -> None:
    with pytest.raises(ValueError, match="speed"):
        ScaledClock(speed, EPOCH_MS, 0)


def test_a_new_topic_clock_waits_for_its_first_message_which_lets_no_time_pass() -> None:
    clock = TopicClock()
    assert (clock.wall_ms(), clock.mono_ms(), clock.trusted()) == (TOPIC_BEGIN_MS, 0, False)
    assert clock.set_ms(EPOCH_MS)
    assert (clock.wall_ms(), clock.mono_ms(), clock.trusted()) == (EPOCH_MS, 0, True)
    assert clock.set_ms(EPOCH_MS + 10_000)
    assert (clock.wall_ms(), clock.mono_ms()) == (EPOCH_MS + 10_000, 10_000)


def test_a_resumed_topic_clock_goes_on_from_where_it_stood() -> None:
    clock = TopicClock(EPOCH_MS)
    assert clock.trusted()
    assert clock.set_ms(EPOCH_MS + 30_000)
    assert (clock.wall_ms(), clock.mono_ms()) == (EPOCH_MS + 30_000, 30_000)


def test_a_backward_clock_message_is_counted_and_ignored() -> None:
    clock = TopicClock(EPOCH_MS)
    assert not clock.set_ms(EPOCH_MS - 1)
    assert (clock.wall_ms(), clock.backward) == (EPOCH_MS, 1)
    assert clock.set_ms(EPOCH_MS), "the same time again is not backwards"
