"""Moments and spans as people and files write them, to and from milliseconds."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from gateway.core.people import next_instant_ms
from gateway.core.wire.moment import EXPECTED, moment_ms
from gateway.core.wire.refusal import Refusal

_LONGEST = 40
#: A time of day as people write it.
CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)", re.ASCII)
_LIKE_CLOCK = re.compile(r"(\d{1,2}):(\d\d)", re.ASCII)
#: What a person may type for a time, and for a time that has its date.
FULL = "date, time and offset such as 2024-11-05T04:50:00Z"
FORMS = f"HH:MM such as 04:50, or {FULL}"
_SPAN = re.compile(r"(?:(\d{1,4})h)?(?:(\d{1,5})(?:min|m))?(?:(\d{1,7})s)?", re.ASCII)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MS = timedelta(milliseconds=1)


def rfc3339(at_ms: int) -> str:
    """The moment (Unix ms) as RFC 3339 in UTC with milliseconds and `Z`, as every document writes it."""
    return (_EPOCH + timedelta(milliseconds=at_ms)).strftime("%Y-%m-%dT%H:%M:%S.") + f"{at_ms % 1000:03d}Z"


def parse(text: str) -> int:
    """Unix ms of an RFC 3339 time with its offset; fractions below a millisecond are cut off.

    Raises ValueError saying what is wrong with it and what was expected; a time without offset is refused, it
    could be any zone's.
    """
    return _parse(text, FULL)


def _parse(text: str, forms: str) -> int:
    try:
        return moment_ms(text)
    except Refusal as fault:
        # What a probe's time may be besides is nothing a person types.
        said = fault.detail.removesuffix(f"; {EXPECTED}")
        raise ValueError(f"{said}{_odd_clock(text)}; expected {forms}") from fault


def _odd_clock(text: str) -> str:
    """What is wrong with a time of day; empty for what does not look like one."""
    clock = _LIKE_CLOCK.fullmatch(text)
    if not clock or CLOCK.fullmatch(text):
        return ""
    hour, minute = clock.groups()
    return f": no day has an hour {hour}" if int(hour) > 23 else f": no hour has a minute {minute}"


def typed(text: str, now_ms: int, time_zone: str) -> int:
    """Unix ms of what a person types: RFC 3339 with offset, or HH:MM for the last such local time.

    Raises ValueError. A local time that happened twice in the autumn is taken as the later one that is past.
    """
    clock = CLOCK.fullmatch(text)
    if not clock:
        return _parse(text, FORMS)
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


def ahead(text: str, now_ms: int, time_zone: str) -> int:
    """As `typed`, but of a time to come: HH:MM is the next such local time."""
    clock = CLOCK.fullmatch(text)
    if not clock:
        return _parse(text, FORMS)
    return next_instant_ms(time_zone, now_ms, int(clock.group(1)) * 60 + int(clock.group(2)))


def span_s(text: str) -> float:
    """Seconds of a span as typed: `2h`, `45min`, `90s`, `1h30min`; raises ValueError for anything else."""
    found = _SPAN.fullmatch(text) if text and len(text) <= _LONGEST else None
    if not found:
        unit = "add h, min or s; " if text.isdecimal() else ""
        raise ValueError(f"{text[:_LONGEST]!r}: {unit}expected a span like 2h, 45min, 90s or 1h30min")
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
