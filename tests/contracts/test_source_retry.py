"""When to try again, in which version, who is a twin, and which conditions are told: by given times alone."""

import time

import pytest

from gateway.edges.mqtt.inbox import Inbox
from gateway.edges.mqtt.link import V5, V311
from gateway.edges.mqtt.retry import FIRST_S, LONGEST_S, End, Retry
from gateway.edges.mqtt.watch import Watch
from gateway.ports import Message
from tests.contracts.source import seeded

UNREACHED = End(0.0, None, reached=False)
SILENT = End(0.0, None)


def retry(protocol: str = "auto") -> Retry:
    """With the shortest waits."""
    return Retry(protocol, lambda: 0.0)


def test_the_waits_grow_to_a_minute_and_stay_there() -> None:
    one = retry()
    waits = [one.after(UNREACHED) for _ in range(9)]
    assert waits == [0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 30.0, 30.0, 30.0]


def test_the_jitter_spreads_a_wait_over_its_upper_half() -> None:
    drawn = Retry("5", seeded())
    waits = [drawn.after(UNREACHED) for _ in range(200)][10:]
    assert LONGEST_S / 2 <= min(waits) < 32 < 58 < max(waits) <= LONGEST_S
    assert len(set(waits)) > 100


def test_after_a_good_connection_the_first_wait_is_short_again() -> None:
    one = retry()
    for _ in range(5):
        one.after(UNREACHED)
    one.accepted()
    assert one.after(End(100.0, 90.0)) == FIRST_S / 2


def test_a_connection_that_ends_at_once_does_not_shorten_the_wait() -> None:
    one = retry()
    for _ in range(5):
        one.after(UNREACHED)
    assert one.after(End(100.0, 2.0)) == 16.0


@pytest.mark.parametrize(
    ("protocol", "end", "next_version"),
    [
        ("auto", SILENT, V311),
        ("auto", UNREACHED, V5),
        ("auto", End(0.0, None, refused=True), V5),
        ("auto", End(0.0, None, refused=True, unsupported=True), V311),
        ("5", SILENT, V5),
        ("5", End(0.0, None, refused=True, unsupported=True), V5),
        ("3.1.1", SILENT, V311),
    ],
)
def test_the_version_falls_back_only_where_that_may_help(
    protocol: str, end: End, next_version: object
) -> None:
    one = retry(protocol)
    one.after(end)
    assert one.version == next_version


def test_a_broker_silent_in_both_versions_is_tried_in_both() -> None:
    one = retry()
    tried = []
    for _ in range(4):
        tried.append(one.version)
        one.after(SILENT)
    assert tried == [V5, V311, V5, V311]


def test_a_version_that_was_accepted_is_not_given_up_for_a_broker_that_is_busy() -> None:
    one = retry()
    one.accepted()
    for _ in range(9):
        one.after(SILENT)
    assert one.version == V5
    one.after(SILENT)
    assert one.version == V311


def test_a_word_of_the_broker_or_three_short_connections_in_a_minute_tell_a_twin() -> None:
    told = retry()
    assert told.after(End(10.0, 5.0, taken_over=True)) == LONGEST_S
    assert told.twin

    short = retry()
    assert [short.after(End(at, 2.0)) and short.twin for at in (10.0, 20.0, 30.0)] == [False, False, True]
    slow = retry()
    assert [slow.after(End(at, 2.0)) and slow.twin for at in (10.0, 50.0, 90.0, 130.0)] == [False] * 4
    longer = retry()
    assert [longer.after(End(at, 20.0)) and longer.twin for at in (10.0, 30.0, 50.0)] == [False] * 3
    ours = retry()
    assert [ours.after(End(at, 2.0, by_us=True)) and ours.twin for at in (1.0, 2.0, 3.0)] == [False] * 3


def test_a_twin_is_forgotten_after_five_quiet_minutes() -> None:
    one = retry()
    one.after(End(10.0, 5.0, taken_over=True))
    assert not one.calm(299.0)
    assert one.calm(300.0)
    assert not one.twin
    assert not one.calm(301.0)


def test_no_connection_for_a_minute_is_a_condition_until_there_is_one() -> None:
    watch = Watch(100.0)
    watch.look(160.0, "refused")
    assert watch.changes() == []
    watch.look(160.1, "refused")
    watch.look(170.0, "refused")
    assert watch.changes() == [("broker", True, "no connection to the broker for 60 s: refused")]
    watch.ready(200.0)
    assert watch.changes() == [("broker", False, "connected again")]
    watch.away(300.0)
    watch.away(330.0)
    watch.look(355.0, "gone")
    watch.ready(356.0)
    watch.look(400.0, "")
    assert watch.changes() == []
    watch.away(400.0)
    watch.look(461.0, "gone")
    assert [name for name, _, _ in watch.changes()] == ["broker"]


def test_every_lost_session_is_told() -> None:
    watch = Watch(0.0)
    watch.session_lost()
    watch.session_lost()
    assert [(name, on) for name, on, _ in watch.changes()] == [("session", True)] * 2


def test_a_wake_before_the_wait_is_not_lost() -> None:
    inbox = Inbox(3, 1000)
    inbox.wake()
    began_s = time.monotonic()
    assert inbox.take(1, 30.0) == []
    assert time.monotonic() - began_s < 10


def test_the_inbox_keeps_to_its_bounds_and_its_order() -> None:
    inbox = Inbox(3, 1000)
    for mid in (1, 2):
        inbox.put(Message("t", b"", 1, mid, False, False, 1, 1))
    assert not inbox.full
    inbox.put(Message("t", b"", 1, 3, False, False, 1, 1))
    assert (inbox.full, inbox.half_empty, len(inbox)) == (True, False, 3)
    assert [m.mid for m in inbox.take(2, 0.0)] == [1, 2]
    assert (inbox.full, inbox.half_empty) == (False, True)
    inbox.put(Message("t", b"x" * 900, 1, 4, False, False, 1, 1))
    assert inbox.full
    assert [m.mid for m in inbox.take(9, 0.0)] == [3, 4]
    assert (inbox.size, len(inbox), inbox.take(9, 0.0)) == (0, 0, [])
