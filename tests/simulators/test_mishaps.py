"""A bad link: what it does, that a seed repeats it, and that no other harm is done."""

import json
from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulators.mishaps import Link, Mishaps, Timed, read_mishaps, spoil

ALL = Mishaps(
    drop=0.05, double=0.05, delay=0.1, reorder=0.05, stuck=0.01, silence=0.005, garbage=0.02, delay_s=600.0
)


def stream(count: int = 600, topics: int = 3) -> list[Timed]:
    """Readings each minute on some topics."""
    return [
        Timed(60.0 * k, f"t/{topic}", json.dumps({"v": k / 10, "t": 60 * k, "n": k}).encode())
        for k in range(count)
        for topic in range(topics)
    ]


def test_a_good_link_changes_nothing() -> None:
    assert spoil(stream(), Mishaps(), 1) == (stream(), [])


def test_the_same_seed_does_the_same_and_another_does_not() -> None:
    assert spoil(stream(), ALL, 7) == spoil(stream(), ALL, 7)
    assert spoil(stream(), ALL, 7) != spoil(stream(), ALL, 8)


def test_every_kind_happens_and_is_told() -> None:
    _, faults = spoil(stream(), ALL, 7)
    assert {fault.kind for fault in faults} == {
        "drop",
        "double",
        "delay",
        "reorder",
        "stuck",
        "silence",
        "garbage",
    }


@pytest.mark.parametrize(("mishaps", "change"), [(Mishaps(drop=1.0), -1), (Mishaps(double=1.0), 1)])
def test_drop_and_double(mishaps: Mishaps, change: int) -> None:
    out, _ = spoil(stream(50), mishaps, 1)
    assert len(out) == 150 + change * 150


@given(st.integers(0, 10_000), st.floats(0, 1), st.floats(0, 1))
def test_delay_and_reorder_lose_nothing_and_come_out_in_the_order_of_time(
    seed: int, delay: float, reorder: float
) -> None:
    sent = stream(40)
    out, _ = spoil(sent, Mishaps(delay=delay, reorder=reorder), seed)
    assert Counter(message.payload + message.topic.encode() for message in out) == Counter(
        message.payload + message.topic.encode() for message in sent
    )
    assert [message.at_s for message in out] == sorted(message.at_s for message in out)


def test_reorder_puts_the_next_before() -> None:
    out, _ = spoil(stream(4, 1), Mishaps(reorder=1.0), 1)
    assert [json.loads(message.payload)["n"] for message in out] == [1, 0, 3, 2]


def test_stuck_repeats_the_value_under_a_new_time() -> None:
    out, faults = spoil(stream(10, 1), Mishaps(stuck=1.0, stuck_s=300.0), 1)
    said = [json.loads(message.payload) for message in out]
    assert [fault.at_s for fault in faults] == [0.0, 300.0]
    assert [one["v"] for one in said] == [0.0] * 5 + [0.5] * 5
    assert [one["t"] for one in said] == [60 * k for k in range(10)]


def test_silence_is_one_topics_and_ends() -> None:
    link = Link(Mishaps(silence=1.0, silence_s=300.0), 1)
    link.send(Timed(0.0, "a", b"1"))
    link.mishaps = Mishaps()
    for at_s in (60.0, 299.0, 300.0):
        link.send(Timed(at_s, "a", b"2"))
        link.send(Timed(at_s, "b", b"3"))
    assert [(message.at_s, message.topic) for message in link.drain()] == [
        (60.0, "b"),
        (299.0, "b"),
        (300.0, "a"),
        (300.0, "b"),
    ]


def test_a_link_gives_only_what_is_due() -> None:
    link = Link(Mishaps(delay=1.0, delay_s=100.0), 3)
    link.send(Timed(0.0, "a", b"1"))
    assert link.due(0.0) == []
    assert len(link.due(100.0)) == 1
    assert link.drain() == []


@pytest.mark.parametrize("text", ["drip=0.1", "drop=x", "drop=2", "drop=nan", "delay_s=-1"])
def test_what_cannot_be_read_is_named(text: str) -> None:
    with pytest.raises(ValueError, match=text.split("=", maxsplit=1)[0]):
        read_mishaps(text)


def test_mishaps_as_typed() -> None:
    assert read_mishaps("drop=0.02, delay=0.1,delay_s=600") == Mishaps(drop=0.02, delay=0.1, delay_s=600.0)
