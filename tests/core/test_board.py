"""The life of an alarm on the board: numbers, levels, answers, quiet, gas, old readings, restarts."""

from dataclasses import replace

import pytest

from gateway.core import board, board_steps, inputs
from gateway.core.effects import Notice
from gateway.core.finding import Finding, Subject
from gateway.core.inputs import Answered, Quieted, Unquieted
from gateway.core.site import Place
from tests.core.board_floor import COLD, GAS, HIGH, NIGHT_MS, OVERDUE, SITE, URGENT, Floor, over

MIN = 60


def test_each_occurrence_has_a_number_from_101_up() -> None:
    floor = Floor()
    floor.find(HIGH, COLD, over(HIGH), HIGH)
    raised = [one for one in floor.changes() if one[2] == "raise"]
    assert [one[1] for one in raised] == [101, 102, 103]
    assert floor.last().occurrence == 2
    assert (101, "lapse", "normal") in [one[1:] for one in floor.changes()]


def test_the_same_finding_again_changes_nothing() -> None:
    floor = Floor()
    floor.find(HIGH, HIGH, replace(HIGH, value=22.9, limit=21.9), over(COLD))
    assert len(floor.changes()) == 1


def test_a_message_has_the_newest_value() -> None:
    floor = Floor()
    floor.find(HIGH)
    floor.newest[HIGH.subject] = replace(HIGH, value=23.4, limit=21.0, level="urgent", rank=3)
    floor.wait(15 * MIN)
    assert "23.4 C, limit 22" in floor.notices()[-1].text


def test_a_higher_level_is_unanswered_again_and_calls_through_the_hold() -> None:
    floor = Floor()
    floor.find(HIGH)
    floor.put(board.answer, Answered(101, "going", "ben"))
    floor.wait(MIN)
    floor.find(URGENT)
    assert floor.changes()[-1] == (60, 101, "rise", "unacknowledged")
    assert (floor.last().priority, floor.last().answered_by) == ("high", None)
    assert floor.rung()[-1] == (60, "ben-1", "call")
    floor.wait(10 * MIN)
    assert floor.rung()[-1] == (660, "ada-1", "call")


def test_after_a_rise_the_earlier_answer_holds_nothing() -> None:
    floor = Floor()
    floor.find(HIGH)
    floor.put(board.answer, Answered(101, "going", "ben"))
    floor.find(URGENT)
    floor.put(board.answer, Answered(101, "heard", "ben"))
    floor.wait(15 * MIN)
    assert floor.changes()[-1] == (900, 101, "realarm", "unacknowledged")


def test_a_lower_level_is_noted_calls_nobody_and_keeps_the_pace_until_answered() -> None:
    floor = Floor()
    floor.find(URGENT, HIGH)
    assert floor.changes()[-1] == (0, 101, "eased", "unacknowledged")
    assert (floor.last().level, floor.last().priority) == ("high", "high")
    assert len(floor.rung()) == 1
    floor.wait(5 * MIN)
    assert floor.rung()[-1] == (300, "ben-1", "repeat")
    floor.put(board.answer, Answered(101, "heard", "ben"))
    assert floor.last().priority == "medium"
    floor.find(URGENT)
    assert floor.last().priority == "high"


def test_going_holds_45_min_then_everybody_before_and_the_next_person() -> None:
    floor = Floor()
    floor.find(URGENT)
    floor.wait(20)
    assert floor.put(board.answer, Answered(101, "going", "ben")) is None
    assert (floor.last().state, floor.last().answered_by) == ("acknowledged", "ben")
    floor.wait(45 * MIN - 10)
    assert len(floor.rung()) == 1
    floor.wait(10)
    assert floor.changes()[-1] == (2720, 101, "realarm", "unacknowledged")
    assert floor.rung()[1:] == [(2720, "ben-1", "call"), (2720, "ada-1", "call")]


def test_heard_holds_15_min_and_going_after_it_holds_longer() -> None:
    floor = Floor()
    floor.find(URGENT, OVERDUE)
    floor.put(board.answer, Answered(101, "heard", "ben"))
    floor.put(board.answer, Answered(102, "heard", "ben"))
    floor.put(board.answer, Answered(102, "going", "ada"))
    assert floor.last().answered_by == "ada"
    floor.put(board.answer, Answered(102, "heard", "cleo"))
    floor.wait(44 * MIN)
    assert [one for one in floor.changes() if one[2] == "realarm"] == [
        (900, 101, "realarm", "unacknowledged")
    ]
    floor.wait(MIN)
    assert (2700, 102, "realarm", "unacknowledged") in floor.changes()


