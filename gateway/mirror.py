"""The verb `mirror`: what is committed goes to the site's time-series server, at that server's pace.

A page of the journal and of the effects is written, then the mirror's place moves; a gateway killed between
the two writes the same points again. The place stands on journal numbers and on the order in which effects
were kept, which both only grow; causes do not. Entries and effects are merged by time, oldest first.
Only the reading side of the store is read here; the place is kept by the writer (`keep`), which is asked and
waits for nothing. Times to wait are real ones.
"""

from __future__ import annotations

import logging
import threading
from collections import deque
from collections.abc import Callable, Sequence
from typing import NamedTuple

from gateway.core.inputs import Condition, Event
from gateway.core.points import Marks, Pen, effect_at_ms, line_at_ms
from gateway.errors import GatewayError, SeriesFault
from gateway.mirror_send import Job, Sender, Stopped
from gateway.ports import Aside, Clock, MirrorPlace, MirrorReader, MirrorState, OrderedEffect, Series

log = logging.getLogger(__name__)

#: Lines in one request; the advice of InfluxDB's "Optimize writes".
BATCH = 5000
#: With nothing left to write, the journal is looked into this often.
IDLE_S = 10.0
#: Between full pages of a backlog, as a share of the time the last one took: the rest is the judge's.
REST_SHARE = 1.0
#: Waits after failures; then the last one again and again, and a little more so that sites come apart (ours).
AWAY_S = (1.0, 2.0, 5.0, 10.0, 20.0, 40.0, 60.0)
REFUSED_S = 60.0
JITTER_SHARE = 0.2
#: A server that asks for more is tried after this all the same.
ASKED_MOST_S = 3600.0
#: So many lines are kept aside; then nothing moves until somebody has looked (ours).
ASIDE_MOST = 10_000
#: The place is kept this often though nothing was to be written.
SKIP_MS = 60_000
RATE_MS = 60_000

Keep = Callable[[MirrorState, Sequence[Aside], Sequence[int]], object]


class Page(NamedTuple):
    """Lines on their way, the place after them, and whether there is more behind."""

    job: Job
    place: MirrorPlace
    more: bool


