"""Who is rung, when, and how often (contract C9), each rule as a story on the small site."""

from dataclasses import replace

import pytest

from gateway.core import board
from gateway.core.inputs import Answered, Delivery, Quieted
from gateway.core.site import Callout, Phone, Shift
from tests.core.board_floor import COLD, GAS, HIGH, NIGHT_MS, OVERDUE, SITE, URGENT, WEEK, Floor, over

MIN = 60


def _fail(floor: Floor, phone: str, outcome: str = "failed") -> None:
    number = max(one.number for one in floor.notices() if one.phone == phone)
    floor.put(board.delivery, Delivery(number, phone, outcome))


def test_high_rings_the_shift_at_once_again_each_5_min_and_one_more_each_10() -> None:
    floor = Floor()
    floor.find(URGENT)
    floor.wait(26 * MIN)
    ben, ada, cleo = "ben-1", "ada-1", "cleo-1"
    assert floor.rung() == [
        (0, ben, "call"),
        (300, ben, "repeat"),
        (600, ben, "repeat"), (600, ada, "call"),
        (900, ben, "repeat"), (900, ada, "repeat"),
        (1200, ben, "repeat"), (1200, ada, "repeat"), (1200, cleo, "call"),
        (1500, ben, "repeat"), (1500, ada, "repeat"), (1500, cleo, "repeat"),
    ]  # fmt: skip


def test_to_the_end_and_round_again_everybody_goes_on_being_rung() -> None:
    floor = Floor()
    floor.find(URGENT)
    floor.wait(4 * 3600)
    rung = [at for at, _, _ in floor.rung() if at > 3 * 3600]
    assert rung == [at for at in range(3 * 3600 + 300, 4 * 3600 + 1, 300) for _ in range(3)]


@pytest.mark.parametrize("finding", [HIGH, OVERDUE])
def test_medium_rings_one_phone_each_15_min_nights_too(finding: object) -> None:
    floor = Floor()
    floor.find(finding)  # type: ignore[arg-type]
    floor.wait(46 * MIN)
    assert floor.rung() == [
        (0, "ben-1", "call"),
        (900, "ben-1", "repeat"),
        (1800, "ben-1", "repeat"),
        (2700, "ben-1", "repeat"),
    ]
    assert not any(one.silent for one in floor.notices())


def test_low_rings_nobody_and_stands_on_the_morning_list() -> None:
    floor = Floor()
    floor.find(COLD)
    floor.wait(5 * 3600 - 10)
    assert floor.rung() == []
    floor.wait(10)
    [notice] = floor.notices()
    assert (notice.person, notice.kind, notice.alarm, notice.silent) == ("ada", "call", None, False)
    assert "101 BED A COLD" in notice.text or "101 PIECE 14 COLD, Bed A" in notice.text
    floor.wait(23 * 3600)
    assert len(floor.notices()) == 1
    floor.wait(3600)
    assert len(floor.notices()) == 2


def test_nothing_stands_no_morning_list() -> None:
    floor = Floor()
    floor.wait(24 * 3600)
    assert floor.said == []


def test_a_morning_list_that_does_not_arrive_goes_to_the_next_person() -> None:
    floor = Floor()
    floor.find(COLD)
    floor.wait(5 * 3600)
    _fail(floor, "ada-1")
    _fail(floor, "ada-1")
    assert [phone for _, phone, _ in floor.rung()] == ["ada-1", "ben-1"]
    _fail(floor, "ben-1", "gone")
    assert [phone for _, phone, _ in floor.rung()] == ["ada-1", "ben-1", "ben-2", "cleo-1"]


def test_highest_rings_everybody_on_every_phone_each_5_min() -> None:
    floor = Floor()
    floor.find(GAS)
    floor.wait(5 * MIN)
    phones = ["ben-1", "ben-2", "ada-1", "cleo-1"]
    expected = [(0, phone, "call") for phone in phones] + [(300, phone, "repeat") for phone in phones]
    assert floor.rung() == expected


@pytest.mark.parametrize("finding", [URGENT, HIGH])
def test_nobody_on_shift_everybody_is_rung(finding: object) -> None:
    floor = Floor(replace(SITE, shifts=()))
    floor.find(finding)  # type: ignore[arg-type]
    assert [phone for _, phone, _ in floor.rung("call")] == ["ada-1", "ben-1", "cleo-1"]


#: Seven to six: Ben is on shift until six, Ada from then on.
BEFORE_SIX_MS = NIGHT_MS + (3 * 60 + 53) * 60_000


def _by_repeat(floor: Floor, repeats: int) -> list[list[str]]:
    """The phones rung in each of the next quarter hours, which are the repeats of a medium call."""
    found = []
    for _ in range(repeats):
        heard = len(floor.rung())
        floor.wait(15 * MIN)
        found.append([phone for _, phone, _ in floor.rung()[heard:]])
    return found


