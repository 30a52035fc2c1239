"""The gateway's clock is set while it runs: forward, a little back, far back, and to 2040 and back again.

The probes keep good time throughout. Durations (delays, holds, repeats, silence) must not notice; a
wrong clock must not stick.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import pytest

from gateway.core import views
from gateway.core.inputs import Answered, Cast, ClockStepped
from gateway.core.timeline import REBASE_MS
from gateway.settings import Settings
from simulators.mishaps import Timed
from tests.scenarios.floor import HOUR, MINUTE, Night, ms
from tests.scenarios.gate import Alarm, Gate
from tests.scenarios.story import calls, journal, only, replayed, same, signals, story

WITHIN_MS = 3 * MINUTE
DECADES_MS = ms("2040-01-01T00:00:00Z") - ms("2026-03-06T00:00:00Z")


def _stepping(by_ms: int) -> Callable[[Gate], None]:
    return lambda gate: gate.hand.step(by_ms)


def _steps(gate: Gate) -> list[int]:
    return [entry.what.by_ms for entry in journal(gate) if isinstance(entry.what, ClockStepped)]


def _at_never_runs_back_but_by_a_rebase(gate: Gate) -> None:
    entries = journal(gate)
    for one, after in pairwise(entries):
        assert after.run_ms >= one.run_ms
        if after.at_ms < one.at_ms:
            assert isinstance(after.what, ClockStepped)
            assert after.what.by_ms < -REBASE_MS


@pytest.mark.parametrize(
    ("forth_ms", "back_ms", "steps"),
    [
        (3 * MINUTE, -3 * MINUTE, 2),
        (-3 * MINUTE, 3 * MINUTE, 2),
        (HOUR, -HOUR, 2),
        (DECADES_MS, -DECADES_MS, 2),
    ],
    ids=["3 min on", "3 min back", "1 h on", "to 2040"],
)
def test_a_wrong_clock_for_a_while_does_not_stick(
    full_night: Night, undisturbed: list[Alarm], gates: Callable[..., Gate],
    forth_ms: int, back_ms: int, steps: int,
) -> None:  # fmt: skip
    """Wrong for eight minutes, at a quiet time; then all is as if nothing had been."""
    gate = gates(full_night.start_ms)
    told = story(gate, full_night)
    told.do(full_night.start_ms + 135 * MINUTE, _stepping(forth_ms))
    told.do(full_night.start_ms + 143 * MINUTE, _stepping(back_ms))
    told.until(full_night.start_ms + 8 * HOUR)
    assert len(_steps(gate)) == steps
    assert sum(_steps(gate)) == forth_ms + back_ms
    _at_never_runs_back_but_by_a_rebase(gate)
    found = [one for one in gate.alarms() if not _of_the_wrong_calendar(one, full_night)]
    same(found, undisturbed, WITHIN_MS)
    assert gate.counts()["kept"] == len(full_night.messages)
    replayed(gate)


def _of_the_wrong_calendar(one: Alarm, night: Night) -> bool:
    """In 2040 every bed is overdue, for the turn clock goes by the calendar; that ends with it.

    An hour on, what the probes say is an hour old and calls nobody: the room's gas probe, with the shortest
    allowance of silence, is put on the list as long as that lasts, and the room's air is not known.
    """
    if one.probe == "lower-room-co2" and one.kind in ("probe_silent", "air_unknown"):
        assert one.line.alarm.priority == ("low" if one.kind == "probe_silent" else "high")
        assert one.line.alarm.state in ("normal", "returned_unacknowledged")
        return True
    if one.kind != "turn_overdue" or one.raised_ms < night.start_ms + 24 * HOUR:
        return False
    assert one.line.alarm.state in ("normal", "returned_unacknowledged")
    return True


def test_a_clock_an_hour_slow_is_set_right(hot_night: Night, gates: Callable[..., Gate]) -> None:
    """The machine has no clock of its own and nobody has set it yet: readings that seem to come from the
    future are kept, and judged at the time they came. When the clock is set, nothing is called twice."""
    gate = gates(hot_night.start_ms - HOUR)
    gate.hand.trusted = False
    told = story(gate, hot_night)
    told.do(hot_night.start_ms + 75 * MINUTE, lambda gate: gate.hand.set_right(HOUR))
    told.until(hot_night.start_ms + 4 * HOUR)
    hot = only(gate, "bed_hot", "bed-c")
    rung = calls(gate, "bed_hot", "bed-c")
    assert signals(hot) == ["raise"]
    raised_run = hot.raised_ms + HOUR - hot_night.start_ms
    # By arrival, which the steps of the story move by half a minute, not by the probe's own time.
    assert 29 * MINUTE <= raised_run <= 32 * MINUTE
    # Each 15 min, and once more when the clock was set; from the change of shift on who has come instead of
    # who has gone.
    assert len(rung) >= 13
    people = [one.person for one in rung]
    assert people == sorted(people, key=people.index)
    assert gate.counts()["kept"] == len(told.brought)
    replayed(gate)


def _timeless(settings: Settings, night: Night) -> tuple[Settings, list[Timed]]:
    """The same night from probes that send bare numbers, without a time."""
    site = settings.site
    probes = tuple(replace(probe, payload="number", value="") for probe in site.probes)
    bare = [
        one
        if one.topic.endswith("outdoors-air")
        else one._replace(payload=str(json.loads(one.payload)["v"]).encode())
        for one in night.messages
    ]
    return replace(settings, site=replace(site, probes=probes)), bare


@pytest.mark.parametrize(
    "by_ms", [-3 * MINUTE, -HOUR, HOUR, DECADES_MS], ids=["-3 min", "-1 h", "1 h", "2040"]
)
def test_probes_without_a_time_go_on_being_judged(
    full_night: Night, undisturbed: list[Alarm], quern_hill: Settings, gates: Callable[..., Gate], by_ms: int
) -> None:
    """Their readings bear the gateway's own time: a wrong one must neither hide the next nor call early."""
    site, bare = _timeless(quern_hill, full_night)
    gate = gates(full_night.start_ms, site)
    told = story(gate, full_night, bare)
    told.do(full_night.start_ms + 12 * MINUTE, _stepping(by_ms))
    told.do(full_night.start_ms + 22 * MINUTE, _stepping(-by_ms))
    told.until(full_night.start_ms + 8 * HOUR)
    # The turn clock goes by the calendar, right or wrong: another test's matter.
    same(_without_turns(gate.alarms()), _without_turns(undisturbed), WITHIN_MS)
    assert gate.counts()["kept"] == len(bare)
    replayed(gate)


