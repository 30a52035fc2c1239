"""A bed whose heat alarm stands after its turn: what its line says of grain that came down, or did not."""

from __future__ import annotations

from typing import Any

from gateway.core import views
from gateway.core.inputs import Cast, Turned
from gateway.core.rules import due as dues
from tests.core.desk import MINUTE, START, Desk, minutes

#: Turning starts at 18 C, high is 22 C; a heat alarm ends after ten minutes at 21.5 C or less.
BED = "bed-a"


def hot(upto: int = 60) -> Desk:
    """Bed A with two thermometers, one over its high limit since 20:10 so that the alarm stands."""
    made = Desk()
    made.lay(0, Cast(BED, "14"))
    read(made, 10, upto, 22.4, 21.0)
    assert made.state.guard("bed_hot", BED).rank == 2
    return made


def read(made: Desk, start: int, end: int, *values_c: float) -> None:
    for minute in range(start, end, 2):
        for probe, value_c in zip(("a1", "a2"), values_c, strict=False):
            made.read(minute, probe, value_c)


def turn(made: Desk, at_min: int, to_m: float | None = None) -> None:
    from_m = None if to_m is None else 0.0
    made.lay(at_min + 2, Turned(BED, from_m, to_m, by="ada", when_ms=START + at_min * MINUTE))


def row(made: Desk) -> dict[str, Any]:
    return next(one for one in views.beds(made.state) if one["bed"] == BED)


def first(made: Desk) -> dues.Reason:
    found = dues.due(made.state, made.state.site.place[BED]).first
    assert found is not None
    return found


def test_grain_cooled_by_its_turn_is_due_by_the_clock_and_the_line_says_when_the_alarm_ends() -> None:
    made = hot()
    turn(made, 60)
    read(made, 62, 68, 16.7, 16.5)

    assert made.state.guard("bed_hot", BED).rank == 2
    assert (first(made).kind, minutes(first(made).due_ms)) == ("clock", 60 + 8 * 60)
    assert row(made)["reason"] == "clock"
    ends = "16.7 C now, heat alarm ends by itself about 21:12 if it stays under 21.5 C"
    assert row(made)["why"] == f"longest between turns, turned 21:00: {ends}"
    assert row(made)["line"] == (
        f"Bed A, day 0, piece 14: start by 04:30 (longest between turns; last turned 21:00 by Ada; {ends})"
    )
    [listed] = views.tonight(made.state)
    assert (listed["why"], listed["line"]) == (row(made)["why"], row(made)["line"])
    assert "limit 22" not in listed["line"]

    read(made, 68, 74, 16.7, 16.5)
    assert made.state.guard("bed_hot", BED).rank == 0
    assert row(made)["why"] == "longest between turns"


def test_grain_still_hot_after_its_turn_is_given_time_to_come_down_and_then_wants_another() -> None:
    made = hot()
    turn(made, 60)
    read(made, 62, 68, 22.1, 16.5)

    assert (first(made).kind, minutes(first(made).start_ms)) == ("hot", 60 + 45)
    assert row(made)["why"] == "at 22.1 C, limit 22 C, turned 21:00: again if not down by 21:45"
    read(made, 68, 108, 22.1, 16.5)
    assert row(made)["start"] == "start now"
    assert row(made)["why"] == "at 22.1 C, limit 22 C, turned 21:00: not down since"


def test_half_a_turn_gives_the_half_that_is_still_hot_no_time() -> None:
    made = hot()
    turn(made, 60, to_m=5.0)
    read(made, 62, 68, 22.4, 16.5)

    assert first(made).start_ms <= made.state.at_ms


def test_a_bed_between_its_levels_is_told_by_the_one_that_it_still_stands_at() -> None:
    made = hot()
    read(made, 60, 80, 25.3, 21.0)
    assert made.state.guard("bed_hot", BED).rank == 3
    turn(made, 80)
    read(made, 82, 86, 23.0, 16.5)

    assert row(made)["why"] == "at 23.0 C, limit 22 C, turned 21:20: again if not down by 22:05"


def test_a_silent_probe_that_was_hot_when_last_heard_is_what_the_line_tells_of() -> None:
    made = hot()
    turn(made, 60)
    for minute in range(62, 122, 2):
        made.read(minute, "a2", 16.5)

    assert made.state.windows["a1"].silent
    assert first(made).kind == "hot"
    assert row(made)["why"] == "22.4 C when last heard 20:58, limit 22 C, turned 21:00: not down since"


def test_grain_that_cooled_with_no_turn_known_is_not_said_to_be_turned() -> None:
    made = hot()
    read(made, 60, 66, 16.7, 16.5)

    assert row(made)["why"] == (
        "longest between turns, 16.7 C now, heat alarm ends by itself about 21:10 if it stays under 21.5 C"
    )
