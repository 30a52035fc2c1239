"""Driver 1: builds the edges, owns threads and signals, watches that every loop turns, stops in order."""

from __future__ import annotations

import logging
import os
import platform
import random
import select
import signal
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import FrameType
from typing import Any

from gateway import __version__
from gateway.core.inputs import Condition, SiteChanged
from gateway.core.site import Site
from gateway.deliver import Deliver, linker
from gateway.edges.clock import WallClock, real_mono_ms, real_mono_s, real_wall_ms
from gateway.edges.control import Control
from gateway.edges.door import Door
from gateway.edges.mqtt import MqttSource, Options
from gateway.edges.notify import Notify
from gateway.edges.phone.webhook import Webhook
from gateway.edges.sqlite import LIBRARY, Writer, open_reader, open_writer
from gateway.edges.timer import Timer
from gateway.errors import SettingsFault
from gateway.live import facts as live_facts
from gateway.live import log as live_log
from gateway.live.backup import Backups
from gateway.live.clock import ClockChoice
from gateway.live.keys import load_key, load_vapid
from gateway.live.mirror import MirrorThread, answering
from gateway.live.people import People
from gateway.live.push import Pushes
from gateway.live.reload import Reload
from gateway.live.requests import Requests
from gateway.live.retention import Retention
from gateway.live.verbs import by_kind
from gateway.live.web import Asked, Keep, Page
from gateway.live.writer import WriterThread
from gateway.pipeline import Parts, Pipeline
from gateway.pipeline_time import resumed_at_ms
from gateway.ports import Messenger
from gateway.settings import BrokerSettings, Settings

__all__ = ["ClockChoice", "run"]

log = logging.getLogger(__name__)

#: A loop that has not come round for so long stands still; half of the manager's time where that is less.
STILL_S = 30.0
FACTS_S = 5.0
STOP_S = 20.0
_POLL_S = 1.0
#: Conditions of the surroundings that a former run may have left standing; this one looks for itself.
_AFRESH = ("broker", "twin", "disk", "clock")


def run(
    settings: Settings,
    store: Path,
    choice: ClockChoice,
    level: str,
    again: Callable[[], Settings] | None = None,
) -> int:
    """Watch until a signal asks to stop; 0 then, 1 where the gateway had to give up. `again` reads the site
    file once more, for `reload` and SIGHUP.

    Raises StoreHeld, StoreMismatch, StoreFault, SettingsFault before anything has begun.
    """
    live_log.begin(level)
    for warning in settings.warnings:
        log.warning("site file: %s", warning)
    writer = open_writer(store, site_id=settings.site.id, clock_kind=choice.kind)
    try:
        return Gateway(settings, store, choice, writer, again).run()
    finally:
        writer.checkpoint()
        writer.close()


