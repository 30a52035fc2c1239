"""What the core's surroundings promise. `pipeline` and `replay` know these and nothing behind them."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import AbstractContextManager
from typing import Any, NamedTuple, Protocol

from gateway.core.inputs import Effect, Entry, Event
from gateway.core.reading import Reading, Rejected


class Message(NamedTuple):
    """One MQTT message as it came: nothing decoded, not yet settled.

    `epoch` names the connection it came on (a settlement for another epoch is dropped), `session` the
    broker's session. `qos` 0 messages have `mid` 0 and need no settling.
    """

    topic: str
    payload: bytes
    qos: int
    mid: int
    dup: bool
    retain: bool
    epoch: int
    session: int


class Clock(Protocol):
    """The only clock."""

    def wall_ms(self) -> int:
        """Unix ms now, as the machine's (or the scaled) clock has it; it may step."""

    def mono_ms(self) -> int:
        """Milliseconds that only grow, at the same speed as `wall_ms`; meaningless after a restart."""

    def trusted(self) -> bool:
        """Whether the wall clock has been set from outside since the machine started."""


class Source(Protocol):
    """Where messages come from. Its queue is bounded; it never raises into the caller."""

    def take(self, most: int, wait_s: float) -> list[Message]:
        """The oldest waiting messages, at most `most`; waits at most `wait_s` for the first one."""

    def settle(self, messages: Sequence[Message]) -> None:
        """Tell the broker, in order, that these are committed; those of an older connection are dropped."""

    def publish_status(self, body: bytes) -> None:
        """Publish the retained status (contract C5); lost silently while not connected."""

    def conditions(self) -> list[tuple[str, bool, str]]:
        """Changes since the last call: (name, on, detail), e.g. ("broker", True, "no connection …")."""

    def facts(self) -> dict[str, Any]:
        """For `health`: connected, protocol, session_present, queued, queued_bytes, received, settled,
        last_packet_age_s, loop_age_s, reconnects."""


class Added(NamedTuple):
    """What became of the readings of one commit: entries for the kept, a count, and the contradictions."""

    entries: list[Entry]
    duplicates: int
    conflicts: list[Reading]


class Cursor(NamedTuple):
    """How far the judge has come: the last journal number, and the running time ticks have been judged to."""

    n: int
    run_ms: int


class Journal(Protocol):
    """The writer's side of the store. One thread owns it; every change is inside `atomic()`."""

    def atomic(self) -> AbstractContextManager[None]:
        """One transaction: commits at the end (synchronous=FULL), rolls back on any exception.

        Raises StoreFull when the disk is full, StoreFault for any other failure to commit.
        """

    def add_readings(self, at_ms: int, run_ms: int, readings: Sequence[Reading]) -> Added:
        """Append readings in order. (probe, measured_at) is kept once: same value again is a duplicate,
        another value a conflict (not kept; the caller records it)."""

    def add_event(self, at_ms: int, run_ms: int, event: Event) -> Entry:
        """Append one event."""

    def keep_rejected(self, at_ms: int, rejected: Sequence[Rejected]) -> None:
        """Keep refused payloads (the newest 10,000) and count them by probe or topic and reason for ever."""

    def note_counts(self, **counts: int) -> None:
        """Add to the named running totals (received, settled, duplicates, redelivered, …)."""

    def remember_delivery(self, digest: bytes, keep: int) -> bool:
        """Whether this digest was already remembered; if not it now is. Only the newest `keep` stay."""

    def save_effects(self, effects: Sequence[Effect], cursor: Cursor, snapshot: bytes | None) -> None:
        """Keep effects (once per cause), the judge's cursor and, where given, a full snapshot of the state."""

    def entries_after(self, n: int, most: int) -> list[Entry]:
        """Journal entries with a number above `n`, in order, at most `most`. Only reads."""

    def last_stamp(self) -> tuple[int, int, int]:
        """(n, at_ms, run_ms) of the newest entry, or the judge's later running time; zeros when empty."""

    def load_judge(self) -> tuple[Cursor, bytes | None, Cursor]:
        """(cursor, newest snapshot, the cursor that snapshot was taken at). Only reads."""

    def get_meta(self, key: str) -> str | None:
        """A value kept beside the journal (site id, kind of clock, session token …). Only reads."""

    def set_meta(self, key: str, value: str) -> None:
        """Keep a value beside the journal."""

    def checkpoint(self) -> None:
        """Fold the write-ahead log into the database; on this same connection and no other."""


class DueNotice(NamedTuple):
    """A notice that waits for delivery, and how often it has been tried."""

    number: int
    alarm: int | None
    occurrence: int | None
    person: str
    phone: str
    kind: str
    priority: str
    place: str | None
    title: str
    text: str
    silent: bool
    at_ms: int
    attempts: int


class Messenger(Protocol):
    """One kind of way to a phone."""

    def send(self, phone: str, notice: DueNotice, answer_url: str | None) -> int:
        """Hand the notice over; returns the other side's status. Raises DeliveryFault."""
