"""A night of the simulated floor laid before the engine, entry by entry: what is known of its turns."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from functools import cache

from gateway.core import engine, views_piece
from gateway.core.effects import AlarmChange, Effect, TurnKnown
from gateway.core.inputs import Entry, Event, Input, SiteChanged, Started
from gateway.core.reading import Reading
from gateway.core.wire.book import Book, decode
from gateway.settings import Settings, load
from tests.scenarios.floor import CONFIG, MINUTE, Night, before

START = "2026-01-12T18:00:00+00:00"


@cache
def read() -> Settings:
    """The example site."""
    return load(CONFIG, {}, with_secrets=False)


def entries(
    night: Night, done: Iterable[tuple[int, Event]], probes: Callable[[str], bool] = lambda probe: True
) -> list[Entry]:
    """The night as the journal holds it: what was recorded before, then messages and people by time."""
    site, start_ms = read().site, night.start_ms
    book = Book(site, read().broker.root)
    lines: list[tuple[int, Input]] = [(start_ms, Started("turns")), (start_ms, SiteChanged(site))]
    lines += [(start_ms, event) for event in before(start_ms)]
    told: list[tuple[int, Input]] = list(done)
    for message in night.messages:
        at_ms = round(message.at_s * 1000)
        for one in decode(book, message.topic, message.payload, False, at_ms, True):
            if isinstance(one, Reading) and probes(one.probe):
                told.append((at_ms, one))
    lines += sorted(told, key=lambda line: line[0])
    return [Entry(n, at_ms, at_ms, what) for n, (at_ms, what) in enumerate(lines, 1)]


class Told:
    """The judge after a night, and all that followed from it."""

    def __init__(self, found: list[Entry], restarts: Collection[int] = ()) -> None:
        self.state = engine.new()
        self.effects: list[Effect] = []
        for entry in found:
            self.effects += engine.advance(self.state, [entry], entry.run_ms)
            if entry.n in restarts:
                self.state = engine.load(engine.dump(self.state))
        self.effects += engine.advance(self.state, [], found[-1].run_ms + MINUTE)

    def lines(self, bed: str | None = None) -> list[TurnKnown]:
        """Every line about turns of a bed, in order."""
        found = [one for one in self.effects if isinstance(one, TurnKnown)]
        return [one for one in found if bed in (None, one.bed)]

    def turns(self, bed: str, from_ms: int) -> list[TurnKnown]:
        """A bed's turns since then, as each is known now."""
        last = {one.turn: one for one in self.lines(bed)}
        return [one for one in last.values() if one.ended_at_ms >= from_ms]

    def alarms(self, kind: str) -> list[AlarmChange]:
        """What became of alarms of one kind."""
        return [one for one in self.effects if isinstance(one, AlarmChange) and one.kind == kind]

    def asked(self, bed: str) -> list[str]:
        """What is asked about a bed."""
        return [row["text"] for row in views_piece.questions(self.state) if row["place"] == bed]
