"""What a house of the contract tests keeps: a real store, written and read by several threads."""

import threading
from collections.abc import Callable
from pathlib import Path

from gateway.core.effects import AlarmChange, Notice
from gateway.core.inputs import Event
from gateway.edges.sqlite import Reader, Writer, open_reader, open_writer
from gateway.ports import Cursor

WITHIN_S = 10.0
AT_MS = 1_793_588_000_000


class Kept:
    """Its writer and reader, one at a time under `turn`; whoever waits hears of each event."""

    def __init__(self, folder: Path) -> None:
        self.writer: Writer = open_writer(folder, site_id="quern-hill", clock_kind="wall", reserve_bytes=4096)
        self.reader: Reader = open_reader(folder)
        self.turn = threading.Condition()
        self.events: list[Event] = []

    def record(self, event: Event) -> int:
        """Commit one event; its journal number."""
        with self.turn:
            with self.writer.atomic():
                n = self.writer.add_event(AT_MS, 5000, event).n
            self.events.append(event)
            self.turn.notify_all()
            return n

    def save(self, *effects: Notice | AlarmChange) -> None:
        """Commit effects, as the judge does."""
        with self.turn, self.writer.atomic():
            self.writer.save_effects(effects, Cursor(1, 1000), None)

    def until(self, true: Callable[[], object]) -> None:
        """Wait for something committed."""
        with self.turn:
            assert self.turn.wait_for(true, WITHIN_S), "not in time"

    def close(self) -> None:
        """Put all away."""
        self.reader.close()
        self.writer.close()