class Mirror:
    """One thread runs it. `target` names the server; another one than last time is written to from the start
    (with `newest_days`, only what was then no older than that is).

    `keep` and `record` return once the writer has committed, or raise GatewayError. `clock` is the real one;
    `jitter` draws from 0 to 1.
    """

    def __init__(
        self,
        series: Series,
        target: str,
        reader: MirrorReader,
        *,
        keep: Keep,
        record: Callable[[Event], object],
        clock: Clock,
        jitter: Callable[[], float],
        every_s: float = IDLE_S,
        batch: int = BATCH,
        alarm_after_s: float = 3600.0,
        newest_days: float | None = None,
    ) -> None:
        self._target, self._reader = target, reader
        self._keep_in_store, self._record, self._clock, self._jitter = keep, record, clock, jitter
        self._every_s, self._batch, self._alarm_after_ms = every_s, batch, round(alarm_after_s * 1000)
        self._newest_ms = None if newest_days is None else round(newest_days * 86_400_000)
        self._stop = threading.Event()
        self._sender = Sender(series, batch, self._stop.is_set)
        self._state: MirrorState | None = None
        self._pen: Pen | None = None
        self._page: Page | None = None
        self._again: tuple[Job, list[int]] | None = None
        self._kept_place = MirrorPlace()
        self._kept_ms = self._trouble_ms = 0
        self._fails = self._taken = 0
        self._said = ""
        self._rates: deque[tuple[int, int]] = deque()
        self.moved_ms = clock.mono_ms()  #: when the mirror last came round, for whoever watches it

    def run(self, stop: threading.Event) -> None:
        """Mirror until told to stop."""
        self._stop = stop
        self._sender.stopping = stop.is_set
        while not stop.is_set():
            stop.wait(self.turn())

    def turn(self) -> float:
        """Write what there is, one page at most; seconds until the next turn. Never raises."""
        began_ms = self.moved_ms = self._clock.mono_ms()
        try:
            more = self._once()
        except Stopped:
            return 0.0
        except SeriesFault as fault:
            return self._wait_s(fault)
        except GatewayError as fault:
            log.warning("the mirror waits for the store: %s", fault)
            return IDLE_S
        except Exception:
            # The server must go on being fed; what is wrong is in the log, and the lag shows.
            log.exception("the mirror: a fault of the gateway's own, trying again")
            return REFUSED_S
        took_s = (self._clock.mono_ms() - began_ms) / 1000
        return took_s * REST_SHARE if more else self._every_s

    def _once(self) -> bool:
        """Write a page and what is to be sent again; whether there is more."""
        try:
            more = self._forward()
            self._resend()
        except SeriesFault as fault:
            if self._stop.is_set():
                raise Stopped from fault
            self._trouble(fault)
            raise
        return more

    # forward -----------------------------------------------------------------------------------------

    def _forward(self) -> bool:
        """Write the next page and move on; whether there is more behind it."""
        state = self._begun()
        page = self._page = self._page or self._next_page(state.place)
        if not page.job.count:
            self._skip(state, page)
            return page.more
        self._sender.send(page.job)
        # A page that had to wait was made a while ago.
        more = page.more or self._fails > 0
        self._written(state._replace(place=page.place), page.job, ())
        self._page = None
        return more

    def _begun(self) -> MirrorState:
        """The state, from the store the first time."""
        if self._state is None:
            state = self._reader.mirror()
            if state is None or state.target != self._target:
                gone = [one.number for one in self._reader.aside(2 * ASIDE_MOST)]
                alarm = state is not None and state.alarm
                state = MirrorState(self._target, alarm=alarm)
                self._keep_in_store(state, (), gone)
            self._state, self._kept_place, self._kept_ms = state, state.place, self._clock.mono_ms()
        return self._state

    def _next_page(self, place: MirrorPlace) -> Page:
        """The next lines, oldest first: entries, and effects no younger than the last of them."""
        reader, most = self._reader, self._batch
        with reader.snapshot():
            if self._pen is None:
                marks = Marks(place.event_ms, place.alarm_ms, place.turn_ms)
                self._pen = Pen(reader.get_meta("site") or "", reader.site_at(place.n), marks)
            entries = reader.entries_after(place.n, most)
            effects = reader.effects_in_order(place.effect, most)
            from_ms = 0 if self._newest_ms is None else reader.last_stamp()[1] - self._newest_ms
        pen, more = self._pen, len(entries) == most or len(effects) == most
        lines: list[str] = []
        waiting = deque(effects)
        for entry in entries:
            while waiting and _at_ms(waiting[0]) < entry.at_ms:
                _add(lines, _effect(pen, waiting.popleft()))
            _add(lines, pen.entry(entry))
        if len(entries) < most:
            for one in waiting:
                _add(lines, _effect(pen, one))
            waiting.clear()
        n = entries[-1].n if entries else place.n
        done = len(effects) - len(waiting)
        order = effects[done - 1].order if done else place.effect
        if from_ms > 0:
            lines = [line for line in lines if line_at_ms(line) >= from_ms]
        return Page(Job(lines), MirrorPlace(n, order, *pen.marks), more)

    def _skip(self, state: MirrorState, page: Page) -> None:
        """Nothing of the page is mirrored: move on, and keep that now and then."""
        self._state = state = state._replace(place=page.place)
        self._page = None
        if page.place != self._kept_place and self._clock.mono_ms() - self._kept_ms >= SKIP_MS:
            self._keep(state)

    def _resend(self) -> None:
        """Lines somebody asked to be sent again; those refused again stay, with the new reason."""
        if self._again is None:
            aside = self._reader.aside(self._batch, again=True)
            if not aside:
                return
            self._again = Job([one.line for one in aside], known_bad=True), [one.number for one in aside]
        job, numbers = self._again
        self._sender.send(job)
        self._written(self._begun(), job, numbers)
        self._again = None

    def _written(self, state: MirrorState, job: Job, gone: Sequence[int]) -> None:
        """The server has answered for all of it: keep that, and say so if it was in trouble before."""
        refused, count = job.refused, job.count - len(job.refused)
        if refused and self._reader.count_aside() - len(gone) + len(refused) > ASIDE_MOST:
            raise SeriesFault("refused", f"more than {ASIDE_MOST} lines are kept aside; look at them first")
        if state.alarm:
            self._record(Condition("mirror", False, "the server takes what is written again"))
        at_ms = self._clock.wall_ms()
        if self._fails:
            log.info("the time-series server takes what is written again")
        state = state._replace(
            written=state.written + count, rate_per_s=self._rate(count), written_at_ms=at_ms, alarm=False
        )
        for one in refused:
            log.warning("a line is kept aside (%s): %s", one.reason, one.line)
        self._keep(state, [Aside(at_ms, one.line, one.reason) for one in refused], gone)
        self._fails = self._trouble_ms = 0
        self._said = ""

    def _keep(self, state: MirrorState, aside: Sequence[Aside] = (), gone: Sequence[int] = ()) -> None:
        self._keep_in_store(state, aside, gone)
        self._state, self._kept_place, self._kept_ms = state, state.place, self._clock.mono_ms()

    def _rate(self, count: int) -> float:
        """Lines a second over the last minute."""
        now_ms = self._clock.mono_ms()
        self._rates.append((now_ms, count))
        while self._rates[0][0] < now_ms - RATE_MS:
            self._rates.popleft()
        # The first one's lines were written before the span began.
        span_ms = now_ms - self._rates[0][0]
        lines = sum(n for _, n in self._rates) - self._rates[0][1]
        return round(lines / span_ms * 1000, 1) if span_ms else 0.0

    # trouble -----------------------------------------------------------------------------------------

    def _trouble(self, fault: SeriesFault) -> None:
        """Note it, and raise the alarm where it is due."""
        now_ms = self._clock.mono_ms()
        if self._sender.taken != self._taken:
            # It took something since the last failure: a bad link, not a lost server.
            self._taken, self._fails, self._trouble_ms = self._sender.taken, 0, 0
        self._trouble_ms = self._trouble_ms or now_ms
        self._fails += 1
        self._tell(fault, fault.kind == "refused" or now_ms - self._trouble_ms >= self._alarm_after_ms)

    def _wait_s(self, fault: SeriesFault) -> float:
        step_s = REFUSED_S if fault.kind == "refused" else AWAY_S[min(self._fails, len(AWAY_S)) - 1]
        asked_s = min(fault.retry_after_s or 0.0, ASKED_MOST_S)
        return max(step_s * (1 + JITTER_SHARE * self._jitter()), asked_s)

    def _tell(self, fault: SeriesFault, due: bool) -> None:
        """Into the log and the store, but not the same again each minute."""
        state = self._state
        if state is None:
            return
        raising = due and not state.alarm
        if str(fault) == self._said and not raising:
            return
        log.warning("the time-series server does not take what is written: %s", fault)
        if raising:
            self._record(Condition("mirror", True, str(fault)))
        self._said = str(fault)
        error = state._replace(
            error=str(fault), error_at_ms=self._clock.wall_ms(), alarm=state.alarm or raising
        )
        self._keep(error)


def stand_down(reader: MirrorReader, keep: Keep, record: Callable[[Event], object]) -> None:
    """For a site file that names no server any more: the alarm of the last one must not stand for ever."""
    state = reader.mirror()
    if state is not None and state.alarm:
        record(Condition("mirror", False, "the site file names no time-series server"))
        keep(state._replace(alarm=False), (), ())


def _at_ms(effect: OrderedEffect) -> int:
    return effect_at_ms(effect.kind, effect.body)


def _effect(pen: Pen, effect: OrderedEffect) -> str | None:
    return pen.effect(effect.kind, effect.body)


def _add(lines: list[str], line: str | None) -> None:
    if line is not None:
        lines.append(line)