def test_an_answered_low_alarm_stays_answered() -> None:
    floor = Floor()
    floor.find(COLD)
    floor.put(board.answer, Answered(101, "heard", "ada"))
    floor.wait(24 * 3600)
    assert [one[2] for one in floor.changes()] == ["raise", "answer"]


def test_who_was_going_and_cannot_gives_it_back() -> None:
    floor = Floor()
    floor.find(URGENT)
    floor.put(board.answer, Answered(101, "going", "ben"))
    assert floor.put(board.answer, Answered(101, "cant", "ada")) == "101 is answered by ben."
    floor.wait(MIN)
    assert floor.put(board.answer, Answered(101, "cant", "ben")) is None
    assert floor.changes()[-1] == (60, 101, "realarm", "unacknowledged")
    assert floor.rung()[-1] == (60, "ada-1", "call")
    floor.wait(5 * MIN)
    assert floor.rung()[-1] == (360, "ada-1", "repeat")


def test_cannot_is_in_the_history_and_answers_nothing() -> None:
    floor = Floor()
    floor.find(URGENT)
    floor.put(board.answer, Answered(101, "cant", "ben"))
    assert floor.changes()[-1][2:] == ("cant", "unacknowledged")
    assert floor.last().change.by == "ben"


@pytest.mark.parametrize("answer", ["going", "heard", "cant", "all-out"])
def test_an_answer_to_what_is_over_or_unknown_is_harmless_and_says_so(answer: str) -> None:
    floor = Floor()
    floor.find(URGENT)
    floor.put(board.answer, Answered(101, "going", "ben"))
    floor.find(over(URGENT))
    before = len(floor.said)
    for number in (101, 4711):
        assert "is not standing" in floor.put(board.answer, Answered(number, answer, "ben"))
    assert len(floor.said) == before


def test_an_answer_that_is_none_says_what_was_expected() -> None:
    floor = Floor()
    floor.find(URGENT)
    assert "not one of going, heard, cant" in floor.put(board.answer, Answered(101, "maybe", "ben"))
    assert len(floor.changes()) == 1


def test_what_went_off_by_itself_waits_for_an_answer_or_the_morning() -> None:
    floor = Floor()
    floor.find(HIGH, COLD, over(HIGH), over(COLD))
    assert [one.state.value for one in floor.board.standing.values()] == ["returned_unacknowledged"] * 2
    floor.put(board.answer, Answered(101, "heard", "ben"))
    assert list(floor.board.standing) == ["bed_low\x1fbed-a\x1f"]
    floor.wait(5 * 3600)
    assert floor.changes()[-1] == (5 * 3600, 102, "lapse", "normal")
    assert "Bed A (over)" in floor.notices()[-1].text
    assert floor.board.standing == {}


def test_quiet_silences_until_its_end_then_calls_afresh() -> None:
    floor = Floor()
    floor.find(URGENT)
    assert floor.put(board.quiet, Quieted(101, 1800.0, "turning it", "ben")) is None
    assert floor.last().quiet_until_ms == NIGHT_MS + 1_800_000
    floor.wait(1790)
    assert len(floor.rung()) == 1
    floor.restart()
    floor.wait(10)
    assert floor.changes()[-1] == (1800, 101, "unshelve", "unacknowledged")
    assert floor.last().quiet_until_ms is None
    assert floor.rung()[1:] == [(1800, "ben-1", "call")]


def test_quiet_over_an_answer_ends_unanswered() -> None:
    floor = Floor()
    floor.find(URGENT)
    floor.put(board.answer, Answered(101, "going", "ben"))
    floor.put(board.quiet, Quieted(101, 7200.0))
    floor.wait(7190)
    assert len(floor.rung()) == 1
    assert floor.put(board.unquiet, Unquieted(101, by="ada")) is None
    assert (floor.last().state, floor.last().answered_by, floor.last().change.by) == (
        "unacknowledged", None, "ada",
    )  # fmt: skip
    assert floor.rung()[-1] == (7190, "ben-1", "call")


def test_a_higher_level_ends_the_quiet() -> None:
    floor = Floor()
    floor.find(HIGH)
    floor.put(board.quiet, Quieted(101, 7200.0))
    floor.find(URGENT)
    assert floor.last().quiet_until_ms is None
    floor.wait(5 * MIN)
    assert floor.rung() == [(0, "ben-1", "call"), (0, "ben-1", "call"), (300, "ben-1", "repeat")]


def test_quiet_ends_with_its_alarm_and_the_next_occurrence_calls() -> None:
    floor = Floor()
    floor.find(HIGH)
    floor.put(board.quiet, Quieted(101, 7200.0))
    floor.find(over(HIGH))
    assert floor.board.standing == {}
    floor.find(HIGH)
    assert floor.rung("call") == [(0, "ben-1", "call"), (0, "ben-1", "call")]


