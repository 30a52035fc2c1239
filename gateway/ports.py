"""What the core's surroundings promise. `pipeline` and `replay` know these and nothing behind them."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import AbstractContextManager
from typing import Any, NamedTuple, Protocol

from gateway.core.effects import Cause, Effect, TurnKnown
from gateway.core.inputs import Entry, Event
from gateway.core.reading import Reading, Rejected
from gateway.core.site import Site

# Named here for everybody, whichever file they stand in.
from gateway.ports_rows import AlarmLine as AlarmLine  # noqa: PLC0414
from gateway.ports_rows import Aside as Aside  # noqa: PLC0414
from gateway.ports_rows import Attempt as Attempt  # noqa: PLC0414
from gateway.ports_rows import KeptEffect as KeptEffect  # noqa: PLC0414
from gateway.ports_rows import Minute as Minute  # noqa: PLC0414
from gateway.ports_rows import NoticeLine as NoticeLine  # noqa: PLC0414
from gateway.ports_rows import Quarter as Quarter  # noqa: PLC0414
from gateway.ports_rows import RejectedCount as RejectedCount  # noqa: PLC0414
from gateway.ports_rows import RejectedLine as RejectedLine  # noqa: PLC0414
from gateway.ports_rows import Sizes as Sizes  # noqa: PLC0414
from gateway.ports_web import WebLine as WebLine  # noqa: PLC0414
from gateway.ports_web import WebReader as WebReader  # noqa: PLC0414
from gateway.ports_web import WebWriter as WebWriter  # noqa: PLC0414

#: Beside the journal, under this, how many readings were let go because the site keeps them no longer.
READINGS_GONE = "readings_gone"


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

    def session(self) -> int:
        """The number of the broker's session, to be kept beside the journal; 0 before the first connection.
        It grows each time the broker has forgotten us."""

    def wake(self) -> None:
        """Let a waiting `take` return at once. From any thread."""

    def facts(self) -> dict[str, Any]:
        """For `health`: connected, protocol, session_present, queued, queued_bytes, received, settled,
        last_packet_age_s, loop_age_s, reconnects."""


class Added(NamedTuple):
    """What became of the readings of one commit: entries for the kept, a count, the contradictions, and
    those of minutes whose readings were let go: whether they were among them nobody can tell."""

    entries: list[Entry]
    duplicates: int
    conflicts: list[Reading]
    too_old: list[Reading]


class Cursor(NamedTuple):
    """How far the judge has come: the last journal number, and the running time ticks have been judged to."""

    n: int
    run_ms: int


class Numbers(NamedTuple):
    """The highest numbers given so far; 0 where none was."""

    alarm: int
    notice: int
    turn: int


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
        """Keep effects (once per cause), the judge's cursor and, where given, a snapshot of the state."""

    def entries_after(self, n: int, most: int) -> list[Entry]:
        """Journal entries with a number above `n`, in order, at most `most`. Only reads."""

    def last_stamp(self) -> tuple[int, int, int]:
        """(n, at_ms, run_ms) of the newest entry; zeros when empty. Where the judge has ticked on past it,
        both times are as much later."""

    def load_judge(self) -> tuple[Cursor, bytes | None, Cursor]:
        """(cursor, newest snapshot, the cursor that snapshot was taken at). Only reads."""

    def numbers(self) -> Numbers:
        """The highest numbers of what is kept. Only reads."""

    def get_meta(self, key: str) -> str | None:
        """A value kept beside the journal (site id, kind of clock, session token …). Only reads."""

    def set_meta(self, key: str, value: str) -> None:
        """Keep a value beside the journal."""

    def checkpoint(self) -> None:
        """Fold the write-ahead log into the database; on this same connection and no other."""

    def free_reserve(self) -> bool:
        """Give up the room held back for a full disk, so that alarms and notices still commit; whether
        there was any left to give."""

    def restore_reserve(self) -> bool:
        """Hold that room back again if the disk has it twice over; whether the reserve stands afterwards."""

    def close(self) -> None:
        """Close the file and give the writer's place up; a second time does nothing."""


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
    last_attempt_at_ms: int | None = None


class MirrorPlace(NamedTuple):
    """How far the mirror has come: the last journal number, the last effect in the order of keeping, and
    the times last given to points (`core.points.Marks`)."""

    n: int = 0
    effect: int = 0
    event_ms: int = 0
    alarm_ms: int = 0
    turn_ms: int = 0


class MirrorState(NamedTuple):
    """The mirror as it stands, kept with its place. `target` names server, organisation and bucket;
    `written` counts lines since ever; `alarm` is whether gateway_mirror was raised; times are Unix ms."""

    target: str
    place: MirrorPlace = MirrorPlace()
    written: int = 0
    rate_per_s: float | None = None
    written_at_ms: int | None = None
    error: str | None = None
    error_at_ms: int | None = None
    alarm: bool = False


