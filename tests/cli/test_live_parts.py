"""Parts of the daemon by themselves: requests from other threads, and the clock that was asked for."""

import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from gateway.core.inputs import Event, Turned
from gateway.edges.clock import ScaledClock, TopicClock, WallClock
from gateway.errors import NoAnswer, SettingsFault, StoreFull
from gateway.live.clock import ClockChoice
from gateway.live.requests import Requests

SOON_S = 20.0


def _none() -> None:
    return


class Committed:
    """Numbers events in the order they are committed."""

    def __init__(self) -> None:
        self.events: list[Event] = []

    def __call__(self, event: Event) -> int:
        self.events.append(event)
        return len(self.events)


def test_requests_of_many_threads_are_each_committed_once_and_told_their_number() -> None:
    woken = threading.Event()
    requests, committed, done = Requests(woken.set), Committed(), threading.Event()

    def writer() -> None:
        while not done.is_set():
            woken.wait(0.01)
            woken.clear()
            requests.serve(committed)

    thread = threading.Thread(target=writer)
    thread.start()
    beds = [f"bed-{i}" for i in range(200)]
    with ThreadPoolExecutor(20) as pool:
        numbers = list(pool.map(lambda bed: requests.record(Turned(bed), SOON_S), beds))
    done.set()
    thread.join(SOON_S)
    assert sorted(numbers) == list(range(1, 201))
    assert {bed: committed.events[n - 1] for bed, n in zip(beds, numbers, strict=True)} == {
        bed: Turned(bed) for bed in beds
    }


def test_a_request_nobody_serves_is_taken_back() -> None:
    requests, committed = Requests(_none), Committed()
    with pytest.raises(NoAnswer, match="it was not kept"):
        requests.record(Turned("bed-a"), within_s=0.05)
    requests.serve(committed)
    assert committed.events == [], "what was told as not kept is not kept later"


def test_what_the_store_says_reaches_the_asker_and_not_the_writer() -> None:
    requests = Requests(_none)

    def full(event: Event) -> int:
        raise StoreFull("no room")

    with ThreadPoolExecutor(1) as pool:
        waiting = pool.submit(requests.record, Turned("bed-a"), SOON_S)
        while not waiting.done():
            requests.serve(full)
        with pytest.raises(StoreFull, match="no room"):
            waiting.result(SOON_S)


def test_any_other_fault_is_the_writers_too() -> None:
    requests = Requests(_none)

    def broken(event: Event) -> int:
        raise RuntimeError("bug")

    def serve_until_it_fails() -> None:
        while True:
            requests.serve(broken)

    with ThreadPoolExecutor(1) as pool:
        waiting = pool.submit(requests.record, Turned("bed-a"), SOON_S)
        with pytest.raises(RuntimeError, match="bug"):
            serve_until_it_fails()
        with pytest.raises(NoAnswer, match="bug"):
            waiting.result(SOON_S)


def test_nothing_is_taken_after_closing() -> None:
    requests = Requests(_none)
    requests.close()
    with pytest.raises(NoAnswer, match="stopping"):
        requests.record(Turned("bed-a"), within_s=0.05)


def test_the_clock_asked_for_is_the_clock_made() -> None:
    wall, set_wall = ClockChoice.of("wall", None, None, None, always_trusted=True).make(None)
    assert isinstance(wall, WallClock)
    assert (wall.trusted(), set_wall) == (True, None)
    scaled, _ = ClockChoice.of(
        "scaled", 60, "2024-11-05T00:00:00Z", "2024-11-04T00:00:00Z", always_trusted=False
    ).make(None)
    assert isinstance(scaled, ScaledClock)
    topic, set_topic = ClockChoice.of("topic", None, None, None, always_trusted=False).make(1_730_772_000_000)
    assert isinstance(topic, TopicClock)
    assert topic.wall_ms() == 1_730_772_000_000
    assert set_topic is not None
    assert set_topic(1_730_772_020_000, 10_000)
    assert topic.wall_ms() == 1_730_772_010_000


@pytest.mark.parametrize("speed", [-1.0, 0.0, 1e9, float("nan"), float("inf")])
def test_a_speed_that_is_none_is_refused(speed: float) -> None:
    with pytest.raises(SettingsFault, match="--speed"):
        ClockChoice.of("scaled", speed, "2024-11-05T00:00:00Z", "2024-11-05T00:00:00Z", always_trusted=False)
