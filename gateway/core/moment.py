"""Moments and spans as people and files write them, to and from milliseconds."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

_LONGEST = 40
_RFC3339 = re.compile(
    r"(\d{4})-(\d\d)-(\d\d)[Tt ](\d\d):(\d\d):(\d\d)(?:\.(\d{1,9}))?([Zz]|[+-]\d\d:\d\d)", re.ASCII
)
_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)", re.ASCII)
_SPAN = re.compile(r"(?:(\d{1,4})h)?(?:(\d{1,5})(?:min|m))?(?:(\d{1,7})s)?", re.ASCII)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MS = timedelta(milliseconds=1)


def rfc3339(at_ms: int) -> str:
    """The moment (Unix ms) as RFC 3339 in UTC with milliseconds and `Z`, as every document writes it."""
    return (_EPOCH + timedelta(milliseconds=at_ms)).strftime("%Y-%m-%dT%H:%M:%S.") + f"{at_ms % 1000:03d}Z"


def parse(text: str) -> int:
    """Unix ms of an RFC 3339 time with its offset; fractions below a millisecond are cut off.

    Raises ValueError saying what was expected; a time without offset is refused, it could be any zone's.
    """
    found = _RFC3339.fullmatch(text) if len(text) <= _LONGEST else None
    if not found:
        raise ValueError(f"{text[:_LONGEST]!r}: expected a time like 2024-11-05T04:50:00Z, with its offset")
    year, month, day, hour, minute, second = (int(part) for part in found.groups()[:6])
    fraction, offset = found.group(7) or "0", found.group(8)
    try:
        # A leap second (:60) is the next minute's first: Unix time has no other name for it.
        wall = datetime(year, month, day, hour, minute, min(second, 59), tzinfo=UTC)
    except ValueError as fault:
        raise ValueError(f"{text!r}: {fault}") from fault
    if second > 60:
        raise ValueError(f"{text!r}: second must be in 0..60")
    whole_ms = (wall - _EPOCH) // _MS + (1000 if second == 60 else 0)
    return whole_ms - _offset_ms(text, offset) + int(fraction.ljust(3, "0")[:3])


def _offset_ms(text: str, offset: str) -> int:
    if offset in "Zz":
        return 0
    hours, minutes = int(offset[1:3]), int(offset[4:6])
    if hours > 23 or minutes > 59:
        raise ValueError(f"{text!r}: the offset {offset} does not exist")
    return (hours * 60 + minutes) * 60_000 * (-1 if offset[0] == "-" else 1)


def typed(text: str, now_ms: int, time_zone: str) -> int:
    """Unix ms of what a person types: RFC 3339 with offset, or HH:MM for the last such local time.

    Raises ValueError. A local time that happened twice in the autumn is taken as the later one that is past.
    """
    clock = _CLOCK.fullmatch(text)
    if not clock:
        return parse(text)
    zone = ZoneInfo(time_zone)
    hour, minute = int(clock.group(1)), int(clock.group(2))
    today = datetime.fromtimestamp(now_ms // 1000, zone).date()
    for back in range(4):
        day = today - timedelta(days=back)
        for fold in (1, 0):
            local = datetime(day.year, day.month, day.day, hour, minute, fold=fold, tzinfo=zone)
            at_ms = (local - _EPOCH) // _MS
            # In spring an hour of local times does not exist: such a one reads differently turned back.
            real = datetime.fromtimestamp(at_ms // 1000, zone)
            if at_ms <= now_ms and (real.hour, real.minute) == (hour, minute):
                return at_ms
    raise ValueError(f"{text!r}: no such time in the last days in {time_zone}")


def span_s(text: str) -> float:
    """Seconds of a span as typed: `2h`, `45min`, `90s`, `1h30min`; raises ValueError for anything else."""
    found = _SPAN.fullmatch(text) if text and len(text) <= _LONGEST else None
    if not found:
        raise ValueError(f"{text[:_LONGEST]!r}: expected a span like 2h, 45min, 90s or 1h30min")
    hours, minutes, seconds = (int(part or 0) for part in found.groups())
    return hours * 3600.0 + minutes * 60.0 + seconds


def local(at_ms: int, time_zone: str, now_ms: int) -> str:
    """The local time as a person reads it: `04:50`, with the date before it where it is not today's."""
    zone = ZoneInfo(time_zone)
    when = datetime.fromtimestamp(at_ms // 1000, zone)
    today = datetime.fromtimestamp(now_ms // 1000, zone).date()
    if when.date() == today:
        return when.strftime("%H:%M")
    return when.strftime("%d %b %H:%M") if when.year == today.year else when.strftime("%d %b %Y %H:%M")
