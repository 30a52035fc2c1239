"""What a rule has found: the same value feeds the alarm, the message and the record."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple


class Subject(NamedTuple):
    """What an alarm is about: one alarm per (kind, place or probe). Gateway alarms have neither."""

    kind: str
    place: str | None = None
    probe: str | None = None


@dataclass(frozen=True, slots=True)
class Finding:
    """A condition that holds (`on`) or has ended, with all that its message needs.

    `level` is the limit's name (high, urgent, low, overdue, silent …); `rank` orders levels of one subject:
    a higher rank makes an answered alarm unanswered again. `since_ms` and `measured_at_ms` are Unix ms;
    `trend_per_h` is in `unit` per hour; `next_at_ms` is when `next_limit` is reached at that trend.
    `late` marks a condition found in old readings: it completes the history and calls nobody. `inside` are
    people who checked in there; `air` is what is known of the air where somebody is sent.
    `room_c` is the room's air where it is too warm for turning to help.
    """

    subject: Subject
    on: bool
    priority: str
    level: str
    rank: int = 0
    value: float | None = None
    unit: str | None = None
    limit: float | None = None
    measured_at_ms: int | None = None
    since_ms: int | None = None
    trend_per_h: float | None = None
    next_limit: float | None = None
    next_at_ms: int | None = None
    late: bool = False
    hottest_probe: str | None = None
    piece: str | None = None
    day: int | None = None
    last_turned_ms: int | None = None
    wanted_by_ms: int | None = None
    detail: str = ""
    inside: tuple[str, ...] = ()
    air: str = ""
    room_c: float | None = None
