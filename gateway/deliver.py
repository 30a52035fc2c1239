"""The verb `deliver`: notices that are committed go to phones, and the outcome of each attempt is committed.

One thread plans, a few carry. A phone has one attempt under way at most, so a slow one holds up only itself.
What is under way when the power fails is sent again after the restart, under the same number: perhaps twice,
never not at all. All times here are real ones, in a scaled demonstration too.
"""

from __future__ import annotations

import logging
import queue
import threading
from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from gateway.core import links, outbox
from gateway.core.inputs import Delivery, Event
from gateway.errors import DeliveryFault, GatewayError
from gateway.ports import Clock, DueNotice, Messenger

log = logging.getLogger(__name__)

CARRIERS_MOST = 32
#: The outbox is looked into this often even if nobody says that it changed; also the beat of `moved_ms`.
LOOK_S = 5.0
RECORD_AGAIN_MS = 2000


class Job(NamedTuple):
    """One attempt; `outcome` is set once it was made (at `made_ms`) and only remains to be recorded."""

    notice: DueNotice
    outcome: Delivery | None = None
    made_ms: int = 0
    asked_s: float | None = None


class _Done(NamedTuple):
    """What a carrier gives back: the job with its outcome, and whether that is committed."""

    job: Job
    recorded: bool


def linker(public_url: str | None, key: bytes, clock: Clock) -> Callable[[DueNotice], str | None]:
    """The answer link of a notice, good for a day of real time; None for what nobody can answer."""

    def link(notice: DueNotice) -> str | None:
        if not public_url or notice.alarm is None or notice.kind not in ("call", "repeat"):
            return None
        until_ms = clock.wall_ms() + links.DAY_MS
        what = links.Link(notice.alarm, notice.occurrence or 0, notice.person, until_ms)
        try:
            return links.answer_url(public_url, links.make_token(key, what))
        except ValueError as fault:
            log.warning("notice %d goes without an answer link: %s", notice.number, fault)
            return None

    return link


def _not_tried(notice: DueNotice, hold_s: float, now_ms: int) -> Job:
    """The outcome of a notice whose phone asked to be left alone."""
    detail = f"not tried: the phone asked to wait {hold_s:.0f} s more"
    return Job(notice, Delivery(notice.number, notice.phone, "failed", None, detail), now_ms, hold_s)


