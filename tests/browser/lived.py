"""A gateway of real parts that has lived a night: what the pages are given, for tests of pages."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from gateway import settings
from gateway.core import asked
from gateway.core.inputs import PutOutOfService, Turned
from gateway.core.inputs_journey import HandRead, Steeped
from gateway.core.site import Site
from gateway.core.state import State
from gateway.edges.sqlite import open_reader
from gateway.ports import Reader
from tests.cli.house import site_file
from tests.scenarios.floor import HOUR, MINUTE, live
from tests.scenarios.gate import Gate, Hand
from tests.scenarios.story import Story
from tests.scenarios.story import story as tell

Seen = TypeVar("Seen")


class Lived:
    """`gateway.web.given.Given` over a gate whose time is turned by hand."""

    def __init__(self, gate: Gate, story: Story) -> None:
        self.gate, self.story = gate, story
        self._turn = threading.RLock()

    def site(self) -> Site:
        """As given."""
        return self.gate.settings.site

    def now_ms(self) -> int:
        """As given."""
        return self.gate.hand.clock.wall_ms()

    def real_ms(self) -> int:
        """As given."""
        return self.now_ms()

    def ask(self, view: Callable[[State], Seen]) -> Seen:
        """As given."""
        with self._turn:
            return view(self.gate.pipeline._bench._state)

    def reader(self) -> Reader:
        """As given: one for each that asks."""
        return open_reader(self.gate.store)

    def record(self, word: str, body: dict[str, Any]) -> int:
        """As given."""
        site = self.site()
        with self._turn:
            event = asked.read(word, asked.by_id(body, site), self.now_ms(), site.time_zone)
            known = {one.line.alarm.number for one in self.gate.alarms()}
            fault = asked.cannot_be(event, site, known)
            if fault:
                raise ValueError(fault)
            return self.gate.record(event)

    def facts(self) -> dict[str, Any]:
        """As given."""
        return {}

    def let_pass(self, minutes: float) -> None:
        """Time passes: messages come, the judge ticks, phones ring."""
        with self._turn:
            self.story.until(self.story.now_ms + round(minutes * MINUTE))


def lived(folder: Path, hours: float = 3.0, ahead_h: float = 3.0) -> Lived:
    """A gateway after some hours of a Thursday night: bed C is hot and nobody has answered, bed D is silent,
    half of bed B was turned; `ahead_h` more hours of messages wait to be told."""
    folder.mkdir(parents=True, exist_ok=True)
    made = settings.load(site_file(folder), {})
    silent = [
        (1.0, {"silent": {"probe": f"bed-d-{one}", "for_s": 36_000}}) for one in ("low", "mid", "top", "co2")
    ]
    turns = [(3.1, "bed-c")]
    night = live("2026-03-05T20:00:00Z", hours + ahead_h, turns=turns, orders=silent)
    night.done = []
    gate = Gate(folder / "store", made, Hand(night.start_ms))
    gate.open()
    story = tell(gate, night)
    at = night.start_ms
    for word in (
        Steeped(
            steep="steep-1",
            lot="24-117",
            variety="Marigold",
            moisture_wb=12.0,
            weight_t=8.0,
            when_ms=at - HOUR,
        ),
        HandRead(bed="bed-b", c=16.4, at_m=14.0, height_cm=8.0, by="ben", when_ms=at - 2 * HOUR),
    ):
        gate.record(word)
    story.do(at + HOUR // 2, Turned("bed-b", from_m=10.0, to_m=14.0, by="ben"))
    story.do(at + HOUR, PutOutOfService("lower-room-air", why="cable cut", by="ben"))
    made_night = Lived(gate, story)
    story.until(at + round(hours * HOUR))
    return made_night
