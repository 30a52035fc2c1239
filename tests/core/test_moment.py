"""Moments and spans as people write them: the standard's own examples, and both clock changes."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.core import moment

LONDON = "Europe/London"


def _ms(text: str) -> int:
    """By the standard library's own parser, which knows nothing of ours."""
    return round(datetime.fromisoformat(text).timestamp() * 1000)


# RFC 3339 section 5.8 prints these examples; the leap second is the first moment of the next minute.
@pytest.mark.parametrize(
    ("text", "same"),
    [
        ("1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50.520+00:00"),
        ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57+00:00"),
        ("1990-12-31T23:59:60Z", "1991-01-01T00:00:00+00:00"),
        ("1990-12-31T15:59:60-08:00", "1991-01-01T00:00:00+00:00"),
        ("1937-01-01T12:00:27.87+00:20", "1937-01-01T11:40:27.870+00:00"),
    ],
)
def test_the_standards_own_examples_are_read(text: str, same: str) -> None:
    assert moment.parse(text) == _ms(same)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "04:50",
        "2024-11-05",
        "2024-11-05T04:50:00",
        "2024-13-05T04:50:00Z",
        "2024-02-30T04:50:00Z",
        "2024-11-05T24:00:00Z",
        "2024-11-05T04:50:61Z",
        "2024-11-05T04:50:00+24:00",
        "2024-11-05T04:50:00+01:60",
        "2024-11-05T04:50:00.Z",
        "٢٠٢٤-11-05T04:50:00Z",
        "2024-11-05T04:50:00Z" * 1000,
    ],
)
def test_what_is_no_moment_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"^got "):
        moment.parse(text)


@given(
    st.datetimes(datetime(1970, 1, 1), datetime(5000, 1, 1)),  # noqa: DTZ001 - the zone is added below
    st.integers(-23 * 60, 23 * 60),
)
def test_any_moment_is_read_as_the_standard_library_reads_it(when: datetime, offset_min: int) -> None:
    aware = when.replace(microsecond=0, tzinfo=timezone(timedelta(minutes=offset_min)))
    expected = (aware - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(milliseconds=1)
    assert moment.parse(aware.isoformat()) == expected


@given(st.integers(0, 10**14))
def test_what_is_written_is_read_back(at_ms: int) -> None:
    text = moment.rfc3339(at_ms)
    assert text.endswith("Z")
    assert len(text) == 24
    assert moment.parse(text) == at_ms


@pytest.mark.parametrize(
    ("typed", "now", "expected"),
    [
        ("04:50", "2024-11-05T05:00:00+00:00", "2024-11-05T04:50:00+00:00"),
        ("4:50", "2024-11-05T05:00:00+00:00", "2024-11-05T04:50:00+00:00"),
        ("04:50", "2024-11-05T04:50:00+00:00", "2024-11-05T04:50:00+00:00"),
        ("23:30", "2024-11-05T00:10:00+00:00", "2024-11-04T23:30:00+00:00"),
        ("06:00", "2024-07-05T12:00:00+00:00", "2024-07-05T05:00:00+00:00"),
        # 2024-10-27: 01:30 came twice; the later one if it is past, else the earlier.
        ("01:30", "2024-10-27T03:00:00+00:00", "2024-10-27T01:30:00+00:00"),
        ("01:30", "2024-10-27T01:10:00+00:00", "2024-10-27T00:30:00+00:00"),
        # 2024-03-31: 01:30 did not come at all; the last one was the day before.
        ("01:30", "2024-03-31T09:00:00+00:00", "2024-03-30T01:30:00+00:00"),
        ("2024-11-05T04:50:00+01:00", "2024-11-05T05:00:00+00:00", "2024-11-05T03:50:00+00:00"),
    ],
)
def test_a_typed_time_is_the_last_such_local_time(typed: str, now: str, expected: str) -> None:
    assert moment.typed(typed, _ms(now), LONDON) == _ms(expected)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("2h", 7200), ("45min", 2700), ("45m", 2700), ("90s", 90), ("1h30min", 5400), ("1h30m15s", 5415)],
)
def test_spans(text: str, seconds: float) -> None:
    assert moment.span_s(text) == seconds


@pytest.mark.parametrize("text", ["", "2", "h", "-2h", "2h-3m", "1.5h", "2 h", "two hours", "9" * 50 + "h"])
def test_what_is_no_span_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="expected a span"):
        moment.span_s(text)


def test_a_local_time_says_its_date_only_where_it_is_not_todays() -> None:
    now = _ms("2024-11-05T05:00:00+00:00")
    assert moment.local(_ms("2024-11-05T04:50:00+00:00"), LONDON, now) == "04:50"
    assert moment.local(_ms("2024-11-04T23:50:00+00:00"), LONDON, now) == "04 Nov 23:50"
    assert moment.local(_ms("2023-11-04T23:50:00+00:00"), LONDON, now) == "04 Nov 2023 23:50"
