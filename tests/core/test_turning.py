"""Turning due with its reasons, standing orders, the night's list, and what steeps want."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from gateway.core import engine, night, views, views_piece
from gateway.core.effects import TurnKnown
from gateway.core.inputs import Cast, Delivery, Loaded, NotedAt, SiteChanged, Started, Turned
from gateway.core.inputs_journey import (
    Corrected,
    HandRead,
    Ordered,
    Ploughed,
    Steeped,
    Stood,
    Voided,
    Withering,
)
from gateway.core.rules import due as dues
from gateway.core.rules.reach import TREND, Forecast, Reach, Warm
from gateway.core.site import Day, Place, Probe, Programme, Site, Turning
from tests.core.desk import HOUR, MINUTE, START, Desk, minutes, site

#: The desk begins at 20:00 local (UTC).
H = 60


def programme(**turning: Any) -> Site:
    """The desk's site with its beds on one programme of these figures; turning starts at 18 C."""
    whole = site()
    days = tuple(Day(float(d), 15.0, 18.0, 22.0, 25.0, 8.0, 8.0, 12.0) for d in range(3))
    floor = Programme("plain", days=days, turning=Turning(**turning))
    kept = tuple(one for one in whole.programmes if one.id != "plain")
    probes = (*whole.probes, Probe("gas", "bed-a", "co2", "ppm", "qh/bed-a/gas", 60.0))
    return site(programmes=(*kept, floor), probes=probes)


def desk(**turning: Any) -> Desk:
    made = Desk(programme(**turning))
    made.lay(0, Cast("bed-a", "14"))
    return made


def warm(made: Desk, start: int, end: int, from_c: float, per_h: float, **others: float) -> None:
    """One reading each five minutes of a1 along a straight line, and of the others as they are."""
    for minute in range(start, end, 5):
        made.read(minute, "a1", from_c + per_h * (minute - start) / 60)
        for probe, value in others.items():
            made.read(minute, probe, value)


def row(made: Desk, bed: str = "bed-a") -> dict[str, Any]:
    return next(one for one in views.beds(made.state) if one["bed"] == bed)


def first(made: Desk, bed: str = "bed-a") -> dues.Reason:
    found = dues.due(made.state, made.state.site.place[bed]).first
    assert found is not None
    return found


def test_by_the_clock_the_turn_starts_half_its_length_before_eight_hours() -> None:
    made = desk(turn_takes_min=90.0)
    made.lay(30, Turned("bed-a", by="ada"))

    assert (minutes(row(made)["due_at"]), minutes(row(made)["start_at"])) == (30 + 8 * H, 30 + 8 * H - 45)
    assert row(made)["line"] == (
        "Bed A, day 0, piece 14: start by 03:45 (longest between turns; last turned 20:30 by Ada)"
    )


def test_a_bed_that_will_be_warm_sooner_is_due_by_heat_and_the_line_says_so() -> None:
    made = desk()
    made.lay(1, Turned("bed-a", by="ada"))
    made.lay(2, Turned("bed-a", 0.0, 5.0, by="ben"))
    warm(made, 10, 121, 15.0, 0.8)
    # 15.0 at 20:10, 0.8 an hour: 18 C 3 h 45 min later, at 23:55; an hour is taken by the turn.
    due = first(made)

    assert due.kind == "rise"
    assert row(made)["line"].startswith("Bed A, day 0, piece 14: start by ")
    cool = desk(rise_k=9.0)
    cool.lay(1, Turned("bed-a", by="ada"))
    cool.lay(2, Turned("bed-a", 0.0, 5.0, by="ben"))
    warm(cool, 10, 121, 15.0, 0.8)

    assert first(cool).kind == "heat"
    # The balance bends the line a little: the warmer it is, the more the room takes.
    assert minutes(first(cool).due_ms) == pytest.approx(3 * H + 55, abs=15)
    assert first(cool).due_ms - first(cool).start_ms == H * MINUTE
    reach = first(cool).reach
    assert reach is not None
    assert reach.early_ms is not None
    assert reach.late_ms is not None
    assert reach.early_ms < first(cool).due_ms < reach.late_ms
    start = clock(first(cool).start_ms)
    assert row(cool)["line"] == (
        f"Bed A, day 0, piece 14: start by {start} (18 C by {clock(reach.early_ms)}-{clock(reach.late_ms)}, "
        "up 0.8 an hour; last turned 20:01 by Ada; kiln-end half not done)"
    )
    straight = dues.due(cool.state, cool.state.site.place["bed-a"], TREND).first
    assert straight is not None
    assert minutes(straight.due_ms) == pytest.approx(3 * H + 55, abs=1.5)


