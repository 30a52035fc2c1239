"""Beside the journal: refusals kept and counted, totals, messages taken before. All of it is bounded."""

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gateway.core.reading import Reason, Rejected
from gateway.edges.sqlite import Reader, Writer
from gateway.edges.sqlite.beside import OTHER_TOPICS, PAYLOAD_KEPT, REJECTED_KEPT, TEXT_KEPT, TOPICS_COUNTED
from gateway.ports import RejectedCount, RejectedLine
from tests.contracts.store import reader_of, undone, writer_of


@pytest.fixture
def writer(tmp_path: Path) -> Iterator[Writer]:
    made = writer_of(tmp_path)
    yield made
    made.close()


@pytest.fixture
def reader(writer: Writer, tmp_path: Path) -> Iterator[Reader]:
    made = reader_of(tmp_path)
    yield made
    made.close()


def _refuse(writer: Writer, at_ms: int, *rejected: Rejected) -> None:
    with writer.atomic():
        writer.keep_rejected(at_ms, rejected)


def _topic(name: str, payload: bytes = b"?") -> Rejected:
    return Rejected(name, payload, Reason.UNKNOWN_TOPIC, "expected a topic of a probe")


def test_a_refusal_is_kept_as_it_was_and_counted(writer: Writer, reader: Reader) -> None:
    known = Rejected("qh/bed-c/mid", b"\x00\xffwarm", Reason.NOT_A_NUMBER, "expected a number", "bed-c/mid")
    _refuse(writer, 5, known, known, _topic("qh/attic"))
    _refuse(writer, 6, known)

    assert reader.rejected(2) == [RejectedLine(6, known), RejectedLine(5, _topic("qh/attic"))]
    assert reader.rejected_counts() == [
        RejectedCount("bed-c/mid", None, "not_a_number", 3, 5, 6),
        RejectedCount(None, "qh/attic", "unknown_topic", 1, 5, 5),
    ]


def test_only_the_newest_are_kept_but_all_are_counted(writer: Writer, reader: Reader) -> None:
    one = _topic("qh/attic")
    _refuse(writer, 1, *[one] * (REJECTED_KEPT - 1), _topic("qh/last"))
    assert len(reader.rejected(REJECTED_KEPT + 9)) == REJECTED_KEPT
    _refuse(writer, 2, *[one] * 7)
    _refuse(writer, 3, *[_topic("qh/flood")] * (REJECTED_KEPT + 5))

    kept = reader.rejected(REJECTED_KEPT + 9)
    assert (len(kept), {line.rejected.topic for line in kept}) == (REJECTED_KEPT, {"qh/flood"})
    counted = {line.topic: line.times for line in reader.rejected_counts()}
    assert counted == {"qh/attic": REJECTED_KEPT + 6, "qh/last": 1, "qh/flood": REJECTED_KEPT + 5}


def test_what_is_kept_of_one_is_bounded(writer: Writer, reader: Reader) -> None:
    long = Rejected("t" * 65_535, b"p" * 70_000, Reason.TOO_LONG, "d" * 9_999, "p" * 9_999)
    _refuse(writer, 1, long)

    [line] = reader.rejected(1)
    kept = line.rejected
    assert (len(kept.topic), len(kept.payload), len(kept.detail)) == (TEXT_KEPT, PAYLOAD_KEPT, TEXT_KEPT)
    assert kept.payload == b"p" * PAYLOAD_KEPT


def test_topics_beyond_the_limit_are_counted_together(writer: Writer, reader: Reader) -> None:
    """Somebody who makes up topics cannot fill the disk; topics already known go on being told apart."""
    _refuse(writer, 1, *[_topic(f"qh/{k}") for k in range(TOPICS_COUNTED + 50)])
    _refuse(writer, 2, *[_topic(f"made/up/{k}") for k in range(70)], _topic("qh/0"))

    counted = {line.topic: line.times for line in reader.rejected_counts()}
    assert len(counted) == TOPICS_COUNTED + 1
    assert counted[OTHER_TOPICS] == 120
    assert (counted["qh/0"], counted["qh/4999"]) == (2, 1)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(
        st.builds(
            Rejected,
            st.text(st.characters(), max_size=20),
            st.binary(max_size=300),
            st.sampled_from(Reason),
            st.text(st.characters(), max_size=20),
            st.none() | st.text(st.characters(), max_size=5),
        ),
        max_size=20,
    )
)
def test_whatever_comes_is_kept_and_counted(writer: Writer, reader: Reader, rejected: list[Rejected]) -> None:
    """Half characters, NUL, nothing at all: the store takes it, and the counts grow by as many."""
    before = Counter({line.reason: 0 for line in reader.rejected_counts()})
    for line in reader.rejected_counts():
        before[line.reason] += line.times
    _refuse(writer, 1, *rejected)
    after = Counter({line.reason: 0 for line in reader.rejected_counts()})
    for line in reader.rejected_counts():
        after[line.reason] += line.times

    assert after - before == Counter(one.reason.value for one in rejected)
    kept = reader.rejected(len(rejected))
    assert [line.rejected.payload for line in reversed(kept)] == [one.payload[:256] for one in rejected]


def test_totals_add_up(writer: Writer, reader: Reader) -> None:
    for _ in range(3):
        with writer.atomic():
            writer.note_counts(received=500, duplicates=1)
            writer.note_counts(received=1)
    with writer.atomic():
        writer.note_counts()

    assert reader.counts() == {"duplicates": 3, "received": 1503}


def test_a_message_taken_before_is_known_while_it_is_among_the_newest(writer: Writer) -> None:
    def seen(name: bytes, keep: int = 3) -> bool:
        with writer.atomic():
            return writer.remember_delivery(name, keep)

    assert [seen(name) for name in (b"a", b"b", b"a", b"c", b"a")] == [False, False, True, False, True]
    assert [seen(b"d"), seen(b"a"), seen(b"b")] == [False, False, False]
    assert [seen(b"b"), seen(b"a"), seen(b"d")] == [True, True, True]


def test_a_message_is_not_remembered_by_a_transaction_that_failed(writer: Writer) -> None:
    with undone(writer):
        writer.remember_delivery(b"a", 3)
    with writer.atomic():
        assert writer.remember_delivery(b"a", 3) is False