def _without_turns(alarms: list[Alarm]) -> list[Alarm]:
    return [one for one in alarms if one.kind != "turn_overdue"]


def test_after_a_start_in_2040_silence_is_noticed_and_turns_count(
    full_night: Night, gates: Callable[..., Gate]
) -> None:
    """The machine wakes with a dead battery's date; a turn is recorded under it; then the clock is set."""
    gate = gates(full_night.start_ms + DECADES_MS)
    told = story(gate, full_night)
    told.acts.clear()
    gate.record(Cast("bed-d", "12"))
    told.do(full_night.start_ms + 5 * MINUTE, _stepping(-DECADES_MS))
    told.do(full_night.start_ms + 10 * MINUTE, lambda gate: gate.fall())
    told.do(full_night.start_ms + 10 * MINUTE, lambda gate: gate.open())
    told.until(full_night.start_ms + 8 * HOUR)
    silent = [one for one in gate.alarms() if one.kind == "probe_silent"]
    # First the gas probe, while all that comes is fourteen years old; then those that really fall silent.
    assert [one.probe for one in silent] == [
        "lower-room-co2", "bed-a-mid", "bed-d-mid", "bed-d-top", "bed-d-low",
    ]  # fmt: skip
    [bed_d] = [row for row in views.beds(gate.state()) if row["bed"] == "bed-d"]
    assert (bed_d["piece"], bed_d["day"]) == ("12", 0)
    lying = gate.state().pieces.beds["bed-d"]
    assert lying.couch_ends_ms is not None
    # The couch lasts 30 h at most (the example's programme), from a cast that was not in 2040.
    assert 30 * HOUR <= lying.couch_ends_ms - full_night.start_ms <= 30 * HOUR + 6 * MINUTE
    replayed(gate)


def test_an_answer_holds_for_45_minutes_whatever_the_clock_does(
    hot_night: Night, gates: Callable[..., Gate]
) -> None:
    gate = gates(hot_night.start_ms)
    told = story(gate, hot_night)
    told.do(hot_night.start_ms + 40 * MINUTE, _answer)
    told.do(hot_night.start_ms + 50 * MINUTE, _stepping(HOUR))
    told.do(hot_night.start_ms + 55 * MINUTE, _stepping(-2 * HOUR))
    told.do(hot_night.start_ms + 60 * MINUTE, _stepping(HOUR))
    told.until(hot_night.start_ms + 95 * MINUTE)
    held, again = only(gate, "bed_hot", "bed-c").line.history[1:3]
    assert (held.signal, again.signal) == ("answer", "realarm")
    assert abs(again.at_ms - held.at_ms - 45 * MINUTE) <= 11_000
    replayed(gate)


def _answer(gate: Gate) -> None:
    gate.record(Answered(only(gate, "bed_hot", "bed-c").line.alarm.number, "going", by="ben"))
