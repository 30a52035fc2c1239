"""The form `json`: what is a reading, what is refused and why."""

import pytest

from gateway.core.reading import OWN_TIME, Reading, Reason, Rejected
from tests.wire.probes import AT_MS, outcomes, probe, reading, refusal


def test_all_that_a_probe_may_say() -> None:
    found = reading(b'{"v":17.25,"t":1759999990.5,"n":12,"b":3.1,"more":[1,{"x":null}]}')
    assert found == Reading("c2", 1_759_999_990_500, 17.25, OWN_TIME, 12, 3.1)


def test_a_value_alone_is_measured_on_arrival() -> None:
    assert reading(b'{"v":17}') == Reading("c2", AT_MS, 17.0, 0, None, None)


@pytest.mark.parametrize(
    "extra",
    [
        b'"n":-1',
        b'"n":1.5',
        b'"n":true',
        b'"n":"x"',
        b'"n":1e30',
        b'"b":"low"',
        b'"b":NaN',
        b'"b":[]',
        b'"n":99999999999999999999',
        b'"b":null',
    ],
)
def test_a_bad_sequence_or_battery_is_no_reason_to_refuse(extra: bytes) -> None:
    found = reading(b'{"v":17.25,"t":1759999990,' + extra + b"}")
    assert (found.value, found.sequence, found.battery) == (17.25, None, None)


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"", Reason.EMPTY),
        (b" ", Reason.NOT_JSON),
        (b"{", Reason.NOT_JSON),
        (b'{"v":17.2}x', Reason.NOT_JSON),
        (b"{'v':17.2}", Reason.NOT_JSON),
        (b'\xef\xbb\xbf{"v":17.2}', Reason.NOT_JSON),
        (b'{"v":17.2,"x":"\xff"}', Reason.NOT_JSON),
        ('{"v":17.2}'.encode("utf-16"), Reason.NOT_JSON),
        (b'{"v":17.2,"v":17.3}', Reason.NOT_JSON),
        (b'{"v":17.2,"x":{"a":1,"a":2}}', Reason.NOT_JSON),
        (b"[" * 60_000, Reason.NOT_JSON),
        (b'{"a":' * 12_000, Reason.NOT_JSON),
        (b"9" * 60_000, Reason.NOT_JSON),
        (b'{"v":17.2,"x":"' + b"a" * 65_536 + b'"}', Reason.TOO_LONG),
        (b"{}", Reason.NO_VALUE),
        (b"[]", Reason.NO_VALUE),
        (b"17.2", Reason.NO_VALUE),
        (b'{"v":null}', Reason.NO_VALUE),
        (b'{"v":true}', Reason.NOT_A_NUMBER),
        (b'{"v":"17.2"}', Reason.NOT_A_NUMBER),
        (b'{"v":{}}', Reason.NOT_A_NUMBER),
        (b'{"v":NaN}', Reason.NOT_FINITE),
        (b'{"v":-Infinity}', Reason.NOT_FINITE),
        (b'{"v":1e999}', Reason.NOT_FINITE),
        (b'{"v":' + b"9" * 400 + b"}", Reason.NOT_FINITE),
        (b'{"v":17.2,"t":true}', Reason.BAD_TIME),
        (b'{"v":17.2,"t":NaN}', Reason.BAD_TIME),
        (b'{"v":17.2,"t":"soon"}', Reason.BAD_TIME),
        (b'{"v":17.2,"t":[]}', Reason.BAD_TIME),
        (b'{"v":17.2,"t":' + b"9" * 400 + b"}", Reason.BAD_TIME),
        (b'{"v":17.2,"t":"2025-10-09T09:53:20"}', Reason.NO_OFFSET),
    ],
)
def test_anything_else_is_refused_with_its_reason(payload: bytes, reason: Reason) -> None:
    found = refusal(payload)
    assert (found.reason, found.probe, found.payload) == (reason, "c2", payload[:256])
    assert len(found.detail) <= 200


def test_the_double_key_is_named() -> None:
    assert "'v'" in refusal(b'{"v":1,"n":1,"v":2}').detail


def test_several_probes_of_one_topic_are_read_by_their_pointers() -> None:
    air = probe(id="air", value="/air/0", time="/at")
    dew = probe(id="dew", value="/dew~1point", time="/at")
    found = outcomes(b'{"at":1759999990,"air":[12.5],"dew/point":"wet"}', air, dew)
    assert found[0] == Reading("air", 1_759_999_990_000, 12.5, OWN_TIME)
    assert isinstance(found[1], Rejected)
    assert (found[1].probe, found[1].reason) == ("dew", Reason.NOT_A_NUMBER)


def test_the_whole_document_can_be_the_value() -> None:
    assert reading(b"17.2", probe(value="")).value == 17.2


def test_no_pointer_to_a_time_means_that_there_is_none() -> None:
    assert reading(b'{"v":17.2,"t":"whatever"}', probe(time="")).measured_at_ms == AT_MS
