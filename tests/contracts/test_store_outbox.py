"""Effects are kept once per cause; alarms, notices, attempts and turns follow from them and deliveries."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from gateway.core.alarm import State, wants_answer
from gateway.core.effects import TICK_CAUSES_FROM, Effect, effect_to_plain
from gateway.core.inputs import Delivery
from gateway.edges.sqlite import Reader, Writer
from gateway.ports import AlarmLine, Attempt, Cursor, NoticeLine
from tests.contracts.store import (
    BEGAN_MS,
    alarm,
    deliver,
    due,
    notice,
    reader_of,
    save,
    turn,
    undone,
    writer_of,
)


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


def test_an_effect_is_kept_once_per_cause(writer: Writer, reader: Reader) -> None:
    """A judge that runs the same entries again after a crash changes nothing, not even a delivered notice."""
    batch: list[Effect] = [alarm((7, 0)), notice((7, 1), 1), turn((7, 2), 5)]
    save(writer, *batch)
    deliver(writer, 1, "delivered")
    before = (reader.alarms(True), reader.notices(9), reader.turns(), reader.effects())

    save(writer, *batch)

    assert (reader.alarms(True), reader.notices(9), reader.turns(), reader.effects()) == before
    assert reader.due_notices() == []
    assert reader.counts() == {}


def test_another_effect_for_a_kept_cause_changes_nothing_and_is_counted(
    writer: Writer, reader: Reader
) -> None:
    """It cannot happen within one version of the engine; where it does, it shows."""
    save(writer, notice((7, 1), 1))
    save(writer, notice((7, 1), 2), notice((7, 1), 1))

    assert [line.notice.number for line in reader.notices(9)] == [1]
    assert reader.counts() == {"effects_differing": 1}


def test_effects_come_in_the_order_of_their_causes(writer: Writer, reader: Reader) -> None:
    tick = TICK_CAUSES_FROM + BEGAN_MS
    batch: list[Effect] = [notice((tick, 0), 3), notice((9, 1), 2), alarm((9, 0)), turn((10, 0), 1)]
    save(writer, *batch)

    kept = reader.effects()
    assert [one.cause for one in kept] == [(9, 0), (9, 1), (10, 0), (tick, 0)]
    by_cause = {effect.cause: effect_to_plain(effect) for effect in batch}
    for one in kept:
        word, body = by_cause[one.cause]
        assert (one.kind, {**body, "cause": list(body["cause"])}) == (word, one.body)
    assert [one.cause for one in reader.effects(after=(9, 1))] == [(10, 0), (tick, 0)]
    assert [one.cause for one in reader.effects(after=(9, 0), most=1)] == [(9, 1)]


def test_an_alarm_stands_as_its_last_change_and_remembers_all(writer: Writer, reader: Reader) -> None:
    steps = [
        alarm((5, 0)),
        alarm((6, 1), state="acknowledged", was="unacknowledged", signal="answer"),
        alarm((7, 2), state="normal", was="acknowledged", signal="clear"),
    ]
    other = alarm((6, 0), number=102)
    save(writer, steps[0])
    save(writer, other, steps[1])
    assert reader.alarms(False) == [
        AlarmLine(steps[1], (steps[0].change, steps[1].change)),
        AlarmLine(other, (other.change,)),
    ]

    save(writer, steps[2])
    assert reader.alarms(False) == [AlarmLine(other, (other.change,))]
    assert reader.alarms(True)[0] == AlarmLine(steps[2], tuple(step.change for step in steps))
    assert [line.alarm.number for line in reader.alarms(True, most=1)] == [102]


def test_a_notice_waits_until_it_is_delivered(writer: Writer, reader: Reader) -> None:
    sent = notice((5, 1), 1)
    save(writer, sent)
    [waiting] = reader.due_notices()
    assert (waiting.number, waiting.text, waiting.phone) == (1, sent.text, "ada-1")
    assert (waiting.attempts, waiting.last_attempt_at_ms) == (0, None)

    deliver(writer, 1, "failed", at_ms=BEGAN_MS + 1)
    deliver(writer, 1, "failed", at_ms=BEGAN_MS + 2)
    [waiting] = reader.due_notices()
    assert (waiting.attempts, waiting.last_attempt_at_ms) == (2, BEGAN_MS + 2)

    deliver(writer, 1, "delivered", at_ms=BEGAN_MS + 3)
    deliver(writer, 1, "delivered", at_ms=BEGAN_MS + 9)
    assert reader.due_notices() == []
    attempts = (
        Attempt(BEGAN_MS + 1, "failed", 503, ""),
        Attempt(BEGAN_MS + 2, "failed", 503, ""),
        Attempt(BEGAN_MS + 3, "delivered", 200, ""),
        Attempt(BEGAN_MS + 9, "delivered", 200, ""),
    )
    assert reader.notices(9) == [NoticeLine(sent, attempts, BEGAN_MS + 3, None)]


def test_the_outcome_and_its_journal_entry_are_one(writer: Writer, reader: Reader) -> None:
    save(writer, notice((5, 1), 1))
    with undone(writer):
        writer.add_event(1, 1, Delivery(1, "ada-1", "delivered"))

    assert len(reader.due_notices()) == 1
    assert reader.entries_after(0, 9) == []


def test_a_newer_notice_takes_the_place_of_one_that_waits(writer: Writer, tmp_path: Path) -> None:
    """For the same alarm and phone; another phone, another alarm and a test call wait on."""
    save(
        writer, alarm((5, 0)), notice((5, 1), 1), notice((5, 2), 2, phone="ben-1"),
        notice((5, 3), 3, alarm=102), notice((5, 4), 4, alarm=None, kind="test"),
        notice((5, 5), 5, alarm=None, kind="test"), notice((6, 0), 6, kind="repeat"),
    )  # fmt: skip
    assert due(tmp_path) == [2, 3, 4, 5, 6]


def test_what_was_delivered_is_not_withdrawn_later(writer: Writer, reader: Reader) -> None:
    save(writer, notice((5, 1), 1))
    deliver(writer, 1, "delivered")
    save(writer, notice((6, 1), 2, kind="over"))

    assert [(line.notice.number, line.withdrawn) for line in reader.notices(9)] == [(2, None), (1, None)]


@pytest.mark.parametrize("state", State)
def test_calls_wait_only_while_the_alarm_wants_an_answer(
    writer: Writer, tmp_path: Path, state: State
) -> None:
    """Answered or over: calls and repeats are withdrawn; the end message and test calls are not."""
    save(
        writer, notice((5, 1), 1), notice((5, 2), 2, phone="ben-1", kind="repeat"),
        notice((5, 3), 3, phone="cleo-1", kind="over"), notice((5, 4), 4, alarm=None, kind="test"),
        notice((5, 5), 5, alarm=102),
    )  # fmt: skip
    save(writer, alarm((6, 0), state=state.value, was="unacknowledged", signal="any"))

    assert due(tmp_path) == ([1, 2, 3, 4, 5] if wants_answer(state) else [3, 4, 5])


def test_calls_of_an_alarm_put_aside_are_withdrawn(writer: Writer, tmp_path: Path) -> None:
    save(writer, notice((5, 1), 1), alarm((6, 0), signal="shelve", quiet_until_ms=BEGAN_MS + 3_600_000))
    assert due(tmp_path) == []

    save(writer, notice((7, 1), 2), alarm((8, 0), signal="unshelve", quiet_until_ms=BEGAN_MS - 1))
    assert due(tmp_path) == [2]


def test_the_order_of_effects_decides(writer: Writer, tmp_path: Path) -> None:
    """A call after the answer waits: the hold has ended and nothing has changed."""
    answered = alarm((5, 1), state="acknowledged", was="unacknowledged", signal="answer")
    again = alarm((6, 0), state="unacknowledged", was="acknowledged", signal="realarm")
    save(writer, notice((5, 0), 1), answered, again, notice((6, 1), 2, kind="repeat"))

    assert due(tmp_path) == [2]


def test_a_phone_that_is_gone_is_not_tried_again_and_its_other_calls_wait_to_fail_each(
    writer: Writer, reader: Reader
) -> None:
    save(writer, notice((5, 1), 1), notice((5, 2), 2, alarm=102), notice((5, 3), 3, phone="ben-1"))
    deliver(writer, 1, "gone")

    assert [one.number for one in reader.due_notices()] == [2, 3]
    assert [line.withdrawn for line in reader.notices(9)] == [None, None, "gone"]
    save(writer, notice((6, 0), 4))
    assert [one.number for one in reader.due_notices()] == [2, 3, 4], "a phone put right is tried again"
    assert reader.due_count() == 3


def test_the_outcome_of_an_unknown_notice_is_kept_in_the_journal(writer: Writer, reader: Reader) -> None:
    deliver(writer, 99, "failed")

    assert (len(reader.entries_after(0, 9)), reader.notices(9)) == (1, [])


def test_a_turn_stands_as_it_is_known_last(writer: Writer, reader: Reader) -> None:
    save(writer, turn((5, 0), 1), turn((5, 1), 2))
    corrected = turn((6, 0), 1, by="cleo", state="withdrawn")
    save(writer, corrected)

    assert reader.turns() == [corrected, turn((5, 1), 2)]
    assert reader.turns(most=1) == [turn((5, 1), 2)]


def test_effects_and_the_judges_place_are_one(writer: Writer, reader: Reader) -> None:
    save(writer, notice((1, 0), 1), n=1, snapshot=b"one")
    with undone(writer):
        writer.save_effects([alarm((2, 0)), notice((2, 1), 2)], Cursor(2, BEGAN_MS), b"two")

    assert reader.load_judge() == (Cursor(1, BEGAN_MS), b"one", Cursor(1, BEGAN_MS))
    assert ([one.cause for one in reader.effects()], reader.alarms(True)) == ([(1, 0)], [])
