"""When a notice is tried, and tried again: the plan of the outbox, on real time that only grows.

One notice is under way to a phone at a time. A failure waits 5 s, 30 s, 2 min, 5 min, then 10 min each time,
plus up to a fifth of that so that phones do not come in step; never less than the other side asked for, which
holds for all notices to that phone. The steps are our own choice for night calls: shorter than the days that
Standard Webhooks advises for business events, because another person has been called by then anyway.
"""

from __future__ import annotations

import re
from collections.abc import Container, Iterable, Sequence
from datetime import UTC, datetime
from typing import Protocol, TypeVar

STEPS_S = (5.0, 30.0, 120.0, 300.0, 600.0)
JITTER_SHARE = 0.2
#: A phone that asks for more is tried after this all the same: it is a night call, not a newsletter.
ASKED_MOST_S = 3600.0
HELD_S = 5.0
PRIORITIES = ("highest", "high", "medium", "low")

_MONTHS = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split()
_CLOCK = r"(?P<h>\d\d):(?P<m>\d\d):(?P<s>\d\d)"
_DATES = tuple(
    re.compile(form, re.ASCII)
    for form in (
        rf"\w{{3}}, (?P<d>\d\d) (?P<mon>\w{{3}}) (?P<y>\d{{4}}) {_CLOCK} GMT",
        rf"\w{{6,9}}, (?P<d>\d\d)-(?P<mon>\w{{3}})-(?P<y>\d\d) {_CLOCK} GMT",
        rf"\w{{3}} (?P<mon>\w{{3}}) (?P<d>[ \d]\d) {_CLOCK} (?P<y>\d{{4}})",
    )
)


class Waiting(Protocol):
    """What the plan must know of a notice that waits."""

    @property
    def number(self) -> int:
        """The notice's number."""

    @property
    def phone(self) -> str:
        """The phone it is for."""

    @property
    def priority(self) -> str:
        """One of PRIORITIES."""


Note = TypeVar("Note", bound=Waiting)


def retry_after_s(header: str, now_ms: int) -> float | None:
    """Seconds to wait from a Retry-After header (RFC 9110, 10.2.3): whole seconds or one of the three HTTP
    dates of 5.6.7, never negative; None for anything else."""
    header = header.strip()
    if header.isascii() and header.isdigit():
        return float(header[:10])
    for form in _DATES:
        found = form.fullmatch(header)
        if found:
            at_s = _unix_s(found, now_ms)
            return None if at_s is None else max(0.0, at_s - now_ms / 1000)
    return None


def _unix_s(found: re.Match[str], now_ms: int) -> float | None:
    """Unix seconds of a matched date; None where the calendar has no such day."""
    year = int(found["y"])
    if len(found["y"]) == 2:
        # RFC 9110: a year more than 50 years ahead is the latest past one with the same two digits.
        this_year = datetime.fromtimestamp(now_ms / 1000, UTC).year
        year += this_year // 100 * 100
        year -= 100 if year > this_year + 50 else 0
    try:
        month = _MONTHS.index(found["mon"]) + 1
        clock = (int(found["h"]), int(found["m"]), min(int(found["s"]), 59))
        return datetime(year, month, int(found["d"]), *clock, tzinfo=UTC).timestamp()
    except ValueError:
        return None


def wait_s(failures: int, asked_s: float | None, jitter: float) -> float:
    """Seconds until the next attempt after this many failures (at least 1); `jitter` is drawn from 0 to 1.

    `asked_s` is the other side's Retry-After: the wait is not shorter, but nothing asked for holds longer
    than ASKED_MOST_S.
    """
    step = STEPS_S[min(max(failures, 1), len(STEPS_S)) - 1]
    return max(step * (1 + JITTER_SHARE * jitter), min(asked_s or 0.0, ASKED_MOST_S))


class Plan:
    """Which notices may go now. Times are ms of a clock that only grows; nothing of it outlives the process:
    after a restart everything due goes at once."""

    def __init__(self) -> None:
        self._notice_from_ms: dict[int, int] = {}
        self._phone_from_ms: dict[str, int] = {}

    def failed(self, notice: Waiting, now_ms: int, wait_s: float, phone_hold_s: float = 0.0) -> None:
        """Not this notice again before `wait_s`, and nothing to its phone before `phone_hold_s`."""
        self._notice_from_ms[notice.number] = now_ms + round(wait_s * 1000)
        if phone_hold_s > 0:
            self._phone_from_ms[notice.phone] = now_ms + round(min(phone_hold_s, ASKED_MOST_S) * 1000)

    def keep_only(self, numbers: Container[int]) -> None:
        """Forget notices that are no longer due: withdrawn, delivered, given up."""
        self._notice_from_ms = {n: at for n, at in self._notice_from_ms.items() if n in numbers}

    def from_ms(self, notice: Waiting) -> int:
        """The earliest time this notice may go; 0 for at once."""
        return max(self._notice_from_ms.get(notice.number, 0), self._phone_from_ms.get(notice.phone, 0))

    def ready(self, due: Sequence[Note], busy: Container[str], now_ms: int) -> list[Note]:
        """For each phone that is not busy the notice to send now: the gravest, then the oldest."""
        first: dict[str, Note] = {}
        for notice in sorted(due, key=_order):
            if notice.phone not in busy and self.from_ms(notice) <= now_ms:
                first.setdefault(notice.phone, notice)
        return list(first.values())

    def held(self, due: Iterable[Note], busy: Container[str], now_ms: int) -> list[tuple[Note, float]]:
        """Notices never tried whose phone asked to be left alone for HELD_S more or longer, with that time.

        Their callers must know at once that this phone is out of reach, not when its time is over.
        """
        found: dict[str, tuple[Note, float]] = {}
        for notice in due:
            hold_s = (self._phone_from_ms.get(notice.phone, 0) - now_ms) / 1000
            if hold_s >= HELD_S and notice.phone not in busy and notice.number not in self._notice_from_ms:
                found.setdefault(notice.phone, (notice, hold_s))
        return list(found.values())

    def next_ms(self, due: Iterable[Waiting], busy: Container[str]) -> int | None:
        """When the next notice may go, of those whose phone is not busy; None where nothing waits."""
        return min((self.from_ms(notice) for notice in due if notice.phone not in busy), default=None)


def _order(notice: Waiting) -> tuple[int, int]:
    known = notice.priority in PRIORITIES
    return (PRIORITIES.index(notice.priority) if known else 0, notice.number)