class Gateway:
    """Everything that runs, joined. Made once for a run."""

    def __init__(
        self,
        settings: Settings,
        store: Path,
        choice: ClockChoice,
        writer: Writer,
        again: Callable[[], Settings] | None = None,
    ) -> None:
        self._store, self._choice = store, choice
        broker = settings.broker
        self._clock, set_clock = choice.make(resumed_at_ms(writer))
        self._notify = Notify()
        self._signals = _Signals()
        self._readers = [open_reader(store) for _ in range(4)]
        for_status, for_people, for_deliver, for_mirror = self._readers
        self._source = MqttSource(
            _options(broker), session=int(writer.get_meta("session") or 0),
            monotonic=real_mono_s, draw=random.random,
        )  # fmt: skip
        self._requests = Requests(self._source.wake)
        real = WallClock()
        key = load_key(store)
        pushes = _pushes(settings, store, Keep(writer, for_people, self._requests), real)
        self._settings, self._pushes = settings, pushes
        site = pushes.merged(_paced(settings.site, choice))
        self._deliver = Deliver(
            _ways(settings, real) | pushes.ways(),
            due=for_deliver.due_notices, record=pushes.noting(self._requests.record),
            link=linker(settings.links.public_url or None, key, real), clock=real, jitter=random.random,
        )  # fmt: skip
        self._pipeline = Pipeline(
            Parts(
                site=site, root=broker.root, version=__version__, journal=writer, source=self._source,
                clock=self._clock, judge=live_log.LoggedEngine(), real_ms=real_mono_ms, set_clock=set_clock,
                notices_due=for_status.due_count, changed=self._deliver.nudge,
            )
        )  # fmt: skip
        people = People(
            site, for_people, self._requests, self._clock,
            self._clock.trusted if choice.kind == "topic" else lambda: True,
        )  # fmt: skip
        self._mirror = MirrorThread(settings.series, writer, self._requests, for_mirror)
        self._retention = Retention(
            settings.keep_raw_days, writer, self._requests, mirrored=settings.series is not None
        )
        self._people, self._real = people, real
        self._backups = Backups(store)
        self._reload = Reload(settings, again, self._adopt)
        pushes.join(lambda: self._adopt(self._settings))
        self._said: dict[str, Any] = {}
        asked = Asked(self._pipeline, self._requests, people, self._clock, lambda: self._said, pushes)
        self._page = Page.of(settings.web, store, writer, asked)
        page = self._page.asked
        own = {"backup": self._backups.asked, "reload": self._reload.asked, "account": page, "token": page}
        self._control = Control(store, by_kind(own, answering(people.control, writer, self._requests)))
        self._door = _door(settings, key, people, real)
        self._writer = WriterThread(self._pipeline, self._requests, self._clock, self._signals.wake)
        self._timer = Timer(self._source.wake, max(0.1, min(1.0, 10.0 / choice.speed)))
        self._versions = {"Python": platform.python_version(), "SQLite": LIBRARY, "schema": writer.schema()}
        self._standing = [line.alarm.kind for line in for_people.alarms(False)]

    def run(self) -> int:
        """Start in order, watch, stop in order."""
        self._pipeline.begin()
        for name in _AFRESH:
            if f"gateway_{name}" in self._standing:
                self._pipeline.record(Condition(name, False, "looked at afresh after a start"))
        parts = (
            self._writer,
            self._source,
            self._deliver,
            self._mirror,
            self._retention,
            self._control,
            self._door,
            self._timer,
            self._page,
        )
        for part in parts:
            part.start()
        live_facts.write(self._store, self._facts("running", []))
        self._notify.ready(f"watching {self._store}")
        log.info(
            "running version=%s store=%s clock=%s door=%d pid=%d", __version__, self._store,
            self._choice.kind, self._door.port, os.getpid(),
        )  # fmt: skip
        try:
            self._watch()
        finally:
            good = self._stop()
        return 0 if good else 1

    def _adopt(self, settings: Settings) -> int:
        """Let another site file hold from now on: ways to phones first, as the next call may need them."""
        with self._pushes.turn:
            site = self._pushes.merged(_paced(settings.site, self._choice))
            self._deliver.go_by(_ways(settings, self._real) | self._pushes.ways())
            number = self._requests.record(SiteChanged(site))
            self._settings = settings
            self._people.site_is(site)
            self._door.site_is(site.time_zone, _names(site))
        return number

    def _watch(self) -> None:
        """Until a signal, or the writer's end: feed the watchdog, leave facts for `health`."""
        facts_ms = real_mono_ms()
        still: list[str] = []
        told: tuple[bool, bool, list[str]] | None = None
        while not self._signals.wait(_POLL_S) and self._writer.alive:
            if self._signals.reload_asked():
                self._reload.asked({})
            now_still = self._still()
            if now_still != still:
                log.error("loops that stand still: %s", ", ".join(now_still) or "none any more")
                still = now_still
            if not still:
                self._notify.alive("all loops turn")
            facts = self._facts("running", still)
            news = (facts["source"]["connected"], facts["clock"]["trusted"], still)
            if real_mono_ms() - facts_ms >= FACTS_S * 1000 or news != told:
                facts_ms, told = real_mono_ms(), news
                live_facts.write(self._store, facts)

    def _still(self) -> list[str]:
        """The loops that have not come round lately."""
        now_ms, source = real_mono_ms(), self._source.facts()
        still_s = min(STILL_S, (self._notify.watchdog_s or STILL_S * 2) / 2)
        ages = {
            "writer": (now_ms - self._writer.moved_ms) / 1000,
            "deliver": (now_ms - self._deliver.moved_ms) / 1000,
            "mqtt": source["loop_age_s"] if source["alive"] else still_s * 2,
        }
        return [name for name, age_s in ages.items() if age_s > still_s]

    def _facts(self, state: str, still: list[str]) -> dict[str, Any]:
        self._said = {
            "written_ms": real_wall_ms(),
            "state": state,
            "version": __version__,
            "versions": self._versions,
            "pid": os.getpid(),
            "clock": {"kind": self._choice.kind, "trusted": self._clock.trusted()},
            "source": self._source.facts(),
            "still": still,
            "attempts": self._deliver.sent,
            "mirror": self._mirror.facts(),
            "door_port": self._door.port,
            "page": self._page.url,
            "warnings": [str(warning) for warning in self._settings.warnings],
        }
        return self._said

    def _stop(self) -> bool:
        """Nobody new is let in, then what is under way ends, then the writer, then the connection."""
        log.info("stopping")
        self._notify.stopping()
        self._timer.stop()
        self._backups.stop()
        self._control.stop()
        self._door.stop()
        self._page.stop()
        ended = {
            "deliver": self._deliver.stop(STOP_S / 4),
            "mirror": self._mirror.stop(STOP_S / 4),
            "retention": self._retention.stop(STOP_S / 4),
            "writer": self._writer.stop(STOP_S),
            "mqtt": self._source.stop(STOP_S / 4),
        }
        late = [name for name, in_time in ended.items() if not in_time]
        if late:
            log.error("did not end in time: %s", ", ".join(late))
        if not ended["writer"]:
            # Its transaction may be open. The store is safe; closing it here from another thread is not.
            logging.shutdown()
            os._exit(1)
        for reader in self._readers:
            reader.close()
        live_facts.write(self._store, self._facts("stopped", []))
        log.info("stopped")
        return self._writer.fault is None


