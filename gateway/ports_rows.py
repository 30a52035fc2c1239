"""The rows the reading side of the store hands out; named in `gateway.ports`."""

from __future__ import annotations

from typing import Any, NamedTuple

from gateway.core.effects import AlarmChange, Cause, Change, Notice
from gateway.core.reading import Rejected


class AlarmLine(NamedTuple):
    """One occurrence of an alarm as it stands, and its steps, oldest first."""

    alarm: AlarmChange
    history: tuple[Change, ...]


class Attempt(NamedTuple):
    """One attempt to reach a phone; `outcome` is delivered, failed or gone."""

    at_ms: int
    outcome: str
    status: int | None
    detail: str


class NoticeLine(NamedTuple):
    """A notice, its attempts oldest first, and what ended the waiting: delivered, or withdrawn because a
    newer one took its place ("newer"), the alarm was answered or ended ("answered"), the phone is "gone"."""

    notice: Notice
    attempts: tuple[Attempt, ...]
    delivered_at_ms: int | None
    withdrawn: str | None


class RejectedLine(NamedTuple):
    """One refused payload, cut to its first 256 bytes, and when it came."""

    at_ms: int
    rejected: Rejected


class RejectedCount(NamedTuple):
    """How often one probe (or topic, where no probe is known) was refused for one reason, since ever."""

    probe: str | None
    topic: str | None
    reason: str
    times: int
    first_at_ms: int
    last_at_ms: int


class KeptEffect(NamedTuple):
    """An effect as kept: its cause, its word (alarm, notice, turn) and its plain body."""

    cause: Cause
    kind: str
    body: dict[str, Any]


class Minute(NamedTuple):
    """What a probe said in one minute (Unix ms of its begin): how often, the lowest, mean, highest and last
    value in the probe's own unit, when that last one was measured, and the flags of all of them."""

    begin_ms: int
    times: int
    low: float
    mean: float
    high: float
    last: float
    last_at_ms: int
    flags: int


class Quarter(Minute):
    """The same of a quarter of an hour. Where a span begins or ends within one, only the minutes in the span
    are in it, and it begins with the first of them."""

    __slots__ = ()


class Aside(NamedTuple):
    """A line the server refused, why, and when; its `number` in the store, and whether it is to be sent
    again."""

    at_ms: int
    line: str
    reason: str
    number: int = 0
    again: bool = False


class Sizes(NamedTuple):
    """Bytes: of the database, its write-ahead log, the reserve, and what is free on that disk."""

    database: int
    log: int
    reserve: int
    free: int
