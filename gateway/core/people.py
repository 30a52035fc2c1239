"""Who is on shift and who comes next, in the site's own time.

A shift's start and end are made from the local date and the clock on the wall, turned into UTC, and only
then compared: two shifts that meet on the wall meet on both days when the clocks change. A time the clock
leaves out counts an hour later, a time it shows twice counts the first time (PEP 495, fold 0).
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from gateway.core.site import Callout, Shift, Site

DAY_MIN = 24 * 60
#: After those on shift the others are called by role, in this order; then everybody else.
ROLES = ("maltster", "shift", "maintenance")


def local(time_zone: str, at_ms: int) -> datetime:
    """The clock on the wall at a Unix time in ms."""
    return (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=at_ms)).astimezone(ZoneInfo(time_zone))


@lru_cache(maxsize=256)
def instant_ms(time_zone: str, day: date, minute: int) -> int:
    """Unix ms at which the wall shows so many minutes after that day's midnight (1440 on: days later)."""
    day += timedelta(days=minute // DAY_MIN)
    hour, rest = divmod(minute % DAY_MIN, 60)
    wall = datetime(day.year, day.month, day.day, hour, rest, tzinfo=ZoneInfo(time_zone))
    return round(wall.timestamp()) * 1000


def next_instant_ms(time_zone: str, after_ms: int, minute: int) -> int:
    """The first time after `after_ms` at which the wall shows that minute of the day, Unix ms."""
    today = local(time_zone, after_ms).date()
    ahead = (instant_ms(time_zone, today + timedelta(days=days), minute) for days in range(-1, 3))
    return next(at_ms for at_ms in ahead if at_ms > after_ms)


def is_night(callout: Callout, time_zone: str, at_ms: int) -> bool:
    """Whether good news is silent at this time."""
    wall = local(time_zone, at_ms)
    minute = wall.hour * 60 + wall.minute
    start, end = callout.night_from_min, callout.night_to_min
    return start <= minute < end if start < end else minute >= start or minute < end


def _holds(shift: Shift, time_zone: str, at_ms: int) -> bool:
    today = local(time_zone, at_ms).date()
    to_min = shift.to_min + (DAY_MIN if shift.to_min <= shift.from_min else 0)
    for day in (today, today - timedelta(days=1)):
        if day.weekday() in shift.days:
            start = instant_ms(time_zone, day, shift.from_min)
            if start <= at_ms < instant_ms(time_zone, day, to_min):
                return True
    return False


def on_shift(site: Site, at_ms: int) -> tuple[str, ...]:
    """The people on shift, as the shifts name them, each once; those without a phone are not among them."""
    named = (who for shift in site.shifts if _holds(shift, site.time_zone, at_ms) for who in shift.people)
    return tuple(who for who in dict.fromkeys(named) if site.phones_of.get(who))


def order(site: Site, at_ms: int) -> tuple[str, ...]:
    """Everybody who has a phone, in the order of calling: on shift, then by role, then as in the file."""

    def rank(role: str) -> int:
        return ROLES.index(role) if role in ROLES else len(ROLES)

    others = sorted(site.people, key=lambda person: rank(person.role))
    named = (*on_shift(site, at_ms), *(person.id for person in others))
    return tuple(who for who in dict.fromkeys(named) if site.phones_of.get(who))


def morning_reader(site: Site, at_ms: int) -> str | None:
    """Who gets the morning list: a maltster with a phone, else the first in the order of calling."""
    called = order(site, at_ms)
    maltsters = [who for who in called if site.person[who].role == "maltster"]
    return next(iter([*maltsters, *called]), None)
