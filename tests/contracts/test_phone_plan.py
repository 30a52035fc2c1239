"""When a notice is tried again: the plan alone, on a clock that is an argument."""

from typing import NamedTuple

import pytest

from gateway.core.outbox import ASKED_MOST_S, HELD_S, Plan, retry_after_s, wait_s


class Note(NamedTuple):
    """What the plan must know of a notice."""

    number: int
    phone: str
    priority: str = "high"


def test_the_waits_grow_to_ten_minutes_and_stay() -> None:
    assert [wait_s(n, None, 0.0) for n in (1, 2, 3, 4, 5, 6, 50)] == [5, 30, 120, 300, 600, 600, 600]
    assert wait_s(1, None, 0.5) == pytest.approx(5.5)
    assert wait_s(5, None, 1.0) == pytest.approx(720)


def test_what_the_phone_asks_for_is_kept_but_not_beyond_an_hour() -> None:
    assert wait_s(1, 90.0, 0.0) == 90
    assert wait_s(5, 90.0, 0.0) == 600, "a longer wait of our own stands"
    assert wait_s(1, 86_400.0, 0.0) == ASKED_MOST_S


NOW_MS = 784_111_777_000  # Sun, 06 Nov 1994 08:49:37 GMT, the moment of RFC 9110's examples (5.6.7)


@pytest.mark.parametrize(
    ("header", "seconds"),
    [
        ("120", 120.0),
        (" 0 ", 0.0),
        ("Sun, 06 Nov 1994 08:50:37 GMT", 60.0),
        ("Sunday, 06-Nov-94 08:50:37 GMT", 60.0),
        ("Sun Nov  6 08:50:37 1994", 60.0),
        ("Sun, 06 Nov 1994 08:49:37 GMT", 0.0),
        ("Sat, 05 Nov 1994 08:49:37 GMT", 0.0),
        ("99999999999999999999", 9_999_999_999.0),
        ("-5", None),
        ("1.5", None),
        ("٣", None),
        ("", None),
        ("soon", None),
        ("Sun, 31 Feb 1994 08:49:37 GMT", None),
        ("Sun, 06 Nov 1994 28:49:37 GMT", None),
        ("Sun, 06 Foo 1994 08:49:37 GMT", None),
    ],
)
def test_retry_after_in_all_its_forms(header: str, seconds: float | None) -> None:
    assert retry_after_s(header, NOW_MS) == seconds


def test_two_digits_of_a_year_mean_the_near_one() -> None:
    in_2026_ms = 1_790_000_000_000
    assert retry_after_s("Sunday, 06-Nov-94 08:50:37 GMT", in_2026_ms) == 0.0, "1994, not 2094"
    assert (retry_after_s("Friday, 06-Nov-37 08:50:37 GMT", in_2026_ms) or 0) > 10 * 365 * 86_400


def test_one_notice_a_phone_the_gravest_first_then_the_oldest() -> None:
    due = [Note(1, "ada-1", "low"), Note(2, "ada-1"), Note(3, "ada-1"), Note(4, "ben-1", "medium")]
    plan = Plan()
    assert [one.number for one in plan.ready(due, set(), 0)] == [2, 4]
    assert [one.number for one in plan.ready(due, {"ada-1"}, 0)] == [4]
    assert plan.ready(due, {"ada-1", "ben-1"}, 0) == []
    assert plan.next_ms(due, {"ada-1", "ben-1"}) is None


def test_a_failed_notice_waits_and_a_newer_one_does_not() -> None:
    plan, old, new = Plan(), Note(1, "ada-1"), Note(2, "ada-1")
    plan.failed(old, 1000, 30.0)
    assert plan.ready([old], set(), 30_999) == []
    assert plan.next_ms([old], set()) == 31_000
    assert plan.ready([old], set(), 31_000) == [old]
    assert plan.ready([old, new], set(), 1001) == [new]


def test_a_phone_that_asks_to_be_left_alone_gets_no_newer_notice_either() -> None:
    plan, old, new = Plan(), Note(1, "ada-1"), Note(2, "ada-1")
    plan.failed(old, 0, 120.0, 120.0)
    assert plan.ready([old, new, Note(3, "ben-1")], set(), 119_999) == [Note(3, "ben-1")]
    assert plan.held([old, new], set(), 20_000) == [(new, 100.0)], "the old one was tried; its caller knows"
    assert plan.held([old, new], {"ada-1"}, 20_000) == []
    assert plan.held([old, new], set(), 120_000 - round(HELD_S * 1000) + 1) == []
    assert plan.ready([old, new], set(), 120_000) == [old]


def test_what_is_no_longer_due_is_forgotten() -> None:
    plan, note = Plan(), Note(1, "ada-1")
    plan.failed(note, 0, 600.0)
    plan.keep_only({2})
    assert plan.ready([note], set(), 1) == [note]