@pytest.mark.parametrize("seconds", [0.0, -1.0, float("nan"), float("inf"), 25 * 3600.0])
def test_a_quiet_of_no_or_endless_time_is_refused(seconds: float) -> None:
    floor = Floor()
    floor.find(HIGH)
    assert "at most 24 hours" in floor.put(board.quiet, Quieted(101, seconds))
    assert len(floor.changes()) == 1


def test_quiet_of_nothing_is_refused() -> None:
    floor = Floor()
    floor.find(HIGH, over(HIGH))
    assert "is not standing" in floor.put(board.quiet, Quieted(101, 60.0))
    assert "is not standing" in floor.put(board.quiet, Quieted(7, 60.0))
    assert "is not quiet" in floor.put(board.unquiet, Unquieted(101))


def test_gas_cannot_be_made_quiet_and_an_answer_does_not_end_it() -> None:
    floor = Floor()
    floor.find(GAS)
    assert "cannot be made quiet" in floor.put(board.quiet, Quieted(101, 60.0))
    assert "Stay out" in floor.put(board.answer, Answered(101, "all-out", "ada"))
    assert floor.changes()[-1] == (0, 101, "all-out", "unacknowledged"), "noted, and it ends nothing"
    [standing] = floor.board.standing.values()
    assert (standing.all_out_by, standing.calls) == ("ada", True)
    floor.put(board.answer, Answered(101, "heard", "ada"))
    floor.find(replace(over(GAS), value=3900.0, measured_at_ms=NIGHT_MS + 1))
    assert floor.last().state == "latched_acknowledged"
    assert floor.put(board.answer, Answered(101, "all-out", "ada")) is None
    assert floor.last().state == "normal"
    assert floor.board.standing == {}


def test_no_alarm_has_a_number_that_rings_an_emergency_service() -> None:
    floor = Floor()
    floor.board.next_alarm = 109
    floor.find(GAS, HIGH, COLD)
    assert [one.number for one in floor.board.standing.values()] == [109, 120, 121]
    assert [board_steps.free_number(number, "144") for number in (110, 119, 143, 144, 911, 999)] == [
        120, 120, 143, 145, 912, 1000,
    ]  # fmt: skip


def test_gas_that_is_down_goes_on_calling_until_somebody_answers() -> None:
    floor = Floor()
    floor.find(GAS)
    floor.wait(100)
    floor.find(replace(over(GAS), value=3900.0))
    assert {kind for at, _, kind in floor.rung() if at == 100} == {"over"}
    floor.wait(300)
    last = floor.notices()[-1]
    assert (last.kind, last.title) == ("repeat", "FLOOR 1 READING DOWN")
    floor.find(GAS)
    assert floor.changes()[-1] == (400, 101, "raise", "unacknowledged")
    assert floor.notices()[-1].title == "STAY OUT FLOOR 1"
    floor.find(over(GAS))
    floor.put(board.answer, Answered(101, "all-out", "ada"))
    assert [one[2] for one in floor.changes()][-2:] == ["answer", "reset"]


def test_a_recorded_turn_answers_the_overdue_one_and_holds_the_heat() -> None:
    floor = Floor()
    floor.find(OVERDUE, HIGH, replace(HIGH, subject=Subject("bed_hot", "bed-a")), COLD)
    floor.put(board.bed_turned, "bed-c", "ben")
    assert [one[1:] for one in floor.changes()[-2:]] == [
        (101, "answer", "acknowledged"),
        (102, "answer", "acknowledged"),
    ]
    floor.find(over(OVERDUE))
    floor.wait(45 * MIN)
    assert [one for one in floor.changes() if one[2] == "realarm"] == [
        (2700, 102, "realarm", "unacknowledged")
    ]
    assert [one[1:] for one in floor.changes() if one[1] == 101][-1] == (101, "clear", "normal")


def test_a_second_turn_holds_from_its_own_time() -> None:
    floor = Floor()
    floor.find(HIGH)
    floor.put(board.bed_turned, "bed-c", "ben")
    floor.wait(30 * MIN)
    floor.put(board.bed_turned, "bed-c", "ben")
    floor.wait(44 * MIN)
    assert len(floor.rung()) == 1
    floor.wait(MIN)
    assert floor.changes()[-1][2] == "realarm"


def _late(since_ms: int = NIGHT_MS - 7_200_000) -> Finding:
    return replace(URGENT, late=True, since_ms=since_ms, measured_at_ms=since_ms + 3_600_000)