def clock(at_ms: int) -> str:
    minute = (at_ms - START) // MINUTE + 20 * H
    return f"{minute // 60 % 24:02}:{minute % 60:02}"


def test_over_a_limit_that_calls_the_heat_is_the_reason_from_the_earliest_time_of_all() -> None:
    made = desk()
    warm(made, 10, 8 * H + 30, 15.0, 0.0)
    by_clock = first(made)
    assert by_clock.kind == "clock"

    warm(made, 8 * H + 30, 9 * H + 30, 22.4, 0.4)

    assert first(made).kind == "hot"
    assert (first(made).due_ms, first(made).start_ms) == (by_clock.due_ms, by_clock.start_ms)
    assert row(made)["why"] == "at 22.8 C, limit 22 C"
    assert row(made)["line"].startswith("Bed A, day 0, piece 14: start now (at 22.8 C, limit 22 C")

    warm(made, 9 * H + 30, 10 * H + 30, 25.2, 0.0)
    assert row(made)["why"] == "at 25.2 C, limit 25 C"


def test_a_better_forecast_takes_the_place_of_the_trend_with_its_interval() -> None:
    made = desk()
    made.lay(1, Turned("bed-a", by="ada"))
    warm(made, 10, 61, 15.0, 0.0)
    at = [START + minute * MINUTE for minute in (100, 90, 130)]
    told = Forecast(lambda *_: Reach(*at), lambda *_: Warm(18.4, 18.0, 18.9))
    [mine] = views.tonight(made.state, told)

    assert (minutes(mine["due_at"]), minutes(mine["start_at"]), mine["reason"]) == (100, 40, "heat")
    assert "18 C by 21:30-22:10" in mine["line"]
    assert mine["if_left"] == "18.0-18.9 C at 07:00, 22 C by 21:30-22:10, 25 C by 21:30-22:10"


def test_a_rise_since_the_turn_counts_from_its_lowest_and_only_after_it_has_settled() -> None:
    made = desk(rise_k=1.5)
    made.lay(1, Turned("bed-a", by="ada"))
    warm(made, 5, 40, 12.0, 0.0)  # Hanging on the hook while the bed was turned.
    warm(made, 40, 121, 15.0, 0.0)
    assert first(made).kind == "clock"

    warm(made, 121, 400, 15.0, 0.0 + 0.5)
    warm(made, 400, 420, 17.4, 0.0)
    due = first(made)

    assert due.kind == "rise"
    assert minutes(due.due_ms) == pytest.approx(121 + 180, abs=10)
    assert "up 1.5 since the turn" in row(made)["why"]


def test_an_uneven_and_a_stuffy_bed_want_turning_and_say_where() -> None:
    uneven, stuffy = desk(), desk()
    for made in (uneven, stuffy):
        made.lay(1, Turned("bed-a", by="ada"))
    warm(uneven, 10, 80, 17.5, 0.0, a2=14.0)
    warm(stuffy, 10, 80, 15.0, 0.0, gas=45_000.0)

    assert first(uneven).kind == "spread"
    assert "uneven: 17.5 C at a1, 14.0 C at a2" in row(uneven)["line"]
    assert first(stuffy).kind == "co2"
    assert "start now (CO2 4.5 %" in row(stuffy)["line"]

    stuffy.lay(81, Turned("bed-a", by="ada"))
    assert first(stuffy).kind == "clock"


def test_rounds_stand_in_for_the_hours_and_a_turn_just_before_one_is_that_round_s() -> None:
    made = desk(rounds=(6 * 60, 14 * 60, 22 * 60))
    made.lay(30, Turned("bed-a"))

    assert (minutes(row(made)["due_at"]), row(made)["reason"]) == (10 * H, "round")
    assert row(made)["why"] == "the 06:00 round"