class Deliver:
    """Owns its threads. `due` is called by the planning thread only, `record` by any of them.

    `due` gives the committed notices that wait. `record` returns once the event is committed, or raises
    GatewayError. `clock` is the real one. `jitter` draws from 0 to 1.
    """

    def __init__(
        self,
        messengers: Mapping[str, Messenger],
        *,
        due: Callable[[], Sequence[DueNotice]],
        record: Callable[[Event], int],
        link: Callable[[DueNotice], str | None],
        clock: Clock,
        jitter: Callable[[], float],
    ) -> None:
        self._messengers, self._due, self._record = dict(messengers), due, record
        self._link, self._clock, self._jitter = link, clock, jitter
        self._plan = outbox.Plan()
        self._busy: set[str] = set()
        self._unrecorded: dict[str, tuple[int, Job]] = {}
        self._finished: set[int] = set()
        self._gone: set[str] = set()
        self._jobs: queue.SimpleQueue[Job | None] = queue.SimpleQueue()
        self._done: queue.SimpleQueue[_Done] = queue.SimpleQueue()
        self._wake = threading.Event()
        self._stopping = threading.Event()
        self._threads: list[threading.Thread] = []
        self.moved_ms = clock.mono_ms()  #: when the planning thread last came round, for the watchdog
        self.sent = 0  #: attempts given out since the start

    def start(self) -> None:
        """Begin with whatever is due."""
        carriers = min(max(len(self._messengers), 1), CARRIERS_MOST)
        makers = [("deliver", self._run), *((f"deliver-{i}", self._carry) for i in range(carriers))]
        self._threads = [threading.Thread(target=f, name=name, daemon=True) for name, f in makers]
        for thread in self._threads:
            thread.start()

    def go_by(self, messengers: Mapping[str, Messenger]) -> None:
        """From now on these are the ways to phones; one that was gone may be found again. Any thread."""
        self._messengers, self._gone = dict(messengers), set()

    def nudge(self) -> None:
        """The outbox changed: look now. Cheap; call it after each commit that kept a notice or an outcome."""
        self._wake.set()

    def stop(self, within_s: float) -> bool:
        """Begin nothing new; whether all threads ended within this many seconds of real time."""
        self._stopping.set()
        self._wake.set()
        for _ in self._threads:
            self._jobs.put(None)
        until_ms = self._clock.mono_ms() + within_s * 1000
        for thread in self._threads:
            thread.join(max(0.0, (until_ms - self._clock.mono_ms()) / 1000))
        return not any(thread.is_alive() for thread in self._threads)

    def _run(self) -> None:
        while not self._stopping.is_set():
            self._wake.clear()
            next_ms = None
            try:
                next_ms = self._turn()
                self.moved_ms = self._clock.mono_ms()
            except GatewayError as fault:
                log.warning("the outbox cannot be read, trying again: %s", fault)
            except Exception:
                # Notices must not stop for good; if it goes on, the standing heartbeat tells the watchdog.
                log.exception("the outbox: a fault of the gateway's own, trying again")
            wait_s = LOOK_S if next_ms is None else (next_ms - self._clock.mono_ms()) / 1000
            self._wake.wait(min(max(wait_s, 0.0), LOOK_S))

    def _turn(self) -> int | None:
        """Take what came back, give out what may go; when the next may."""
        # Outcomes first: their commits are then in what `due` reads, and nothing delivered is sent again.
        while not self._done.empty():
            self._take(self._done.get())
        due = self._due()
        numbers = {notice.number for notice in due}
        self._plan.keep_only(numbers)
        self._finished &= numbers
        waiting = [notice for notice in due if notice.number not in self._finished]
        now_ms = self._clock.mono_ms()
        for phone, (from_ms, job) in list(self._unrecorded.items()):
            if from_ms <= now_ms:
                del self._unrecorded[phone]
                self._jobs.put(job)
        for notice, hold_s in self._plan.held(waiting, self._busy, now_ms):
            self._give(_not_tried(notice, hold_s, now_ms))
        for notice in self._plan.ready(waiting, self._busy, now_ms):
            self.sent += 1
            self._give(Job(notice))
        again = [from_ms for from_ms, _ in self._unrecorded.values()]
        next_ms = self._plan.next_ms(waiting, self._busy)
        return min([*again, *([] if next_ms is None else [next_ms])], default=None)

    def _give(self, job: Job) -> None:
        self._busy.add(job.notice.phone)
        self._jobs.put(job)

    def _take(self, done: _Done) -> None:
        job = done.job
        notice, outcome = job.notice, job.outcome
        if outcome is None or not done.recorded:
            self._unrecorded[notice.phone] = (self._clock.mono_ms() + RECORD_AGAIN_MS, job)
            return
        self._busy.discard(notice.phone)
        if outcome.outcome == "failed":
            wait_s = outbox.wait_s(notice.attempts + 1, job.asked_s, self._jitter())
            self._plan.failed(notice, job.made_ms, wait_s, job.asked_s or 0.0)
            return
        self._finished.add(notice.number)
        if outcome.outcome == "gone":
            self._gone.add(notice.phone)

    def _carry(self) -> None:
        while (job := self._jobs.get()) is not None and not self._stopping.is_set():
            made = job if job.outcome else self._attempt(job.notice)
            self._done.put(_Done(made, self._recorded(made)))
            self._wake.set()

    def _attempt(self, notice: DueNotice) -> Job:
        """Send it once; never raises."""
        number, phone = notice.number, notice.phone
        try:
            status = self._way(phone).send(phone, notice, self._link(notice))
        except DeliveryFault as fault:
            outcome = "gone" if fault.gone else "failed"
            log.warning("notice %d to %s %s: %s", number, phone, outcome, fault)
            said = Delivery(number, phone, outcome, fault.status, str(fault))
            return Job(notice, said, self._clock.mono_ms(), fault.retry_after_s)
        except Exception as fault:
            # Whatever it was, the carrier must live: the next call needs it.
            log.exception("notice %d to %s: a fault of the gateway's own", number, phone)
            said = Delivery(number, phone, "failed", None, f"fault of the gateway: {type(fault).__name__}")
            return Job(notice, said, self._clock.mono_ms())
        log.info("notice %d to %s delivered, status %d", number, phone, status)
        return Job(notice, Delivery(number, phone, "delivered", status), self._clock.mono_ms())

    def _way(self, phone: str) -> Messenger:
        if phone not in self._messengers:
            raise DeliveryFault("the site file knows no such phone", gone=True)
        if phone in self._gone:
            raise DeliveryFault("its address said before that it is gone for good", status=410, gone=True)
        return self._messengers[phone]

    def _recorded(self, job: Job) -> bool:
        if job.outcome is None:
            return False
        try:
            self._record(job.outcome)
        except GatewayError as fault:
            log.warning("outcome of notice %d not committed, trying again: %s", job.notice.number, fault)
            return False
        except Exception:
            log.exception("outcome of notice %d: a fault of the gateway's own", job.notice.number)
            return False
        return True