def test_old_readings_leave_an_alarm_in_the_history_and_call_nobody() -> None:
    floor = Floor()
    floor.find(_late(), _late())
    assert [one[1:] for one in floor.changes()] == [
        (101, "raise", "unacknowledged"),
        (101, "clear", "returned_unacknowledged"),
        (101, "lapse", "normal"),
    ]
    last = floor.last()
    assert last.late
    assert (last.raised_at_ms, last.cleared_at_ms) == (NIGHT_MS - 7_200_000, NIGHT_MS - 3_600_000)
    assert floor.notices() == []
    assert floor.board.standing == {}
    floor.find(_late(NIGHT_MS - 1_800_000))
    assert floor.last().number == 102


def test_what_old_readings_say_of_a_standing_alarm_changes_it_only_by_ending_it() -> None:
    floor = Floor()
    floor.find(URGENT, replace(_late(), rank=2, level="high"))
    assert len(floor.changes()) == 1
    floor.find(replace(over(URGENT), late=True))
    assert [one[2] for one in floor.changes()] == ["raise", "clear"]
    assert not floor.last().late


def test_after_a_gap_each_unanswered_alarm_calls_once_where_it_stood() -> None:
    floor = Floor()
    floor.find(URGENT, COLD, HIGH)
    floor.find(OVERDUE)
    floor.put(board.answer, Answered(103, "going", "ben"))
    floor.wait(610)
    before = len(floor.rung())
    floor.offset_ms += 3_600_000
    floor.restart()
    floor.put(board.resumed)
    assert floor.rung()[before:] == [(610, "ben-1", "repeat"), (610, "ada-1", "repeat")]
    floor.wait(290)
    assert len(floor.rung()) == before + 2
    floor.wait(10)
    assert len(floor.rung()) == before + 4


def test_a_quiet_ends_when_promised_even_if_the_gateway_was_down() -> None:
    floor = Floor()
    floor.find(URGENT)
    floor.put(board.quiet, Quieted(101, 3600.0))
    floor.offset_ms += 3_000_000
    floor.put(board.resumed)
    floor.wait(590)
    assert len(floor.rung()) == 1
    floor.wait(10)
    assert floor.changes()[-1][2] == "unshelve"


def test_a_morning_slept_through_is_made_up_for_once() -> None:
    floor = Floor()
    floor.find(COLD)
    floor.offset_ms += 50 * 3_600_000
    floor.put(board.resumed)
    floor.wait(20)
    assert len(floor.rung()) == 1


def test_a_clock_set_back_does_not_put_off_the_morning() -> None:
    floor = Floor()
    floor.offset_ms += 400 * 86_400_000
    floor.put(board.resumed)
    floor.wait(10)
    floor.offset_ms -= 400 * 86_400_000
    floor.put(board.resumed)
    floor.find(COLD)
    floor.wait(5 * 3600)
    assert len(floor.rung()) == 1


def test_alarms_about_a_place_that_is_gone_end() -> None:
    floor = Floor()
    floor.find(URGENT, COLD)
    before = floor.site
    floor.site = replace(SITE, places=(Place("bed-a", "bed", "Bed A"),), probes=())
    floor.put(board.site_changed, before, site=True)
    assert floor.changes()[-1][1:] == (101, "clear", "returned_unacknowledged")
    assert set(floor.board.occurrences) == set(floor.board.standing)


def test_a_test_call_starts_with_test_and_goes_to_every_phone_asked_for() -> None:
    floor = Floor()
    floor.put(board.test_call, inputs.TestCallAsked("ben", "ada"))
    floor.put(board.test_call, inputs.TestCallAsked(None))
    floor.put(board.test_call, inputs.TestCallAsked("nobody"))
    assert [phone for _, phone, _ in floor.rung("test")] == [
        "ben-1", "ben-2", "ada-1", "ben-1", "ben-2", "cleo-1",
    ]  # fmt: skip
    for notice in floor.notices():
        assert notice.title.startswith("TEST")
        assert notice.text.startswith("TEST")
        assert notice.alarm is None


def test_notice_numbers_are_one_each_and_in_the_text() -> None:
    floor = Floor()
    floor.find(URGENT, GAS)
    floor.wait(900)
    numbers = [one.number for one in floor.notices()]
    assert numbers == list(range(1, len(numbers) + 1))
    assert all(one.text.endswith(f"({one.number})") for one in floor.notices())


def test_causes_count_within_one_entry() -> None:
    floor = Floor()
    floor.find(GAS)
    causes = [one.cause for _, one in floor.said]
    assert causes == [(2, at) for at in range(5)]
    assert isinstance(floor.said[-1][1], Notice)
