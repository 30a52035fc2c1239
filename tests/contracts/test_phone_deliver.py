"""From the committed outbox to phones and back: real store, real HTTP, and a clock that moves when told."""

import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from gateway.core import links
from gateway.core.effects import AlarmChange, Change, Notice
from gateway.core.inputs import Event
from gateway.deliver import LOOK_S, Deliver, linker
from gateway.edges.clock import real_mono_ms, real_wall_ms
from gateway.edges.phone import Webhook
from gateway.errors import StoreFault
from gateway.ports import DueNotice, NoticeLine
from simulators.phone import Phone, Received, Reply
from tests.contracts.kept import WITHIN_S, Kept

SECRET = b"0123456789abcdefghijklmnop"
KEY = b"k" * 32


class TestClock:
    """Real time of day; the time that only grows stands until it is moved."""

    __test__ = False

    def __init__(self) -> None:
        self.now_ms = 1_000_000

    def wall_ms(self) -> int:
        """Unix ms."""
        return real_wall_ms()

    def mono_ms(self) -> int:
        """As set."""
        return self.now_ms

    def trusted(self) -> bool:
        """Always."""
        return True


class House(Kept):
    """A store, two phones, and whatever delivers between them."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.clock = TestClock()
        self.ada, self.ben = Phone(secret=SECRET).start(), Phone(secret=SECRET).start()
        self.faults: list[Exception] = []
        self.made = 0
        self.delivers: list[Deliver] = []
        self.deliver = self.new()

    def new(self) -> Deliver:
        """A deliverer as the gateway has it at its start; nothing is left of an earlier one."""
        phones = (("ada-1", self.ada), ("ben-1", self.ben))
        self.deliver = Deliver(
            {name: Webhook(phone.url, SECRET, self.clock) for name, phone in phones},
            due=self.due,
            record=self.record,
            link=linker("http://gate.example", KEY, self.clock),
            clock=self.clock,
            jitter=lambda: 0.0,
        )
        self.delivers.append(self.deliver)
        return self.deliver

    def due(self) -> list[DueNotice]:
        """What is committed and waits."""
        return self.reader.due_notices()

    def record(self, event: Event) -> int:
        """Commit one event, unless a fault was laid out."""
        with self.turn:
            if self.faults:
                raise self.faults.pop(0)
            return super().record(event)

    def keep(self, *effects: Notice | AlarmChange) -> None:
        """Commit effects, as the judge does, and say so."""
        self.save(*effects)
        self.deliver.nudge()

    def note(self, number: int, phone: str = "ada-1", alarm: int | None = 101) -> Notice:
        """A call to a phone."""
        self.made += 1
        person = phone.partition("-")[0]
        text = f"TEST {number}"
        return Notice(
            (1, self.made), number, alarm, 1, person, phone, "call", "high", "bed-c", text, text, False, 5
        )

    def line(self, number: int) -> NoticeLine:
        """What the store says of a notice."""
        with self.turn:
            [found] = [one for one in self.reader.notices(100) if one.notice.number == number]
            return found

    def tried(self, number: int, outcomes: list[str]) -> None:
        """Wait until these attempts of a notice are committed, and these only."""
        self.until(lambda: [one.outcome for one in self.line(number).attempts] == outcomes)

    def move(self, by_s: float) -> None:
        """Let time pass and the planner come round with it."""
        self.clock.now_ms += round(by_s * 1000)
        end = time.monotonic() + WITHIN_S
        pause = threading.Event()
        while self.deliver.moved_ms != self.clock.now_ms:
            assert time.monotonic() < end, "the planner does not come round"
            self.deliver.nudge()
            pause.wait(0.005)

    def close(self) -> None:
        """Put all away."""
        self.ada.stop()
        self.ben.stop()
        assert all(one.stop(WITHIN_S) for one in (*self.delivers, self.deliver))
        super().close()


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    """Closed at the end; its stand-ins' late replies end with it."""
    it = House(tmp_path)
    yield it
    it.close()


