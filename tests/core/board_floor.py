"""A small site and a board with its own two clocks, for the tests of alarms and calls."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from gateway.core import board, codec
from gateway.core.board import BoardState, Now, Out
from gateway.core.effects import AlarmChange, Effect, Notice
from gateway.core.finding import Finding, Subject
from gateway.core.site import Person, Phone, Place, Probe, Shift, Site

#: 20 March 2026, 02:00 UTC, a Friday; London is on UTC.
NIGHT_MS = 1_773_972_000_000
WEEK = tuple(range(7))
SITE = Site(
    "quern-hill",
    "Quern Hill Maltings",
    "Europe/London",
    places=(
        Place("bed-a", "bed", "Bed A"),
        Place("bed-c", "bed", "Bed C"),
        Place("floor-1", "room", "Floor 1"),
        Place("kiln", "kiln", "Kiln"),
    ),
    probes=(
        Probe("c-1", "bed-c", "temperature", "Cel", "t/c-1", 60.0),
        Probe("air-1", "floor-1", "co2", "ppm", "t/air-1", 60.0),
    ),
    people=(
        Person("dan", "Dan", "office"),
        Person("cleo", "Cleo", "maintenance"),
        Person("ben", "Ben", "shift"),
        Person("ada", "Ada", "maltster"),
    ),
    phones=(
        Phone("ada-1", "ada", "webhook"),
        Phone("ben-1", "ben", "webhook"),
        Phone("ben-2", "ben", "webhook"),
        Phone("cleo-1", "cleo", "webhook"),
    ),
    shifts=(Shift(("ben",), WEEK, 22 * 60, 6 * 60), Shift(("ada",), WEEK, 6 * 60, 22 * 60)),
)

URGENT = Finding(
    Subject("bed_hot", "bed-c"), True, "high", "urgent", 3, 25.6, "Cel", 25.0, NIGHT_MS, NIGHT_MS,
    trend_per_h=0.9, piece="14", day=4, last_turned_ms=NIGHT_MS - 4 * 3_600_000,
)  # fmt: skip
HIGH = replace(URGENT, priority="medium", level="high", rank=2, value=22.6, limit=22.0)
OVERDUE = replace(HIGH, subject=Subject("turn_overdue", "bed-c"), level="overdue", rank=1)
COLD = replace(HIGH, subject=Subject("bed_low", "bed-a"), priority="low", level="low", rank=1, value=9.0)
GAS = Finding(
    Subject("gas_high", "floor-1"), True, "highest", "high", 1, 18_000.0, "ppm", 5_000.0, NIGHT_MS, NIGHT_MS,
    hottest_probe="air-1",
)  # fmt: skip


def over(finding: Finding, value: float | None = 1.0) -> Finding:
    """The same condition, ended."""
    return replace(finding, on=False, value=value)


class Floor:
    """A board, its site, and a moment that is moved by hand; keeps every effect with the time it came."""

    def __init__(self, site: Site = SITE, at_ms: int = NIGHT_MS) -> None:
        self.board, self.site = BoardState(), site
        self.run_ms, self.offset_ms = 1_000_000_000_000, at_ms - 1_000_000_000_000
        self.start_ms = self.run_ms
        self.entry = 0
        self.said: list[tuple[int, Effect]] = []
        self.newest: dict[Subject, Finding] = {}
        self.put(board.site_changed, None, site=True)

    @property
    def now(self) -> Now:
        return Now(self.run_ms + self.offset_ms, self.run_ms)

    def put(self, verb: Callable[..., Any], *what: Any, site: bool = False) -> Any:
        """One journal entry: call a verb of the board with the moment as it is."""
        self.entry += 1
        out = Out(self.entry)
        before = (*what, self.site) if site else (self.site, *what)
        said = verb(self.board, *before, self.now, out)
        self._keep(out)
        return said

    def _keep(self, out: Out) -> None:
        self.said += [((self.run_ms - self.start_ms) // 1000, effect) for effect in out.effects]

    def find(self, *findings: Finding) -> None:
        """Hand findings to the board."""
        for finding in findings:
            self.put(board.found, finding)

    def wait(self, seconds: float, only_due: bool = False) -> None:
        """Let running time pass, with a tick on each whole 10 s, or only on those that are due."""
        end = self.run_ms + round(seconds * 1000)
        tick = (self.run_ms // 10_000 + 1) * 10_000
        while tick <= end:
            if not only_due or tick >= board.next_due_run_ms(self.board):
                self.run_ms = tick
                out = Out(tick)
                board.tick(self.board, self.site, self.now, out, self.newest.get)
                self._keep(out)
            tick += 10_000
        self.run_ms = end

    def restart(self) -> None:
        """The board goes through its stored form."""
        self.board = codec.restore(BoardState, json.loads(json.dumps(codec.plain(self.board))))

    def rung(self, *kinds: str) -> list[tuple[int, str, str]]:
        """(second, phone, kind) of the notices so far, of these kinds or of all."""
        notices = [(at, one) for at, one in self.said if isinstance(one, Notice)]
        return [(at, one.phone, one.kind) for at, one in notices if not kinds or one.kind in kinds]

    def notices(self) -> list[Notice]:
        """Every notice so far."""
        return [one for _, one in self.said if isinstance(one, Notice)]

    def changes(self) -> list[tuple[int, int, str, str]]:
        """(second, alarm number, signal, state) of the changes so far."""
        found = [(at, one) for at, one in self.said if isinstance(one, AlarmChange)]
        return [(at, one.number, one.change.signal, one.state) for at, one in found]

    def last(self) -> AlarmChange:
        """The newest change."""
        return next(one for _, one in reversed(self.said) if isinstance(one, AlarmChange))