def test_of_two_rounds_a_day_nobody_is_late_before_the_round() -> None:
    """Rounds at ten and at ten: turned at 21:20 it is 12 h old at 09:20, when the round has not begun."""
    made = desk(rounds=(10 * H, 22 * H))
    made.lay(80, Turned("bed-a"))
    assert minutes(row(made)["due_at"]) == 14 * H
    # A round has the hour that a turn takes.
    made.wait(15 * H - 1)
    assert made.alarms("turn_overdue") == []
    made.wait(15 * H)
    assert [one.change.signal for one in made.alarms("turn_overdue")] == ["raise"]


def turned_at_nine(**turning: Any) -> Desk:
    """A piece cast the day before and turned in the morning; the desk begins at 20:00."""
    made = Desk(programme(**turning))
    made.lay(0, Cast("bed-a", "14", when_ms=START - 30 * HOUR))
    made.lay(1, Turned("bed-a", when_ms=START - 11 * HOUR))
    return made


def test_the_nights_list_has_no_turn_between_two_rounds_and_a_withering_piece_no_more_than_its_own() -> None:
    until_ms = START + 11 * HOUR
    rounds = turned_at_nine(rounds=(8 * H + 30, 20 * H + 30))
    assert [minutes(job.start_ms) for job in night.plan(rounds.state, until_ms)] == [30]
    withering = turned_at_nine()
    withering.lay(2, Withering(bed="bed-a"))
    # Due after 12 h at 21:00, started half a turn before; the next is after this night.
    assert [minutes(job.start_ms) for job in night.plan(withering.state, until_ms)] == [30]
    often = turned_at_nine(rounds=(8 * H + 30, 20 * H + 30, 2 * H))
    assert [minutes(job.start_ms) for job in night.plan(often.state, until_ms)] == [30, 6 * H]


def test_ploughing_puts_due_off_and_overdue_not() -> None:
    made = desk(plough_h=4.0)
    made.lay(5 * H, Ploughed("bed-a"))
    assert minutes(row(made)["due_at"]) == 9 * H

    made.lay(11 * H, Ploughed("bed-a"))
    assert minutes(row(made)["due_at"]) == 12 * H
    made.wait(12 * H + 1)
    assert [change.change.signal for change in made.alarms("turn_overdue")] == ["raise"]


def test_a_withering_piece_has_its_own_hours() -> None:
    made = desk(withering_due_h=12.0, withering_overdue_h=16.0)
    made.lay(H, Withering("bed-a"))
    made.wait(15 * H)

    assert minutes(row(made)["due_at"]) == 12 * H
    assert made.alarms("turn_overdue") == []


def test_a_chilled_piece_is_not_turned_by_the_clock_alone_while_matting_and_co2_allow() -> None:
    made = desk(mat_h=16.0)
    warm(made, 5, 14 * H, 7.5, 0.0, a2=7.0)

    assert minutes(row(made)["due_at"]) == 16 * H
    assert "chilled: plough, thicken or close up" in row(made)["line"]
    assert made.alarms("turn_overdue") == []

    warm(made, 14 * H, 14 * H + 30, 7.5, 0.0, a2=7.0, gas=45_000.0)
    assert first(made).kind in ("co2", "clock")
    assert first(made).start_ms <= made.state.at_ms


def test_a_standing_order_moves_due_and_overdue_and_no_limit_of_heat() -> None:
    made = desk()
    made.lay(10, Ordered("bed-a", START + 14 * HOUR, why="I want it warm", by="ben"))

    assert minutes(row(made)["due_at"]) == 14 * H
    assert row(made)["why"] == "longest between turns, left till 10:00: I want it warm"
    warm(made, 20, 60, 22.4, 0.0)
    made.wait(14 * H - 1)
    assert made.alarms("turn_overdue") == []
    assert [change.change.signal for change in made.alarms("bed_hot")][:1] == ["raise"]

    made.wait(14 * H + 1)
    assert [change.change.signal for change in made.alarms("turn_overdue")][:1] == ["raise"]
    # Ordered to be left, it was wanted by the order's end and no sooner.
    text = next(one.text for one in made.notices() if "OVERDUE" in one.text)
    assert "anted by 10:00" in text
    made.lay(15 * H, Turned("bed-a"))
    clock = dues.due(made.state, made.state.site.place["bed-a"]).clock
    assert clock is not None
    assert minutes(clock.due_ms) == 23 * H