def got(phone: Phone) -> Received:
    """The next message a phone took."""
    return phone.received.get(timeout=WITHIN_S)


def test_what_was_committed_before_the_start_is_delivered_once_and_noted(house: House) -> None:
    house.keep(house.note(1), house.note(2, "ben-1"))
    house.deliver.start()
    assert (got(house.ada).id, got(house.ben).id) == ("1", "2")
    house.tried(1, ["delivered"])
    house.tried(2, ["delivered"])
    assert house.line(1).delivered_at_ms == 1_793_588_000_000
    assert [one.status for one in house.line(1).attempts] == [204]
    house.move(3600)
    assert house.deliver.sent == 2


def test_a_slow_phone_holds_up_nobody_else(house: House) -> None:
    house.ada.usual = Reply(delay_s=600.0)
    house.deliver.start()
    house.keep(house.note(1), house.note(2, "ben-1"))
    assert got(house.ada).id == "1"
    house.tried(2, ["delivered"])
    house.keep(house.note(3, alarm=102), house.note(4, "ben-1", alarm=102))
    house.tried(4, ["delivered"])
    assert house.line(1).attempts == ()
    assert house.deliver.sent == 3, "the slow phone has one attempt under way"


def test_a_failing_phone_is_tried_again_at_the_planned_times(house: House) -> None:
    house.ada.usual = Reply(500)
    house.deliver.start()
    house.keep(house.note(1))
    wanted = ["failed"]
    house.tried(1, wanted)
    for wait_s in (5.0, 30.0, 120.0, 300.0, 600.0, 600.0):
        house.move(wait_s - 0.01)
        assert house.deliver.sent == len(wanted), f"not before {wait_s} s"
        house.move(0.01)
        wanted.append("failed")
        house.tried(1, wanted)
    house.ada.usual = Reply(204)
    house.move(600)
    house.tried(1, [*wanted, "delivered"])
    ids = {got(house.ada).id for _ in range(len(wanted) + 1)}
    assert ids == {"1"}
    assert "status 500" in house.line(1).attempts[0].detail


def test_a_phone_that_asks_to_wait_is_left_alone_and_newer_callers_are_told(house: House) -> None:
    house.ada.replies.append(Reply(503, headers=(("Retry-After", "100"),)))
    house.deliver.start()
    house.keep(house.note(1))
    house.tried(1, ["failed"])
    house.keep(house.note(2, alarm=102))
    house.tried(2, ["failed"])
    assert house.line(2).attempts[0].detail == "not tried: the phone asked to wait 100 s more"
    house.move(99.9)
    assert house.deliver.sent == 1
    house.move(0.2)
    house.tried(1, ["failed", "delivered"])
    house.tried(2, ["failed", "delivered"])


def test_a_phone_that_is_gone_gets_nothing_more_and_each_caller_is_told(house: House) -> None:
    house.ada.replies.append(Reply(410))
    house.deliver.start()
    house.keep(house.note(1))
    house.tried(1, ["gone"])
    house.keep(house.note(2, alarm=102))
    house.tried(2, ["gone"])
    got(house.ada)
    house.move(3600)
    assert house.ada.received.empty()
    assert house.due() == []


def test_a_phone_the_site_does_not_know_is_gone(house: House) -> None:
    house.deliver.start()
    house.keep(house.note(1, "cleo-1"))
    house.tried(1, ["gone"])
    assert "no such phone" in house.line(1).attempts[0].detail


def test_after_a_restart_it_begins_again_under_the_same_number(house: House) -> None:
    house.ada.replies.append(Reply(500))
    house.ada.replies.append(Reply(delay_s=600.0))
    house.deliver.start()
    house.keep(house.note(1))
    house.tried(1, ["failed"])
    house.move(5)
    first = [got(house.ada), got(house.ada)]
    assert not house.deliver.stop(0.05), "one attempt is under way and cannot be ended"
    house.new().start()
    assert [one.id for one in (*first, got(house.ada))] == ["1", "1", "1"]
    house.until(lambda: house.line(1).delivered_at_ms is not None)
    house.move(3600)
    assert house.deliver.sent == 1


