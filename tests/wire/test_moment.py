"""A probe's own time. RFC 3339 examples are those of its section 5.8."""

import pytest

from gateway.core.reading import CLOCK_UNSURE, OWN_TIME, Reason
from gateway.core.wire import Refusal, clock_ms
from gateway.core.wire.moment import moment_ms
from tests.wire.probes import AT_MS, reading, refusal


@pytest.mark.parametrize(
    ("said", "ms"),
    [
        ("1985-04-12T23:20:50.52Z", 482_196_050_520),
        ("1996-12-19T16:39:57-08:00", 851_042_397_000),
        # RFC 3339 5.8: the leap second at the end of 1990, twice; it counts into the next minute.
        ("1990-12-31T23:59:60Z", 662_688_000_000),
        ("1990-12-31T15:59:60-08:00", 662_688_000_000),
        ("1937-01-01T12:00:27.87+00:20", -1_041_337_172_130),
        ("2025-10-09t08:53:20z", AT_MS),
        ("2025-10-09 09:53:20+01:00", AT_MS),
        ("2025-10-09T08:53:20.123987Z", AT_MS + 123),
        ("2025-10-09T08:53:20.1-00:00", AT_MS + 100),
        (1_760_000_000, AT_MS),
        (1_760_000_000.0004, AT_MS),
        (1_760_000_000.0006, AT_MS + 1),
        (1_760_000_000_123, AT_MS + 123),
        (1e11, 100_000_000_000),
        (99_999_999_999, 99_999_999_999_000),
        (0, 0),
        (-1.5, -1500),
    ],
)
def test_a_time_is_understood(said: object, ms: int) -> None:
    assert moment_ms(said) == ms


@pytest.mark.parametrize(
    "said",
    [
        "",
        "2025-10-09",
        "2025-10-09T08:53Z",
        "2025-13-09T08:53:20Z",
        "2025-02-29T08:53:20Z",
        "2025-10-09T24:00:00Z",
        "2025-10-09T08:53:61Z",
        "2025-10-09T08:53:20+24:00",
        "2025-10-09T08:53:20+01:60",
        "2025-10-09T08:53:20+0100",
        " 2025-10-09T08:53:20Z",
        "2025-10-09T08:53:20Z\n",
        "0000-10-09T08:53:20Z",
        "٢٠٢٥-10-09T08:53:20Z",
        True,
        None,
        [],
        float("nan"),
        float("inf"),
        1e300,
        10**400,
        -(10**400),
    ],
)
def test_what_is_no_time_is_refused(said: object) -> None:
    with pytest.raises(Refusal) as caught:
        moment_ms(said)
    assert caught.value.reason == Reason.BAD_TIME
    assert len(caught.value.detail) < 200


@pytest.mark.parametrize("said", ["2025-10-09T08:53:20", "2025-10-09 08:53:20.5"])
def test_a_time_without_offset_could_be_any_zones(said: str) -> None:
    with pytest.raises(Refusal) as caught:
        moment_ms(said)
    assert caught.value.reason == Reason.NO_OFFSET


def test_five_minutes_ahead_is_allowed_and_no_more() -> None:
    assert reading(b'{"v":1,"t":1760000300}').flags == OWN_TIME
    assert refusal(b'{"v":1,"t":1760000300.001}').reason == Reason.FUTURE


def test_while_the_gateways_clock_is_unsure_the_future_is_kept_and_flagged() -> None:
    found = reading(b'{"v":1,"t":1860000000}', trusted=False)
    assert (found.measured_at_ms, found.flags) == (1_860_000_000_000, OWN_TIME | CLOCK_UNSURE)


def test_before_2001_09_10_a_clock_was_never_set() -> None:
    assert reading(b'{"v":1,"t":"2001-09-10T00:00:00Z"}').measured_at_ms == 1_000_080_000_000
    for said in (b"0", b"-5", b'"2001-09-09T23:59:59.999Z"', b"100000000000"):
        assert refusal(b'{"v":1,"t":' + said + b"}").reason == Reason.TOO_OLD


def test_a_clock_message_is_unix_seconds() -> None:
    assert clock_ms(b'{"t":1760000000.5}') == AT_MS + 500
    for bad in (b"", b"{}", b"17", b'{"t":null}', b'{"t":true}', b"\xff"):
        with pytest.raises(Refusal):
            clock_ms(bad)