def test_an_order_taken_back_moves_nothing_any_longer() -> None:
    made = desk()
    made.lay(10, Ordered("bed-a", START + 14 * HOUR, why="warm"))
    made.lay(20, Voided(made.n, why="no"))

    assert minutes(row(made)["due_at"]) == 8 * H


def test_a_correction_of_a_turn_tells_the_same_turn_anew_and_a_void_takes_it_back() -> None:
    made = desk()
    made.lay(9 * H, Turned("bed-a", by="ada"))
    entry = made.n
    made.lay(9 * H + 5, Corrected(entry, when_ms=START + 7 * HOUR, done_by="ben"))
    made.lay(9 * H + 6, Voided(entry, why="other bed"))
    told = [made for made in made.effects if isinstance(made, TurnKnown)]

    assert [(one.turn, one.state, minutes(one.ended_at_ms), one.by) for one in told] == [
        (1, "kept", 9 * H, "ada"),
        (1, "kept", 7 * H, "ben"),
        (1, "void", 7 * H, "ben"),
    ]
    assert minutes(row(made)["due_at"]) == 8 * H


def test_a_flagged_turn_is_kept_once_the_cast_is_recorded_late() -> None:
    made = Desk(programme())
    made.lay(5 * H, Turned("bed-a", by="ada"))
    made.lay(6 * H, Cast("bed-a", "14", when_ms=START))
    told = [made for made in made.effects if isinstance(made, TurnKnown)]

    assert [(one.turn, one.state) for one in told] == [(1, "flagged"), (1, "kept")]


def test_a_joined_bed_keeps_its_heat_alarm_and_a_loaded_one_does_not() -> None:
    made = Desk(programme())
    made.lay(0, Cast("bed-a", "14"))
    warm(made, 5, 30, 22.5, 0.0)
    made.lay(30, engine_split())
    assert [one.change.signal for one in made.alarms("bed_hot")] == ["raise"]

    made.lay(31, Loaded("bed-a", "kiln"))
    assert [one.change.signal for one in made.alarms("bed_hot")] == ["raise", "clear"]


def engine_split() -> Any:
    from gateway.core.inputs_journey import Split

    return Split("bed-a", 0.0, 5.0, "15")


def test_what_one_person_cannot_do_is_said_to_the_maltster_at_six_in_the_evening() -> None:
    made = Desk(replace(programme(turn_takes_min=120.0), places=many_beds(), probes=()))
    for bed in "cdef":
        made.lay(1, Cast(f"bed-{bed}", bed))
    for bed in "cdef":
        # All turned at ten in the morning: all due at 18:00, and again at two.
        made.lay(14 * H, Turned(f"bed-{bed}", by="ada"))
    made.wait(22 * H + 1)
    [call] = [one for one in made.notices() if one.title.startswith("TONIGHT")]

    assert (call.person, call.kind, call.priority, minutes(call.at_ms)) == ("ben", "call", "low", 22 * H)
    assert call.text.startswith("TONIGHT does not fit one person: 8 to do, not reached in time: ")
    assert len(call.text) <= 160
    late = {one["bed"] for one in views.tonight(made.state) if not one["fits"]}
    assert late
    made.lay(22 * H + 2, Delivery(call.number, "ben-1", "failed", 503))
    again = [one for one in made.notices() if one.title.startswith("TONIGHT")]
    assert [one.person for one in again] == ["ben", "ada"]


def many_beds() -> tuple[Place, ...]:
    return tuple(
        Place(f"bed-{bed}", "bed", f"Bed {bed.upper()}", "lower", 10.0 * i, 10.0 * i + 10, programme="plain")
        for i, bed in enumerate("abcdef")
    )


def test_nothing_is_said_in_the_evening_where_one_person_can_do_it_all() -> None:
    made = desk()
    made.wait(23 * H)

    assert [one for one in made.notices() if one.title.startswith("TONIGHT")] == []