def test_an_answered_alarm_is_no_longer_told(house: House) -> None:
    house.ada.usual = Reply(500)
    house.deliver.start()
    house.keep(house.note(1))
    house.tried(1, ["failed"])
    change = Change(5, "unacknowledged", "acknowledged", "answer", "ben")
    house.made += 1
    answered = AlarmChange(
        (1, house.made), 101, 1, "bed_hot", "bed-c", None, "high", "high", "acknowledged", 22.5, "Cel", 22.0,
        5, 5, None, False, "ben", None, change,
    )  # fmt: skip
    house.keep(answered)
    house.move(3600)
    house.move(3600)
    assert house.deliver.sent == 1


def test_an_outcome_that_could_not_be_committed_is_kept_and_not_sent_again(house: House) -> None:
    house.faults = [StoreFault("no room"), RuntimeError("a fault of ours")]
    house.deliver.start()
    house.keep(house.note(1))
    assert got(house.ada).id == "1"
    end = time.monotonic() + WITHIN_S
    while house.line(1).attempts == () and time.monotonic() < end:
        house.move(1)
    house.tried(1, ["delivered"])
    assert house.deliver.sent == 1
    assert house.ada.received.empty()


def test_the_beat_stands_while_the_outbox_cannot_be_read_and_goes_on_after(house: House) -> None:
    tries, may = threading.Semaphore(0), threading.Event()

    def due() -> list[DueNotice]:
        tries.release()
        if not may.is_set():
            raise StoreFault("the file is away")
        return house.due()

    deliver = Deliver(
        {}, due=due, record=house.record, link=lambda _: None, clock=house.clock, jitter=lambda: 0.0
    )
    stood_ms = deliver.moved_ms
    house.clock.now_ms += 1000
    deliver.start()
    for _ in range(3):
        deliver.nudge()
        assert tries.acquire(timeout=LOOK_S * 2)
    assert deliver.moved_ms == stood_ms
    may.set()
    house.deliver = deliver
    house.move(1)


def test_a_planner_with_nothing_to_do_does_not_spin(house: House) -> None:
    looks: list[int] = []

    def due() -> list[DueNotice]:
        looks.append(1)
        return []

    deliver = Deliver(
        {},
        due=due,
        record=house.record,
        link=lambda _: None,
        clock=house.clock,
        jitter=lambda: 0.0,
    )
    deliver.start()
    began_ms = real_mono_ms()
    threading.Event().wait(0.3)
    assert deliver.stop(WITHIN_S)
    assert len(looks) <= 1 + (real_mono_ms() - began_ms) / 1000 / LOOK_S


def test_links_are_for_calls_that_can_be_answered(house: House) -> None:
    link = linker("http://gate.example/", KEY, house.clock)
    due = DueNotice(1, 412, 3, "ben", "ben-1", "call", "high", None, "t", "t", False, 5, 0)
    url = link(due) or ""
    head, _, token = url.rpartition("/")
    assert head == "http://gate.example/a"
    read = links.verify_token(KEY, token, real_wall_ms())
    assert isinstance(read, links.Link)
    assert read[:3] == (412, 3, "ben")
    assert abs(read.until_ms - real_wall_ms() - links.DAY_MS) < 60_000
    assert link(due._replace(kind="repeat")) is not None
    for other in (due._replace(kind="over"), due._replace(kind="test"), due._replace(alarm=None)):
        assert link(other) is None
    assert link(due._replace(person="x" * 99)) is None, "better a call without a link than no call"
    assert linker(None, KEY, house.clock)(due) is None
