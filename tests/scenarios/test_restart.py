"""A gateway that is cut off in the middle, again and again, and one that was down for six hours."""

import random
import sqlite3
import zlib
from collections.abc import Callable
from contextlib import closing

import pytest

from gateway.core.inputs import Resumed
from gateway.edges.sqlite.place import DATABASE
from tests.scenarios.floor import HOUR, MINUTE, Night, before, held_from, live, sent_by
from tests.scenarios.gate import Alarm, Gate
from tests.scenarios.story import Story, calls, journal, only, replayed, same, show, signals, story

WITHIN_MS = 3 * MINUTE
#: After a start a probe has its whole allowance again (beds 30 min, gas 5) before it counts as silent.
ALLOWANCE = {"probe_silent": 30 * MINUTE, "bed_unwatched": 30 * MINUTE}
CUTS = 8


@pytest.mark.parametrize("seed", [1, 2])
def test_cut_off_anywhere_it_ends_in_the_same_alarms(
    full_night: Night, undisturbed: list[Alarm], gates: Callable[..., Gate], seed: int
) -> None:
    """Eight times: before or after a commit, a settlement, a judgement; what was in memory is lost."""
    draw = random.Random(f"cuts {seed}")
    gate = gates(full_night.start_ms)
    told = story(gate, full_night)
    first_ms = full_night.start_ms + draw.randrange(25 * MINUTE)
    for slot in range(CUTS):
        # Closer together than a probe's allowance they would put off its silence again and again.
        told.cuts[first_ms + slot * HOUR + draw.randrange(25 * MINUTE)] = draw.randint(1, 12)
    told.until(full_night.start_ms + 8 * HOUR)
    apart_ms = same(gate.alarms(), undisturbed, WITHIN_MS, ALLOWANCE)
    assert len(gate.cuts) == CUTS
    counts = gate.counts()
    assert counts["kept"] == len(full_night.messages)
    assert counts["received"] == counts["kept"] + counts.get("duplicates", 0) + counts.get("redelivered", 0)
    assert not gate.bench.waiting
    compared = replayed(gate)
    show(f"seed {seed}: cut at {gate.cuts}, {len(undisturbed)} alarms, at most {apart_ms / 1000:.0f} s "
         f"apart; {counts}; {compared} effects live = replay")  # fmt: skip


@pytest.mark.long
@pytest.mark.parametrize("seed", range(10, 30))
def test_cut_off_at_more_points(
    full_night: Night, undisturbed: list[Alarm], gates: Callable[..., Gate], seed: int
) -> None:
    test_cut_off_anywhere_it_ends_in_the_same_alarms(full_night, undisturbed, gates, seed)


def test_after_a_restart_what_stands_unanswered_calls_once(
    hot_night: Night, gates: Callable[..., Gate]
) -> None:
    gate = gates(hot_night.start_ms)
    told = story(gate, hot_night)
    told.until(hot_night.start_ms + 100 * MINUTE)
    [before_cut] = [one.at_ms for one in calls(gate, "bed_hot")[-1:]]
    gate.fall()
    told.down = True
    told.until(told.now_ms + 2 * MINUTE)
    gate.open()
    told.down = False
    resumed_ms = told.now_ms
    told.until(told.now_ms + 20 * MINUTE)
    rung = [one for one in calls(gate, "bed_hot", "bed-c") if one.at_ms > before_cut]
    assert [round((one.at_ms - resumed_ms) / MINUTE) for one in rung if one.person == "ben"] == [0, 15]
    assert [one.kind for one in rung if one.person == "ben"] == ["repeat", "repeat"]
    assert signals(only(gate, "bed_hot", "bed-c")) == ["raise"]
    replayed(gate)


def test_a_state_of_another_version_is_made_again_and_nobody_is_called_for_the_past(
    hot_night: Night, gates: Callable[..., Gate]
) -> None:
    gate = gates(hot_night.start_ms)
    told = story(gate, hot_night)
    told.until(hot_night.start_ms + 100 * MINUTE)
    known = calls(gate, "bed_hot", "bed-c")
    numbers = [one.line.alarm.number for one in gate.alarms()]
    gate.fall()
    with closing(sqlite3.connect(gate.store / DATABASE)) as db, db:
        db.execute("UPDATE snapshot SET body = ?", (zlib.compress(b'{"another": "version"}'),))
    gate.open()
    resumed_ms = told.now_ms
    told.until(told.now_ms + 20 * MINUTE)

    later = calls(gate, "bed_hot", "bed-c")[len(known) :]
    assert [one.line.alarm.number for one in gate.alarms()][: len(numbers)] == numbers
    assert calls(gate, "bed_hot", "bed-c")[: len(known)] == known
    assert later
    assert min(one.at_ms for one in later) >= resumed_ms
    assert gate.counts().get("effects_differing", 0) == 0


