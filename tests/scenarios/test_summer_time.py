"""Both nights on which the clocks change: shifts and morning go by the wall, the turn clock by hours lived.

Expected times are made here from the wall time and the zone's rules (tz database), not by the gateway's code.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from gateway.core.site import Shift
from gateway.settings import Settings
from tests.scenarios.floor import HOUR, MINUTE, live
from tests.scenarios.gate import MANY, Gate
from tests.scenarios.story import calls, replayed, show, story

LONDON = ZoneInfo("Europe/London")
SATURDAY, SUNDAY = 5, 6
#: So that each change of shift brings somebody who was not there before.
SHIFTS = (
    Shift(("dan",), (SATURDAY,), 6 * 60, 22 * 60),
    Shift(("cleo",), (SATURDAY,), 22 * 60, 30 * 60),
    Shift(("ben",), (SUNDAY,), 6 * 60, 22 * 60),
)
NIGHTS = ["2026-03-28", "2026-10-24"]


def _wall(day: str, hour: int) -> int:
    """Unix ms of a whole hour on the wall; hours past 24 are the next day's."""
    date = datetime.fromisoformat(day)
    local = date.replace(day=date.day + hour // 24, hour=hour % 24, tzinfo=LONDON)
    return round(local.timestamp()) * 1000


def _shown(at_ms: int) -> str:
    """What the clock on the wall shows."""
    return datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(LONDON).strftime("%H:%M")


@pytest.mark.parametrize("saturday", NIGHTS)
def test_the_night_the_clocks_change(saturday: str, quern_hill: Settings, gates: Callable[..., Gate]) -> None:
    night = live(f"{saturday}T19:00:00Z", 13.0)
    gate = gates(night.start_ms, replace(quern_hill, site=replace(quern_hill.site, shifts=SHIFTS)))
    story(gate, night).until(night.start_ms + 13 * HOUR)

    overdue = {one.place: one for one in gate.alarms() if one.kind == "turn_overdue"}
    # Turned 11, 3 and 3 hours before the start: overdue when 12 hours have been lived, clocks or not.
    assert overdue["bed-c"].raised_ms == night.start_ms + 1 * HOUR
    assert overdue["bed-a"].raised_ms == overdue["bed-d"].raised_ms == night.start_ms + 9 * HOUR
    _people_come_on_by_the_wall(saturday, gate)
    _words_say_what_the_wall_shows(gate, night.start_ms)
    _the_morning_list_comes_at_seven(saturday, gate)
    show(f"{saturday}: {replayed(gate)} effects live = replay")


def _people_come_on_by_the_wall(saturday: str, gate: Gate) -> None:
    """Whoever is on shift is rung from the first repeat after the shift began, and not after it ended."""
    rung = calls(gate, "turn_overdue", "bed-c")
    assert max(one.at_ms for one in rung if one.person == "dan") < _wall(saturday, 22)
    assert max(one.at_ms for one in rung if one.person == "cleo") < _wall(saturday, 30)
    first = {who: min(one.at_ms for one in rung if one.person == who) for who in ("dan", "cleo", "ben")}
    assert first["dan"] == min(one.at_ms for one in rung)
    assert 0 <= first["cleo"] - _wall(saturday, 22) <= 16 * MINUTE
    assert 0 <= first["ben"] - _wall(saturday, 30) <= 16 * MINUTE
    new = calls(gate, "turn_overdue", "bed-a")[0]
    assert new.person == ("ben" if new.at_ms >= _wall(saturday, 30) else "cleo")


def _words_say_what_the_wall_shows(gate: Gate, start_ms: int) -> None:
    text = calls(gate, "turn_overdue", "bed-a")[0].text
    turned, wanted = _shown(start_ms - 3 * HOUR), _shown(start_ms + 5 * HOUR)
    # Bad air goes before when it was turned, where there is no room for both.
    assert f"anted by {wanted}, now {_shown(start_ms + 9 * HOUR)}" in text
    assert f"Last turned {turned}" in text or "Air the room" in text


def _the_morning_list_comes_at_seven(saturday: str, gate: Gate) -> None:
    assert gate.reader is not None
    lists = [one.notice for one in gate.reader.notices(MANY) if one.notice.alarm is None]
    assert [one.at_ms for one in lists] == [_wall(saturday, 31)]


def test_these_are_the_nights() -> None:
    """One is an hour short, the other an hour long (the rules of 1996/31/EC as the tz database has them)."""
    lengths = [(_wall(day, 30) - _wall(day, 22)) / HOUR for day in NIGHTS]
    assert lengths == [7.0, 9.0]