class OrderedEffect(NamedTuple):
    """An effect and its place in the order of keeping; `body` is plain."""

    order: int
    kind: str
    body: dict[str, Any]


class MirrorWriter(Protocol):
    """What the writer's side of the store does for the mirror; inside `atomic()`."""

    def save_mirror(self, state: MirrorState, aside: Sequence[Aside], gone: Sequence[int]) -> None:
        """Keep the mirror's state, further lines aside, and drop those aside with these numbers."""

    def resend_mirror(self) -> int:
        """Mark all lines aside to be sent again; how many there are."""


class MirrorReader(Protocol):
    """What the reading side of the store does for the mirror; every call raises StoreFault as `Reader`'s."""

    def snapshot(self) -> AbstractContextManager[None]:
        """As `Reader.snapshot`."""

    def entries_after(self, n: int, most: int) -> list[Entry]:
        """As `Reader.entries_after`."""

    def last_stamp(self) -> tuple[int, int, int]:
        """As `Reader.last_stamp`."""

    def get_meta(self, key: str) -> str | None:
        """As `Reader.get_meta`."""

    def effects_in_order(self, after: int, most: int) -> list[OrderedEffect]:
        """Effects in the order in which they were kept, at most `most`."""

    def site_at(self, n: int) -> Site | None:
        """The site file in force after journal number `n`; None before the first."""

    def mirror(self) -> MirrorState | None:
        """The mirror's state; None where there was never a mirror."""

    def aside(self, most: int, *, again: bool = False) -> list[Aside]:
        """Lines kept aside, oldest first; with `again` only those that are to be sent again."""

    def count_aside(self) -> int:
        """How many lines are kept aside."""


class Reader(MirrorReader, Protocol):
    """The reading side of the store: what is committed, in short read transactions; it changes nothing.

    May be used by several threads, one at a time. Every call raises StoreFault if the store cannot be read.
    """

    def snapshot(self) -> AbstractContextManager[None]:
        """Inside, all reads see the same moment. Keep it short: the log cannot be folded past it."""

    def entries_after(self, n: int, most: int) -> list[Entry]:
        """Journal entries with a number above `n`, in order, at most `most`."""

    def last_stamp(self) -> tuple[int, int, int]:
        """As `Journal.last_stamp`."""

    def load_judge(self) -> tuple[Cursor, bytes | None, Cursor]:
        """As `Journal.load_judge`."""

    def get_meta(self, key: str) -> str | None:
        """As `Journal.get_meta`."""

    def alarms(self, ended: bool, most: int = 1000) -> list[AlarmLine]:
        """Alarms that are not back to normal, by number; with `ended` all of them. The newest `most`."""

    def has_alarm(self, number: int) -> bool:
        """Whether an alarm has had this number."""

    def notices(self, most: int) -> list[NoticeLine]:
        """The newest notices, newest first."""

    def due_notices(self) -> list[DueNotice]:
        """Notices neither delivered nor withdrawn, oldest first."""

    def due_count(self) -> int:
        """How many those are."""

    def turns(self, most: int = 1000) -> list[TurnKnown]:
        """The newest turns as they are known now, oldest first."""

    def rejected(self, most: int) -> list[RejectedLine]:
        """The refused payloads kept, newest first."""

    def rejected_counts(self) -> list[RejectedCount]:
        """All counts of refusals, the largest first."""

    def counts(self) -> dict[str, int]:
        """The running totals by name."""

    def effects(self, after: Cause = (0, -1), most: int = 10_000) -> list[KeptEffect]:
        """Effects whose cause is above `after`, in the order of causes, at most `most`."""

    def minutes(self, probe: str, from_ms: int, to_ms: int, most: int) -> list[Minute]:
        """The probe's figures by the minute of its own time, oldest first: raw readings and those that were
        let go counted together. Values are as measured, without calibration."""

    def quarters(self, probe: str, from_ms: int, to_ms: int, most: int) -> list[Quarter]:
        """The same figures as `minutes` by the quarter of an hour, from sums kept beside the journal: for
        spans of days. Every committed reading is in them."""

    def sizes(self) -> Sizes:
        """How much room the store takes, and how much is left."""

    def close(self) -> None:
        """Close the file; a second time does nothing."""


class Messenger(Protocol):
    """One kind of way to a phone."""

    def send(self, phone: str, notice: DueNotice, answer_url: str | None) -> int:
        """Hand the notice over; returns the other side's status. Raises DeliveryFault."""


class Series(Protocol):
    """The site's time-series server."""

    def write(self, lines: Sequence[str]) -> None:
        """Write lines of line protocol (times in ms); returns once the server has all of them. Raises
        SeriesFault; then it may have none, some or all."""