def test_what_another_version_did_not_call_for_is_not_called_for_later(
    hot_night: Night, gates: Callable[..., Gate]
) -> None:
    """As if the version before had known no such call: judging again for the state must not make it now."""
    gate = gates(hot_night.start_ms)
    told = story(gate, hot_night)
    told.until(hot_night.start_ms + 100 * MINUTE)
    assert calls(gate, "bed_hot", "bed-c")
    gate.fall()
    with closing(sqlite3.connect(gate.store / DATABASE)) as db, db:
        db.execute("UPDATE snapshot SET body = ?", (zlib.compress(b'{"another": "version"}'),))
        db.execute("DELETE FROM notice")
        db.execute("DELETE FROM effect WHERE kind = 'notice'")
    gate.open()
    resumed_ms = told.now_ms
    told.until(told.now_ms + 20 * MINUTE)

    later = calls(gate, "bed_hot", "bed-c")
    assert later
    assert min(one.at_ms for one in later) >= resumed_ms


@pytest.fixture(scope="module")
def long_night() -> Night:
    """Ten hours: C runs hot at once and is turned in the third; B runs hot in the fifth and goes on."""
    starts = {"bed-b": {"temperature_c": 20.6, "since_turn_h": 2.0, "age_h": 60.0}}
    return live("2026-03-05T18:00:00Z", 10.0, turns=[(2.5, "bed-c")], starts=starts)


def test_six_hours_down_with_a_backlog(long_night: Night, gates: Callable[..., Gate]) -> None:
    """Down from 18:20 to 00:30: C was hot and is cool again, B is hot by then. B is called, C is history."""
    gate = gates(long_night.start_ms)
    told = Story(gate, long_night.start_ms, long_night.messages)
    for event in before(long_night.start_ms):
        gate.record(event)
    down_ms, up_ms = long_night.start_ms + 20 * MINUTE, long_night.start_ms + 390 * MINUTE
    told.until(down_ms)
    assert not [one for one in gate.alarms() if one.kind == "bed_hot"]
    gate.fall()
    told.down = True
    told.until(up_ms)
    backlog = gate.bench.waiting
    # It was turned while the gateway was down, and that is recorded only now.
    for at_ms, event in long_night.done:
        assert down_ms < at_ms < up_ms, event
    gate.open()
    told.down = False
    told.until(long_night.start_ms + 10 * HOUR)

    [resumed] = [entry.what for entry in journal(gate) if isinstance(entry.what, Resumed)]
    assert abs(resumed.down_ms - (up_ms - down_ms)) < 15_000
    assert backlog > 7000
    hot = {one.place: one for one in gate.alarms() if one.kind == "bed_hot"}
    assert sorted(map(str, hot)) == ["bed-b", "bed-c"]
    _old_news(long_night, gate, hot["bed-c"])
    _present_news(long_night, gate, hot["bed-b"], up_ms)
    # Nobody is silent: while the backlog comes in no probe is asked where it was.
    assert not [one for one in gate.alarms() if one.kind in ("probe_silent", "bed_unwatched")]
    counts = gate.counts()
    assert counts["kept"] == counts["received"] == len(long_night.messages)
    show(f"backlog {backlog}, {counts}, {replayed(gate)} effects live = replay")


def _first_held(night: Night, bed: str) -> int:
    held = [
        held_from(sent_by(night.messages, f"quern-hill/{bed}/{bed}-{one}"), 22.0, 10 * MINUTE)
        for one in ("low", "mid", "top")
    ]
    return min(at_ms for at_ms in held if at_ms is not None)


def _old_news(night: Night, gate: Gate, alarm: Alarm) -> None:
    """In the history with the time it happened, marked late; nobody was called."""
    assert alarm.line.alarm.late
    assert alarm.line.alarm.state == "normal"
    assert abs(alarm.raised_ms + 10 * MINUTE - _first_held(night, "bed-c")) < WITHIN_MS
    assert not calls(gate, "bed_hot", "bed-c")


def _present_news(night: Night, gate: Gate, alarm: Alarm, up_ms: int) -> None:
    """Hot before the gateway was up again: it is called as soon as a fresh reading says so."""
    assert _first_held(night, "bed-b") < up_ms
    assert not alarm.line.alarm.late
    rung = calls(gate, "bed_hot", "bed-b")
    assert rung
    assert 0 <= rung[0].at_ms - up_ms <= WITHIN_MS
