"""Probes against a ladder of limits: on-delay by measured time, deadband, off-delay, old readings."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.core.rules.limits import Guard, Ladder, Late, Level, ease, level_of, take

MINUTE = 60_000
LADDER = Ladder(
    (Level("turn_at", 1, 19.0, ""), Level("high", 2, 22.0, "medium"), Level("urgent", 3, 25.0, "high")),
    deadband=0.5,
    on_ms=10 * MINUTE,
    off_ms=10 * MINUTE,
    sign=1,
)


def feed(
    guard: Guard, values: list[float], *, start: int = 1, fresh: bool = True
) -> list[tuple[int, list[Late]]]:
    """One reading a minute of probe "p"; the rank and what was late after each."""
    seen = []
    for minute, value in enumerate(values, start):
        rose, late = take(guard, LADDER, "p", value, minute * MINUTE, fresh)
        if guard.rank and fresh and not rose:
            ease(guard, LADDER, [("p", minute * MINUTE)])
        seen.append((guard.rank, late))
    return seen


def test_a_rank_is_reached_at_the_reading_that_completes_the_on_delay() -> None:
    ranks = [rank for rank, _ in feed(Guard(), [22.0] * 12)]

    assert ranks == [0] * 10 + [2, 2]


def test_one_reading_below_starts_the_delay_anew() -> None:
    ranks = [rank for rank, _ in feed(Guard(), [22.4] * 9 + [18.9] + [22.4] * 11)]

    assert ranks == [0] * 20 + [2]


def test_two_readings_are_enough_where_they_span_the_delay() -> None:
    guard = Guard()
    take(guard, LADDER, "p", 22.4, 0, True)
    rose, _ = take(guard, LADDER, "p", 22.4, 10 * MINUTE, True)

    assert rose
    assert guard.rank == 2


@pytest.mark.parametrize(
    ("limit", "deadband", "value"), [(21.0, 0.7, 20.3), (24.0, 0.7, 23.3), (22.0, 0.5, 21.5)]
)
def test_a_reading_just_at_limit_less_deadband_ends_it(limit: float, deadband: float, value: float) -> None:
    ladder = LADDER._replace(levels=(Level("high", 1, limit, "medium"),), deadband=deadband)
    guard = Guard()
    for minute in range(1, 12):
        take(guard, ladder, "p", limit, minute * MINUTE, True)
    assert guard.rank == 1

    for minute in range(12, 23):
        take(guard, ladder, "p", value, minute * MINUTE, True)
        ease(guard, ladder, [("p", minute * MINUTE)])

    assert guard.rank == 0


def test_a_hundredth_short_of_the_deadband_does_not_end_it() -> None:
    guard = Guard()
    feed(guard, [22.0] * 12)

    assert feed(guard, [21.51] * 30, start=13)[-1][0] == 2


def test_a_single_reading_never_raises() -> None:
    guard = Guard()

    assert take(guard, LADDER, "p", 40.0, 0, True) == (False, [])
    assert guard.rank == 0


def test_without_an_on_delay_it_still_takes_two() -> None:
    guard, ladder = Guard(), LADDER._replace(on_ms=0)

    assert take(guard, ladder, "p", 22.4, MINUTE, True)[0] is False
    assert take(guard, ladder, "p", 22.4, 2 * MINUTE, True)[0] is True


def test_within_the_deadband_it_stands_and_below_it_ends_after_the_off_delay() -> None:
    guard = Guard()
    feed(guard, [22.4] * 11)
    hovering = feed(guard, [21.6] * 30, start=12)
    ending = feed(guard, [21.5] * 12, start=42)

    assert {rank for rank, _ in hovering} == {2}
    assert [rank for rank, _ in ending] == [2] * 10 + [1, 1]


def test_a_higher_level_is_reached_while_a_lower_stands_and_falls_back_to_it() -> None:
    guard = Guard()
    up = feed(guard, [22.4] * 11 + [25.1] * 11)
    down = feed(guard, [24.4] * 12, start=23)

    assert up[-1][0] == 3
    assert down[-1][0] == 2


def test_every_watching_probe_must_have_come_down() -> None:
    guard = Guard()
    feed(guard, [22.4] * 11)
    take(guard, LADDER, "q", 21.9, 12 * MINUTE, True)
    for minute in range(12, 28):
        take(guard, LADDER, "p", 18.0, minute * MINUTE, True)
    take(guard, LADDER, "q", 21.9, 27 * MINUTE, True)

    assert not ease(guard, LADDER, [("p", 27 * MINUTE), ("q", 27 * MINUTE)])
    assert guard.rank == 2
    assert ease(guard, LADDER, [("p", 27 * MINUTE)])
    assert guard.rank == 0


def test_old_readings_raise_nothing_but_leave_a_late_finding() -> None:
    guard = Guard()
    old = feed(guard, [22.4] * 20 + [20.0], fresh=False)
    late = old[-1][1]

    assert {rank for rank, _ in old} == {0}
    assert [(item.level.name, item.since_ms, item.until_ms, item.peak) for item in late] == [
        ("high", MINUTE, 20 * MINUTE, 22.4)
    ]


@pytest.mark.parametrize("down", [[16.0], [24.0, 16.0]], ids=["at once", "step by step"])
def test_an_old_run_through_two_levels_is_one_late_finding(down: list[float]) -> None:
    """One alarm for a kind and place: the gravest level, from where the run began."""
    found = feed(Guard(), [23.0] * 2 + [26.0] * 20 + down, fresh=False)
    late = [item for _, items in found for item in items]

    assert [(item.level.name, item.since_ms, item.until_ms, item.peak) for item in late] == [
        ("urgent", MINUTE, 22 * MINUTE, 26.0)
    ]


def test_a_fresh_reading_after_an_old_run_raises_at_once() -> None:
    guard = Guard()
    feed(guard, [22.4] * 20, fresh=False)
    after = feed(guard, [22.4], start=21)

    assert after == [(2, [])]


def test_a_run_that_called_is_never_late_as_well() -> None:
    guard = Guard()
    feed(guard, [22.4] * 12)
    ended = feed(guard, [18.0], start=13)

    assert ended[0][1] == []


def test_less_is_worse_with_the_other_sign() -> None:
    ladder = Ladder((Level("low", 1, 10.0, "low"),), 0.5, 10 * MINUTE, 10 * MINUTE, -1)
    guard = Guard()
    for minute in range(11):
        take(guard, ladder, "p", 9.9, minute * MINUTE, True)

    assert level_of(ladder, guard.rank) == Level("low", 1, 10.0, "low")


@given(st.lists(st.floats(min_value=0, max_value=40), min_size=1, max_size=80))
def test_it_agrees_with_the_rule_as_one_would_state_it(values: list[float]) -> None:
    """A plain restatement: high stands once the last readings, ten minutes long, were all at or over it."""
    guard = Guard()
    for minute, value in enumerate(values):
        was = guard.rank
        rose, _ = take(guard, LADDER, "p", value, minute * MINUTE, True)
        last = values[max(0, minute - 10) : minute + 1]
        stated = minute >= 10 and all(v >= 22.0 for v in last)
        if was < 2:
            assert (guard.rank >= 2) == stated
        if guard.rank and not rose:
            ease(guard, LADDER, [("p", minute * MINUTE)])
            if guard.rank < 2 <= was:
                assert all(v <= 21.5 for v in last)


@pytest.mark.parametrize("rank", [0, 4])
def test_a_rank_without_a_level_has_none(rank: int) -> None:
    assert level_of(LADDER, rank) is None
