"""A gateway of real parts that has lived a night: what the pages are given, for tests of pages."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, TypeVar

from gateway import settings
from gateway.core import asked
from gateway.core.inputs import Delivery, Event, PutOutOfService, SiteChanged, Turned
from gateway.core.inputs_journey import HandRead, Steeped
from gateway.core.site import Site
from gateway.core.state import State
from gateway.edges.clock import WallClock
from gateway.edges.sqlite import Reader, open_reader
from gateway.live.keys import load_vapid
from gateway.live.push import Pushes
from gateway.ports import WebLine
from tests.cli.house import site_file
from tests.scenarios.floor import CONFIG, HOUR, MINUTE, live
from tests.scenarios.gate import Gate, Hand
from tests.scenarios.story import Story
from tests.scenarios.story import story as tell

Seen = TypeVar("Seen")
#: Makes a gateway in a folder and lets so many hours pass; so many more wait to be told.
Begin = Callable[[Path, float, float], tuple[Gate, Story]]
START = "2026-03-05T20:00:00Z"


class Lived:
    """`gateway.web.given.Given` over a gate whose time is turned by hand; one thread owns it, as live."""

    def __init__(
        self, folder: Path, hours: float = 3.0, ahead_h: float = 3.0, begin: Begin | None = None
    ) -> None:
        self._one = ThreadPoolExecutor(1, "lived")
        self.gate, self.story = self._one.submit(begin or _night, folder, hours, ahead_h).result()
        self._reader = open_reader(self.gate.store)
        self._site = self.gate.settings.site
        #: What asking the judge ends in, and which loops stand still, where a test says so.
        self.fault: Exception | None = None
        self.still: list[str] = []

    def site(self) -> Site:
        """As given."""
        return self._site

    def pushes(self) -> Pushes:
        """The phones made on the page, as after a start; the judge knows of each."""
        found = Pushes(self.lines(), self, load_vapid(self.gate.store), WallClock(always_trusted=True))

        def adopt() -> None:
            self._site = found.merged(self.gate.settings.site)
            self._one.submit(self.gate.record, SiteChanged(self._site)).result()

        found.join(adopt)
        return found

    def now_ms(self) -> int:
        """As given."""
        return self.gate.hand.clock.wall_ms()

    def real_ms(self) -> int:
        """As given."""
        return self.now_ms()

    def ask(self, view: Callable[[State], Seen]) -> Seen:
        """As given."""
        if self.fault is not None:
            raise self.fault
        return self._one.submit(lambda: view(self.gate.pipeline._bench._state)).result()

    def reader(self) -> Reader:
        """As given."""
        return self._reader

    def record(self, word: str, body: dict[str, Any]) -> int:
        """As given."""
        return self._one.submit(self._record, word, body).result()

    def note(self, event: Event) -> int:
        """Keep something that happened, as the gateway's own threads do."""
        return self._one.submit(self.gate.record, event).result()

    def _record(self, word: str, body: dict[str, Any]) -> int:
        site = self.site()
        event = asked.read(word, asked.by_id(body, site), self.now_ms(), site.time_zone)
        fault = asked.cannot_be(event, site, {one.line.alarm.number for one in self.gate.alarms()})
        if fault:
            raise ValueError(fault)
        return self.gate.record(event)

    def facts(self) -> dict[str, Any]:
        """As given."""
        return {"still": self.still} if self.still else {}

    def place(self) -> tuple[int, int]:
        """As `given.Running`."""
        return self.gate.pipeline.place

    def news(self) -> int:
        """As `given.Running`."""
        return self.gate.pipeline.news

    def lines(self) -> list[WebLine]:
        """As `keep.Keep`."""
        return self._reader.web_lines()

    def put(self, kind: str, key: str, ends_ms: int | None, body: dict[str, Any]) -> None:
        """As `keep.Keep`."""

        def work() -> None:
            assert self.gate._writer is not None
            with self.gate._writer.atomic():
                self.gate._writer.put_web(kind, key, ends_ms, body)

        self._one.submit(work).result()

    def drop(self, kind: str, key: str) -> bool:
        """As `keep.Keep`."""

        def work() -> bool:
            assert self.gate._writer is not None
            with self.gate._writer.atomic():
                return self.gate._writer.drop_web(kind, key)

        return self._one.submit(work).result()

    def went(self, pushes: Pushes, number: int, phone: str, outcome: str, status: int) -> None:
        """What became of a message, as whoever delivers records it."""
        record = pushes.noting(lambda event: self._one.submit(self.gate.record, event).result())
        record(Delivery(number, phone, outcome, status))

    def let_pass(self, minutes: float) -> None:
        """Time passes: messages come, the judge ticks, phones ring."""
        self._one.submit(self.story.until, self.story.now_ms + round(minutes * MINUTE)).result()

    def close(self) -> None:
        """Stop it."""
        self._reader.close()
        self._one.submit(self.gate.close).result()
        self._one.shutdown()


def _night(folder: Path, hours: float, ahead_h: float) -> tuple[Gate, Story]:
    """Bed C is hot and nobody has answered, bed D is silent, half of bed B was turned; bed C is truly turned
    at 23:06, and `ahead_h` more hours of messages wait to be told."""
    folder.mkdir(parents=True, exist_ok=True)
    silent = [
        (1.0, {"silent": {"probe": f"bed-d-{one}", "for_s": 36_000}}) for one in ("low", "mid", "top", "co2")
    ]
    night = live(START, hours + ahead_h, turns=[(3.1, "bed-c")], orders=silent)
    night.done = []
    for one in CONFIG.parent.glob("*.toml"):
        shutil.copy(one, folder)
    gate = Gate(folder / "store", settings.load(site_file(folder), {}), Hand(night.start_ms))
    gate.open()
    story = tell(gate, night)
    at = night.start_ms
    before: list[Event] = [
        Steeped(
            steep="steep-1",
            lot="24-117",
            variety="Marigold",
            moisture_wb=12.0,
            weight_t=8.0,
            when_ms=at - HOUR,
        ),
        HandRead(bed="bed-b", c=16.4, at_m=14.0, height_cm=8.0, by="ben", when_ms=at - 2 * HOUR),
    ]
    for event in before:
        gate.record(event)
    story.do(at + HOUR // 2, Turned("bed-b", from_m=10.0, to_m=14.0, by="ben"))
    story.do(at + HOUR, PutOutOfService("lower-room-air", why="cable cut", by="ben"))
    story.until(at + round(hours * HOUR))
    return gate, story
