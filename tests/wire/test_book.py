"""Topics, units, ranges; and that no bytes and no topic make anything but a reading or a refusal."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.core.reading import RANGE_HIGH, RANGE_LOW, Reading, Reason, Rejected
from gateway.core.wire import decode
from tests.wire.probes import AT_MS, TOPIC, book, outcomes, probe, reading, refusal

RANGED = probe(payload="number", range_low=-10.0, range_high=60.0, plausible_low=-40.0, plausible_high=120.0)


@pytest.mark.parametrize(
    ("said", "flags"),
    [
        (b"17", 0),
        (b"59.99", 0),
        (b"60", RANGE_HIGH),
        (b"85", RANGE_HIGH),
        (b"-10", RANGE_LOW),
        (b"-30", RANGE_LOW),
    ],
)
def test_beyond_the_instruments_range_a_reading_is_kept_and_flagged(said: bytes, flags: int) -> None:
    found = reading(said, RANGED)
    assert (found.value, found.flags) == (float(said), flags)


@pytest.mark.parametrize("said", [b"120.01", b"-40.5", b"1e30"])
def test_what_is_not_plausible_is_refused(said: bytes) -> None:
    found = refusal(said, RANGED)
    assert found.reason == Reason.IMPLAUSIBLE
    assert "-40 to 120" in found.detail


def test_the_fixed_unit_decides_and_is_kept() -> None:
    # 212 degF is 100 degrees Celsius by definition.
    fahrenheit = probe(
        payload="number",
        unit="[degF]",
        to_fixed_gain=5 / 9,
        to_fixed_offset=-160 / 9,
        range_high=99.0,
        plausible_high=120.0,
    )
    found = reading(b"212", fahrenheit)
    assert found.value == pytest.approx(100.0, abs=1e-12)
    assert found.flags == RANGE_HIGH


def test_calibration_is_not_applied_here() -> None:
    assert reading(b"17", probe(payload="number", gain=2.0, offset=5.0)).value == 17.0


def test_an_unknown_topic_is_refused_and_named() -> None:
    [found] = outcomes(b"x" * 1000, topic="quern/attic/z9")
    assert found == Rejected(
        "quern/attic/z9", b"x" * 256, Reason.UNKNOWN_TOPIC, "no probe has this topic", None
    )
    [found] = outcomes(b"1", topic="t" * 60_000)
    assert isinstance(found, Rejected)
    assert len(found.topic) == 256


@pytest.mark.parametrize(
    "topic",
    ["quern/gateway/status", "quern/gateway/a/b", "quern/clock", "quern/sim/command", "quern/sim/truth/x"],
)
def test_own_topics_are_nobodys_and_not_counted(topic: str) -> None:
    assert outcomes(b"17", topic=topic) == []
    with pytest.raises(ValueError, match="own"):
        book(probe(topic=topic))


def test_a_topic_that_only_looks_like_an_own_one_is_not() -> None:
    assert isinstance(outcomes(b"17", topic="quern/gatewayx")[0], Rejected)
    assert isinstance(outcomes(b"17", topic="other/gateway/status")[0], Rejected)


def test_one_topic_may_speak_two_forms() -> None:
    found = outcomes(b"17.5", probe(id="a", payload="number"), probe(id="b", payload="json", value=""))
    assert [one.probe for one in found] == ["a", "b"]
    assert [type(one) for one in found] == [Reading, Reading]


def test_an_unknown_form_and_a_bad_pointer_are_said_at_once() -> None:
    with pytest.raises(ValueError, match="pigeon"):
        book(probe(payload="pigeon"))
    with pytest.raises(ValueError, match="JSON pointer"):
        book(probe(value="v"))


BOOK = book(
    probe(id="a", topic="quern/a", payload="number", plausible_low=-40.0, plausible_high=120.0),
    probe(id="b", topic="quern/b"),
    probe(id="c", topic="quern/c", value="/x/0", time="/x/1", sequence="", battery="/x/2"),
    probe(id="d", topic="quern/c", value="", time="", range_low=0.0, range_high=1.0),
)
TOPICS = st.sampled_from(["quern/a", "quern/b", "quern/c", "quern/clock", "quern/gateway/status", TOPIC])
LEAVES = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=40)
DOCUMENTS = st.recursive(
    LEAVES,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from("v t n b x".split()), inner),
    max_leaves=12,
)
NEAR = st.sampled_from(
    [b"17.2", b'{"v":17.2,"t":1760000000}', b'{"v":1,"t":"2025-10-09T08:53:20Z","n":1,"b":3.2}']
)


def _check(topic: str, payload: bytes, retained: bool, trusted: bool) -> None:
    found = decode(BOOK, topic, payload, retained, AT_MS, trusted)
    expected = {"quern/c": 2, "quern/clock": 0, "quern/gateway/status": 0}.get(
        topic, 0 if BOOK.own(topic) else 1
    )
    assert len(found) == expected
    for one in found:
        if isinstance(one, Reading):
            assert abs(one.value) < float("inf")
            assert 1_000_080_000_000 <= one.measured_at_ms < 253_402_300_800_000
            assert one.sequence is None or 0 <= one.sequence < 2**63
        else:
            assert one.reason in Reason
            assert one.detail
            assert len(one.payload) <= 256
            assert len(one.detail) <= 300


@given(st.text() | TOPICS, st.binary(max_size=300), st.booleans(), st.booleans())
def test_any_bytes_on_any_topic(topic: str, payload: bytes, retained: bool, trusted: bool) -> None:
    _check(topic, payload, retained, trusted)


@given(TOPICS, DOCUMENTS, st.booleans(), st.booleans())
def test_any_document(topic: str, document: Any, retained: bool, trusted: bool) -> None:
    _check(topic, json.dumps(document).encode(), retained, trusted)


@given(TOPICS, NEAR, st.integers(0, 60), st.binary(max_size=3), st.booleans())
def test_almost_good_bytes(topic: str, payload: bytes, at: int, put: bytes, retained: bool) -> None:
    _check(topic, payload[:at] + put + payload[at + 1 :], retained, True)