def test_two_jobs_an_hour_apart_fit_and_two_at_once_do_not() -> None:
    made = Desk(replace(programme(turn_takes_min=90.0), places=many_beds(), probes=()))
    for bed, late_min in (("a", 0), ("b", 60), ("c", 65)):
        made.lay(1, Cast(f"bed-{bed}", bed))
        made.lay(70, Turned(f"bed-{bed}", when_ms=START + late_min * MINUTE))
    jobs = night.plan(made.state, START + 10 * HOUR)

    assert [(job.place, job.fits) for job in jobs] == [("bed-a", True), ("bed-b", True), ("bed-c", False)]


def test_tonight_is_in_walking_order_with_the_steeps_first() -> None:
    made = desk()
    made.lay(0, Cast("bed-b", "15"))
    made.lay(1, Turned("bed-b"))
    made.lay(2, Steeped("steep", "lot-7"))
    found = views.tonight(made.state)

    assert [(one["what"], one["bed"], one["piece"]) for one in found] == [
        ("drain", "steep", "lot-7"),
        ("turn", "bed-a", "14"),
        ("turn", "bed-b", "15"),
    ]
    assert found[0]["line"] == "Steep, lot lot-7: drain at 04:02 (wet since 20:02, 8 h wanted)"
    assert found[1]["if_left"] == "too little heard to say how warm at 07:00"


def test_a_straight_line_through_an_hour_does_not_say_how_warm_it_is_in_the_morning() -> None:
    made = desk()
    made.lay(1, Turned("bed-a", by="ada"))
    warm(made, 10, 61, 15.0, 1.0)
    place, now_ms = made.state.site.place["bed-a"], made.state.at_ms

    assert TREND.at(made.state, place, now_ms + 3 * HOUR) == pytest.approx((18.9, None, None), abs=0.2)
    assert TREND.at(made.state, place, now_ms + 3 * HOUR + 1) is None
    [mine] = views.tonight(made.state, TREND)
    assert mine["if_left"].startswith("too little heard to say how warm at 07:00, 22 C by about 0")


def test_a_steep_not_drained_is_a_high_alarm_one_not_filled_a_medium_and_casting_is_the_maltster_s() -> None:
    made = Desk()
    made.lay(0, Steeped("steep", "lot-7", piece="20"))
    made.wait(8 * H + 29)
    assert made.alarms("steep_drain") == []

    made.wait(8 * H + 31)
    [drain] = made.alarms("steep_drain")
    assert (drain.priority, minutes(drain.change.at_ms)) == ("high", 8 * H + 30)
    assert made.notices()[-1].text.startswith(
        "DRAIN STEEP NOW. Piece 20. Under water since 20:00, wanted till 04:00."
    )

    # Recorded late with its real time: the alarm ends, and the dry stand counts from there.
    made.lay(9 * H, Stood("steep", "dry", when_ms=START + 8 * HOUR))
    assert [one.change.signal for one in made.alarms("steep_drain")] == ["raise", "clear"]
    made.wait(18 * H + 31)
    assert [(one.priority, one.change.signal) for one in made.alarms("steep_fill")] == [("medium", "raise")]

    made.lay(19 * H, Stood("steep", "wet"))
    made.lay(25 * H, Stood("steep", "dry"))
    made.wait(60 * H)
    assert [one.change.signal for one in made.alarms("steep_fill")][:2] == ["raise", "clear"]
    assert [one.change.signal for one in made.alarms("steep_drain")].count("raise") == 1
    assert "may be cast now" in views.tonight(made.state)[0]["line"]


def test_thermal_time_is_the_beds_mean_above_the_base_while_somebody_watches() -> None:
    made = desk(base_c=2.0)
    warm(made, 1, 10 * H, 15.0, 0.0, a2=13.0)
    [mine] = views_piece.pieces(made.state)

    # Ten hours at 14 C, 12 K above the base; the first sample begins the count.
    assert mine["thermal_watched_h"] == pytest.approx(10, abs=0.2)
    assert mine["thermal_kh"] == pytest.approx(120, abs=3)
    made.wait(20 * H)
    [mine] = views_piece.pieces(made.state)
    assert mine["thermal_watched_h"] == pytest.approx(10.5, abs=0.3), "silent probes tell nothing"