def test_a_medium_call_goes_with_the_shift_and_all_hear_that_it_is_over() -> None:
    """Ben's shift ends at 06:00; from then on Ada is rung, and Ben is not until it is over."""
    floor = Floor(at_ms=BEFORE_SIX_MS)
    floor.find(HIGH)
    assert _by_repeat(floor, 3) == [["ada-1"]] * 3
    assert floor.rung() == [
        (0, "ben-1", "call"), (900, "ada-1", "call"), (1800, "ada-1", "repeat"), (2700, "ada-1", "repeat"),
    ]  # fmt: skip
    floor.find(over(HIGH))
    assert floor.rung("over") == [(2700, "ben-1", "over"), (2700, "ada-1", "over")]


def test_a_high_call_only_adds_people_over_a_change_of_shift() -> None:
    floor = Floor(at_ms=BEFORE_SIX_MS + 5 * 60_000)
    floor.find(URGENT)
    floor.wait(5 * MIN)
    assert [phone for at, phone, _ in floor.rung() if at] == ["ben-1", "ada-1"]


def test_a_medium_call_after_the_quiet_or_a_restart_goes_with_the_shift_too() -> None:
    floor = Floor(at_ms=BEFORE_SIX_MS)
    floor.find(HIGH)
    floor.put(board.quiet, Quieted(101, 600.0, "busy", "ben"))
    floor.wait(10 * MIN)
    assert floor.rung() == [(0, "ben-1", "call"), (600, "ada-1", "call")]
    floor.put(board.resumed)
    assert floor.rung()[2:] == [(600, "ada-1", "repeat")]


def test_who_was_called_in_stays_while_on_shift_and_the_first_by_now_is_rung_alone_otherwise() -> None:
    """Two are on shift until six, one of them first until five: an hour later the other is."""
    both = (Shift(("cleo",), WEEK, 5 * 60, 14 * 60), Shift(("ben", "ada"), WEEK, 22 * 60, 6 * 60))
    site = replace(SITE, shifts=both)
    first = Floor(site, BEFORE_SIX_MS - 3_600_000)
    first.find(HIGH)
    assert _by_repeat(first, 5) == [["cleo-1"]] * 5
    called_in = Floor(site, BEFORE_SIX_MS - 2 * 3_600_000)
    called_in.find(HIGH)
    called_in.put(board.answer, Answered(101, "cant", "ben"))
    # To five o'clock Ada, who is on shift; then Cleo, who is first, and Ada until she goes at six.
    assert _by_repeat(called_in, 9) == [["ada-1"]] * 4 + [["ada-1", "cleo-1"]] * 4 + [["cleo-1"]]


def test_who_was_called_in_while_off_shift_is_left_alone_once_the_next_shift_is_there() -> None:
    nights = replace(SITE, shifts=(SITE.shifts[0], Shift(("cleo",), WEEK, 6 * 60, 22 * 60)))
    floor = Floor(nights, BEFORE_SIX_MS - 15 * 60_000)
    floor.find(HIGH)
    floor.put(board.answer, Answered(101, "cant", "ben"))
    assert _by_repeat(floor, 3) == [["ada-1"], ["cleo-1"], ["cleo-1"]]


def test_no_shift_after_the_one_that_was_rung_rings_everybody_on_and_on() -> None:
    floor = Floor(replace(SITE, shifts=SITE.shifts[:1]), BEFORE_SIX_MS)
    floor.find(HIGH)
    assert [set(phones) for phones in _by_repeat(floor, 2)] == [{"ben-1", "ada-1", "cleo-1"}] * 2


@pytest.mark.parametrize("how", ["cant", "failed"])
def test_who_went_home_is_rung_on_where_the_new_shift_is_not_to_be_had(how: str) -> None:
    floor = Floor(at_ms=BEFORE_SIX_MS)
    floor.find(HIGH)
    floor.wait(15 * MIN)
    if how == "cant":
        floor.put(board.answer, Answered(101, "cant", "ada"))
    else:
        _fail(floor, "ada-1", "gone")
    ada = ["ada-1"] if how == "failed" else []
    assert floor.rung()[2:] == [(900, "cleo-1", "call")]
    assert _by_repeat(floor, 2) == [["ben-1", *ada, "cleo-1"]] * 2
    if how == "failed":
        number = max(one.number for one in floor.notices() if one.phone == "ada-1")
        floor.put(board.delivery, Delivery(number, "ada-1", "delivered"))
        assert _by_repeat(floor, 1) == [["ada-1"]]


def test_a_first_of_the_new_shift_whose_phone_failed_before_is_not_rung_alone() -> None:
    """Ada was called in at night and not reached; at six she is first on shift, and Cleo with her."""
    day = Shift(("ada", "cleo"), WEEK, 6 * 60, 22 * 60)
    floor = Floor(replace(SITE, shifts=(SITE.shifts[0], day)), BEFORE_SIX_MS)
    floor.find(HIGH)
    floor.put(board.answer, Answered(101, "cant", "ben"))
    _fail(floor, "ada-1")
    assert [phone for _, phone, _ in floor.rung()] == ["ben-1", "ada-1", "cleo-1"]
    assert _by_repeat(floor, 1) == [["ada-1", "cleo-1"]]