class _Signals:
    """The first asks, the second forces. A handler only writes a byte: anything more could dead-lock."""

    def __init__(self) -> None:
        self._out, self._in = os.pipe2(os.O_NONBLOCK | os.O_CLOEXEC)
        self._asked = False
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, self._take)
        self._reload = False
        signal.signal(signal.SIGHUP, self._take_reload)

    def _take_reload(self, number: int, frame: FrameType | None) -> None:
        self._reload = True
        self.wake()

    def reload_asked(self) -> bool:
        """Whether a signal has asked for the site file to be read again, since this was last asked."""
        asked, self._reload = self._reload, False
        return asked

    def _take(self, number: int, frame: FrameType | None) -> None:
        if self._asked:
            os._exit(1)
        self._asked = True
        self.wake()

    def wake(self) -> None:
        """Let a waiting `wait` return. Any thread may call it."""
        os.write(self._in, b"\0")

    def wait(self, within_s: float) -> bool:
        """Whether a signal has asked to stop; waits at most so long, less where something woke it."""
        if select.select([self._out], [], [], within_s)[0]:
            os.read(self._out, 100)
        return self._asked


def _paced(site: Site, choice: ClockChoice) -> Site:
    """The site with call steps that take real seconds, however fast the clock is."""
    return replace(site, callout=replace(site.callout, speed=choice.speed)) if choice.speed != 1 else site


def _pushes(settings: Settings, store: Path, keep: Keep, real: WallClock) -> Pushes:
    url = (settings.web.public_url if settings.web else None) or ""
    # Whom a push service may turn to: RFC 8292 takes an https address.
    vapid = load_vapid(store, url if url.startswith("https://") else None)
    return Pushes(keep.lines(), keep, vapid, real)


def _ways(settings: Settings, real: WallClock) -> dict[str, Messenger]:
    return {phone: Webhook(one.url, one.secret, real) for phone, one in settings.phones.items()}


def _names(site: Site) -> dict[str, str]:
    return {place.id: place.name for place in site.places} | {who.id: who.name for who in site.people}


def _options(broker: BrokerSettings) -> Options:
    return Options(
        broker.host, broker.port, broker.client_id, broker.root, broker.subscribe, broker.protocol,
        broker.username, broker.password, broker.tls, broker.tls_ca_file, broker.tls_cert_file,
        broker.tls_key_file,
    )  # fmt: skip


def _door(settings: Settings, key: bytes, people: People, real: WallClock) -> Door:
    links, site = settings.links, settings.site
    try:
        return Door(
            links.listen_host, links.listen_port, key=key, look=people.look, answer=people.answer,
            clock=real, time_zone=site.time_zone, names=_names(site),
        )  # fmt: skip
    except OSError as fault:
        raise SettingsFault(f"links.listen = {links.listen_host}:{links.listen_port}: {fault}") from fault
