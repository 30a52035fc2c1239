"""The form `number`: ASCII decimal, at most 32 bytes (contract C3)."""

import pytest

from gateway.core.reading import RETAINED, Reason
from tests.wire.probes import AT_MS, probe, reading, refusal

NUMBER = probe(payload="number")


@pytest.mark.parametrize(
    ("payload", "value"),
    [
        (b"17.25", 17.25),
        (b"-3", -3.0),
        (b"+3.", 3.0),
        (b".5", 0.5),
        (b"1.7e1", 17.0),
        (b"1E-3", 0.001),
        (b"  17.2", 17.2),
        (b"17.2\n", 17.2),
        (b"17.2\r\n", 17.2),
        (b"0" * 31 + b"7", 7.0),
    ],
)
def test_a_decimal_is_read(payload: bytes, value: float) -> None:
    found = reading(payload, NUMBER)
    assert (found.value, found.measured_at_ms, found.flags) == (value, AT_MS, 0)


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"", Reason.EMPTY),
        (b"0" * 33, Reason.TOO_LONG),
        (b"nan", Reason.NOT_FINITE),
        (b"-INF\n", Reason.NOT_FINITE),
        (b"infinity", Reason.NOT_FINITE),
        (b"1e999", Reason.NOT_FINITE),
        (b"1_000", Reason.NOT_A_NUMBER),
        (b"17,2", Reason.NOT_A_NUMBER),
        (b"17.2 C", Reason.NOT_A_NUMBER),
        (b"17.2 ", Reason.NOT_A_NUMBER),
        (b"\t17", Reason.NOT_A_NUMBER),
        (b"0x10", Reason.NOT_A_NUMBER),
        (b"1e9999", Reason.NOT_A_NUMBER),
        ("١٧".encode(), Reason.NOT_A_NUMBER),
        (b"\xff\xfe", Reason.NOT_A_NUMBER),
        (b".", Reason.NOT_A_NUMBER),
        (b"--1", Reason.NOT_A_NUMBER),
    ],
)
def test_anything_else_is_refused_with_its_reason(payload: bytes, reason: Reason) -> None:
    found = refusal(payload, NUMBER)
    assert (found.reason, found.probe, found.payload) == (reason, "c2", payload)


def test_a_kept_number_has_no_time_and_is_not_taken() -> None:
    assert refusal(b"17.2", NUMBER, retained=True).reason == Reason.RETAINED_WITHOUT_TIME


def test_a_kept_reading_with_its_own_time_is_kept_as_old() -> None:
    found = reading(b'{"v":17.2,"t":1759990000}', retained=True)
    assert found.flags & RETAINED
    assert found.measured_at_ms == 1_759_990_000_000
