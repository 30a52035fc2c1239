"""Who is on shift, in the site's own time, both clock changes included."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.core import people
from gateway.core.site import Callout, Person, Phone, Shift
from tests.core.board_floor import NIGHT_MS, SITE, WEEK

LONDON = "Europe/London"
HOUR = 3_600_000


def _utc(text: str) -> int:
    return round(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() * 1000)


# The two days on which London's clocks change in 2026 (IANA time zone data).
@pytest.mark.parametrize(
    ("day", "minute", "utc"),
    [
        (date(2026, 3, 29), 90, "2026-03-29T01:30"),  # left out by the clock: counts an hour later
        (date(2026, 3, 29), 120, "2026-03-29T01:00"),
        (date(2026, 10, 25), 90, "2026-10-25T00:30"),  # shown twice: the first time
        (date(2026, 10, 25), 120, "2026-10-25T02:00"),
        (date(2026, 10, 24), 1440 + 90, "2026-10-25T00:30"),
    ],
)
def test_a_time_on_the_wall_is_one_instant(day: date, minute: int, utc: str) -> None:
    assert people.instant_ms(LONDON, day, minute) == _utc(utc)


@pytest.mark.parametrize(
    ("day", "hours"), [("2026-03-28", 7), ("2026-10-24", 9), ("2026-06-01", 8), ("2026-12-01", 8)]
)
def test_a_night_shift_has_the_hours_the_night_has(day: str, hours: int) -> None:
    """22 to 6 on the wall is 7 hours in the spring night and 9 in the autumn one."""
    start = people.instant_ms(LONDON, date.fromisoformat(day), 22 * 60)
    on = [
        start + step * 60_000
        for step in range(12 * 60)
        if people.on_shift(SITE, start + step * 60_000) == ("ben",)
    ]
    assert len(on) == hours * 60


@given(st.integers(_utc("2026-01-01"), _utc("2027-01-01")))
def test_two_shifts_that_meet_on_the_wall_leave_no_gap_and_no_overlap(at_ms: int) -> None:
    assert len(people.on_shift(SITE, at_ms)) == 1


def test_shifts_that_meet_inside_the_hour_shown_twice_leave_no_gap() -> None:
    site = replace(SITE, shifts=(Shift(("ben",), WEEK, 90, 13 * 60), Shift(("ada",), WEEK, 13 * 60, 90)))
    for start in (_utc("2026-03-28T22:00"), _utc("2026-10-24T22:00")):
        for minute in range(6 * 60):
            assert len(people.on_shift(site, start + minute * 60_000)) == 1


def test_a_shift_belongs_to_the_day_it_begins_on() -> None:
    site = replace(SITE, shifts=(Shift(("ben",), (4,), 22 * 60, 6 * 60),))
    friday_22 = people.instant_ms(LONDON, date(2026, 3, 20), 22 * 60)
    assert people.on_shift(site, friday_22) == ("ben",)
    assert people.on_shift(site, friday_22 - 1) == ()
    assert people.on_shift(site, friday_22 + 8 * HOUR - 1) == ("ben",)
    assert people.on_shift(site, friday_22 + 8 * HOUR) == ()
    assert people.on_shift(site, friday_22 - 20 * HOUR) == ()  # Friday 02:00: Thursday's night


def test_the_end_may_be_written_as_next_day_or_beyond_midnight() -> None:
    for end in (6 * 60, 30 * 60):
        site = replace(SITE, shifts=(Shift(("ben",), (3,), 22 * 60, end),))
        assert people.on_shift(site, NIGHT_MS) == ("ben",)


def test_the_order_is_shift_then_roles_then_the_rest_and_needs_a_phone() -> None:
    more = replace(
        SITE,
        people=(Person("eve", "Eve", "driver"), *SITE.people),
        phones=(*SITE.phones, Phone("eve-1", "eve", "webhook")),
    )
    assert people.order(more, NIGHT_MS) == ("ben", "ada", "cleo", "eve")
    assert people.order(more, NIGHT_MS + 8 * HOUR) == ("ada", "ben", "cleo", "eve")


def test_who_has_no_phone_is_not_on_shift() -> None:
    site = replace(SITE, phones=tuple(phone for phone in SITE.phones if phone.person != "ben"))
    assert people.on_shift(site, NIGHT_MS) == ()
    assert people.order(site, NIGHT_MS) == ("ada", "cleo")


def test_the_morning_list_goes_to_a_maltster_else_to_the_shift() -> None:
    assert people.morning_reader(SITE, NIGHT_MS) == "ada"
    without = replace(SITE, phones=tuple(phone for phone in SITE.phones if phone.person != "ada"))
    assert people.morning_reader(without, NIGHT_MS) == "ben"
    assert people.morning_reader(replace(SITE, phones=()), NIGHT_MS) is None


def test_the_night_goes_over_midnight() -> None:
    steps = Callout(night_from_min=21 * 60, night_to_min=7 * 60)
    midnight = people.instant_ms(LONDON, date(2026, 7, 1), 0)
    night = [people.is_night(steps, LONDON, midnight + hour * HOUR) for hour in range(24)]
    assert night == [True] * 7 + [False] * 14 + [True] * 3
    noon = Callout(night_from_min=12 * 60, night_to_min=13 * 60)
    assert [people.is_night(noon, LONDON, midnight + hour * HOUR) for hour in (11, 12, 13)] == [
        False,
        True,
        False,
    ]


@given(st.integers(_utc("2026-01-01"), _utc("2027-01-01")), st.integers(0, 1439))
def test_the_next_morning_lies_ahead_and_within_a_day_and_an_hour(at_ms: int, minute: int) -> None:
    ahead = people.next_instant_ms(LONDON, at_ms, minute)
    assert 0 < ahead - at_ms <= 25 * HOUR
    assert people.next_instant_ms(LONDON, ahead - 1, minute) == ahead