def test_an_answer_that_came_to_nothing_keeps_everybody_until_another_shift_is_there() -> None:
    floor = Floor(at_ms=BEFORE_SIX_MS - 70 * 60_000)
    floor.find(OVERDUE)
    floor.put(board.answer, Answered(101, "going", "ben"))
    floor.wait(45 * MIN)
    assert floor.rung()[1:] == [(2700, "ben-1", "call"), (2700, "ada-1", "call")]
    assert _by_repeat(floor, 3) == [["ben-1", "ada-1"], ["ben-1", "ada-1"], ["ada-1"]]


def test_a_failing_phone_passes_to_the_second_phone_and_the_next_person_at_once() -> None:
    floor = Floor()
    floor.find(URGENT)
    floor.wait(7)
    _fail(floor, "ben-1")
    assert floor.rung() == [(0, "ben-1", "call"), (7, "ben-2", "call"), (7, "ada-1", "call")]
    _fail(floor, "ben-1")  # the same phone again: passed over already
    assert len(floor.rung()) == 3
    floor.wait(5 * MIN)
    assert {phone for _, phone, kind in floor.rung("repeat")} == {"ben-1", "ben-2", "ada-1"}


def test_every_phone_failing_everybody_is_rung_and_goes_on_being_rung() -> None:
    floor = Floor()
    floor.find(HIGH)
    for phone in ("ben-1", "ada-1", "cleo-1", "ben-2"):
        _fail(floor, phone, "gone")
    assert {phone for _, phone, _ in floor.rung()} == {"ben-1", "ben-2", "ada-1", "cleo-1"}
    floor.wait(15 * MIN)
    assert {phone for at, phone, _ in floor.rung() if at} == {"ben-1", "ben-2", "ada-1", "cleo-1"}


def test_a_phone_that_works_again_passes_on_again_when_it_fails_again() -> None:
    floor = Floor()
    floor.find(URGENT)
    _fail(floor, "ben-1")
    _fail(floor, "ben-1", "delivered")
    _fail(floor, "ben-1")
    assert [phone for _, phone, _ in floor.rung()] == ["ben-1", "ben-2", "ada-1", "cleo-1"]


def test_a_failure_after_the_answer_rings_nobody() -> None:
    floor = Floor()
    floor.find(URGENT)
    floor.put(board.answer, Answered(101, "going", "ben"))
    _fail(floor, "ben-1")
    assert len(floor.rung()) == 1


def test_cannot_come_rings_the_next_at_once_and_leaves_that_person_alone() -> None:
    floor = Floor()
    floor.find(HIGH)
    floor.put(board.answer, Answered(101, "cant", "ben"))
    floor.put(board.answer, Answered(101, "cant", "ben"))
    assert floor.rung() == [(0, "ben-1", "call"), (0, "ada-1", "call")]
    floor.wait(15 * MIN)
    assert [phone for at, phone, _ in floor.rung() if at] == ["ada-1"]


def test_if_nobody_can_come_everybody_is_rung_again() -> None:
    floor = Floor()
    floor.find(URGENT)
    for who in ("ben", "ada", "cleo"):
        floor.put(board.answer, Answered(101, "cant", who))
    assert [phone for _, phone, _ in floor.rung()] == ["ben-1", "ada-1", "cleo-1"]
    floor.wait(5 * MIN)
    assert [phone for at, phone, _ in floor.rung() if at] == ["ben-1", "ada-1", "cleo-1"]


def test_speed_stretches_every_step() -> None:
    floor = Floor(replace(SITE, callout=Callout(speed=6.0)))
    floor.find(URGENT)
    floor.wait(600 * 6)
    assert floor.rung() == [
        (0, "ben-1", "call"),
        (300 * 6, "ben-1", "repeat"),
        (600 * 6, "ben-1", "repeat"),
        (600 * 6, "ada-1", "call"),
    ]


def test_the_end_is_told_to_those_who_were_rung_and_is_silent_at_night() -> None:
    floor = Floor()
    floor.find(URGENT)
    floor.wait(10 * MIN)
    floor.find(over(URGENT))
    assert floor.rung("over") == [(600, "ben-1", "over"), (600, "ada-1", "over")]
    assert all(one.silent for one in floor.notices() if one.kind == "over")
    by_day = Floor(at_ms=NIGHT_MS + 8 * 3_600_000)
    by_day.find(URGENT, over(URGENT))
    assert [one.silent for one in by_day.notices()] == [False, False]


def test_who_left_the_site_file_is_no_longer_rung() -> None:
    floor = Floor()
    floor.find(URGENT)
    floor.find(HIGH, GAS)
    ada = Phone("ada-1", "ada", "webhook")
    before, floor.site = floor.site, replace(SITE, people=SITE.people[-1:], phones=(ada,))
    floor.put(board.site_changed, before, site=True)
    floor.wait(5 * MIN)
    assert {phone for at, phone, _ in floor.rung() if at} == {"ada-1"}


def test_nobody_has_a_phone_and_the_board_goes_on() -> None:
    floor = Floor(replace(SITE, phones=()))
    floor.find(URGENT, GAS, COLD)
    floor.wait(24 * 3600)
    assert floor.rung() == []
    assert len(floor.board.standing) == 3