def test_a_piece_tells_its_story_and_questions_are_in_plain_words() -> None:
    made = desk()
    made.lay(60, HandRead("bed-a", 16.5, at_m=3.0, by="ada"))
    made.lay(70, Turned("bed-b", by="ada"))
    made.read(71, "b1", 15.0)
    [mine] = views_piece.pieces(made.state, "14")

    assert [(one["what"], one["text"], one["by"]) for one in mine["story"]] == [
        ("cast", "cast", None),
        ("hand", "by hand 16.5 C at 3 m", "ada"),
    ]
    assert mine["by_hand"][0]["c"] == 16.5
    assert [one["text"] for one in views_piece.questions(made.state)] == [
        "Bed B: turned, but nothing is recorded as lying there",
        "Bed B: 15.0 C at b1, and nobody recorded what lies there; the strictest limits hold",
    ]
    assert views_piece.pieces(made.state, "99") == []


def test_grain_in_a_bed_recorded_empty_is_judged_by_the_strictest_limits() -> None:
    made = desk()
    warm(made, 5, 30, 23.0, 0.0)
    made.lay(30, Loaded("bed-a", "kiln"))
    warm(made, 31, 90, 23.0, 0.0)
    assert [one.change.signal for one in made.alarms("bed_hot")] == ["raise", "clear"], (
        "the last load's warmth"
    )

    warm(made, 90, 120, 12.0, 0.0)
    warm(made, 120, 160, 22.4, 0.0)
    signals = [one.change.signal for one in made.alarms("bed_hot")]
    assert signals == ["raise", "clear", "lapse", "raise"]
    assert made.alarms("bed_hot")[-1].limit == 22.0
    assert "no cast recorded" in made.notices()[-1].text

    warm(made, 160, 190, 12.0, 0.0)
    assert [one.change.signal for one in made.alarms("bed_hot")][-1] == "clear"


def test_a_bed_recorded_empty_by_mistake_whose_grain_goes_on_warming_calls_before_it_was_ever_cool() -> None:
    made = desk()
    warm(made, 5, 30, 21.0, 0.6)
    made.lay(30, Loaded("bed-a", "kiln"))
    warm(made, 30, 70, 21.3, 0.6)
    assert made.alarms("bed_hot") == []

    warm(made, 70, 170, 21.7, 0.6)
    assert [one.change.signal for one in made.alarms("bed_hot")] == ["raise"]
    assert (made.alarms("bed_hot")[-1].limit, made.notices()[-1].priority) == (22.0, "medium")
    assert "no cast recorded" in made.notices()[-1].text


def test_what_was_recorded_while_the_gateway_was_down_has_its_real_time() -> None:
    made = desk()
    made.lay(60, NotedAt(START + 6 * HOUR))
    made.lay(60, Turned("bed-a", by="ada", when_ms=START + 5 * HOUR))
    made.lay(60, Turned("bed-a", by="ben", when_ms=START + 9 * HOUR))

    assert [minutes(one.ended_at_ms) for one in made.effects if isinstance(one, TurnKnown)] == [5 * H, 6 * H]
    assert [one["text"] for one in views_piece.questions(made.state)] == [
        "Bed A: turned, said to be later than it was recorded"
    ]
    # The clock of then was an hour ahead: it is half past one when the gateway runs again.
    made.lay(5.5 * H, Started("test"))
    assert minutes(row(made)["turned_at"]) == 5.5 * H


def test_another_site_file_with_another_bed_leaves_the_rest_as_it_was() -> None:
    made = desk()
    whole = made.site
    more = replace(whole, places=(*whole.places, Place("bed-z", "bed", "Bed Z", "lower", 30.0, 40.0)))
    made.lay(10, SiteChanged(more))

    assert row(made)["piece"] == "14"
    assert row(made, "bed-z")["why"] == "no cast recorded"


def test_the_trend_gives_no_moment_beyond_twelve_hours() -> None:
    made = desk()
    warm(made, 5, 120, 15.0, 0.1)
    place = made.state.site.place["bed-a"]

    assert TREND.reach(made.state, place, 22.0) is None
    assert TREND.at(made.state, place, made.state.at_ms + 13 * HOUR) is None
    assert engine.load(engine.dump(made.state)).wants == made.state.wants
