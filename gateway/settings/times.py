"""Times of day, days of the week, and the first hour of a week that nobody covers."""

from __future__ import annotations

import re
from typing import Any

DAY_NAMES = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
DAY_MIN = 24 * 60
WEEK_MIN = 7 * DAY_MIN
_CLOCK = re.compile(r"(?:([01][0-9]|2[0-3]):([0-5][0-9])|(24):(00))\Z")


def minutes(text: str) -> int:
    """Minutes after midnight of "HH:MM"; "24:00" is 1440. Raises ValueError."""
    found = _CLOCK.match(text)
    if not found:
        raise ValueError('a time of day "HH:MM"')
    hour, minute = (part for part in found.groups() if part is not None)
    return int(hour) * 60 + int(minute)


def days(value: Any) -> tuple[int, ...]:
    """Days of the week, 0 = Monday, from "daily", "mon-fri", "sat", or a list of such. Raises ValueError."""
    words = value if isinstance(value, list) else [value]
    found = {day for word in words[:50] for day in _some_days(word)}
    if not found:
        raise ValueError(_DAYS)
    return tuple(sorted(found))


_DAYS = '"daily", a range like "mon-fri", or a list of ' + ", ".join(DAY_NAMES)


def _some_days(word: Any) -> list[int]:
    if word == "daily":
        return list(range(7))
    ends = word.split("-") if isinstance(word, str) else []
    if not 1 <= len(ends) <= 2 or any(end not in DAY_NAMES for end in ends):
        raise ValueError(_DAYS)
    begin, end = DAY_NAMES.index(ends[0]), DAY_NAMES.index(ends[-1])
    return [(begin + step) % 7 for step in range((end - begin) % 7 + 1)]


def first_gap(stretches: list[tuple[int, int, int]]) -> tuple[str, str] | None:
    """The first stretch of a week without cover, as ("tue 22:00", "wed 06:00"); None where there is none.

    `stretches` are (day, from_min, to_min), local wall time, `to_min` up to a day beyond midnight.
    """
    covered = bytearray(2 * WEEK_MIN)
    for day, from_min, to_min in stretches:
        start, end = day * DAY_MIN + from_min, day * DAY_MIN + to_min
        covered[start:end] = b"\x01" * (end - start)
    week = bytes(a | b for a, b in zip(covered[:WEEK_MIN], covered[WEEK_MIN:], strict=True))
    begin = week.find(0)
    if begin < 0:
        return None
    end = week.find(1, begin)
    return _week_time(begin), _week_time(WEEK_MIN if end < 0 else end)


def _week_time(minute: int) -> str:
    if minute == WEEK_MIN:
        return "sun 24:00"
    day, rest = divmod(minute, DAY_MIN)
    return f"{DAY_NAMES[day]} {rest // 60:02}:{rest % 60:02}"
