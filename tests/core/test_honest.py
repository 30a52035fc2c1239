"""Doubts about probes: what begins and ends each, and that none silences the hottest."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest

from gateway.core import engine, views
from gateway.core.effects import AlarmChange
from gateway.core.estimate.turn_seen.bed import TurnSeen
from gateway.core.follow.turns_state import Seen
from gateway.core.inputs import Cast, ClockStepped, Entry, PutInService, PutOutOfService, Refused, Turned
from gateway.core.inputs_journey import HandRead, Thinned
from gateway.core.reading import OWN_TIME, RANGE_HIGH, Reading
from gateway.core.site import Probe
from tests.core.desk import HOUR, MINUTE, START, Desk, site, temperature

HOUR_MIN, DAY_MIN = 60, 1440


def _desk(*more: Probe) -> Desk:
    """The small site with a thermometer in the lower room, and `more` probes."""
    probes = (*site().probes, temperature("r1", "room"), *more)
    return Desk(site(probes=probes))


def _begun(desk: Desk, kind: str) -> list[str | None]:
    return [one.probe for one in desk.alarms(kind) if one.change.signal == "raise"]


def _ended(desk: Desk, kind: str) -> list[str | None]:
    return [one.probe for one in desk.alarms(kind) if one.change.signal == "clear"]


def _row(desk: Desk, probe: str) -> dict[str, object]:
    return next(row for row in views.probes(desk.state) if row["probe"] == probe)


def _minutes(desk: Desk, from_min: int, to_min: int, **says: float) -> None:
    """Each probe says its value each minute."""
    for minute in range(from_min, to_min):
        for probe, value in says.items():
            desk.read(minute, probe, value)


def _left_out(desk: Desk) -> None:
    """Bed B, one probe at 17 over a room at 12: turned and recorded, and the probe stays on its hook."""
    desk.lay(0, Cast("bed-b", "14", when_ms=START - 60 * HOUR))
    _minutes(desk, 1, 120, b1=17.0, r1=12.0)
    desk.lay(120, Turned("bed-b"))
    _minutes(desk, 121, 300, b1=12.1, r1=12.0)


def test_a_probe_not_back_after_a_turn_is_said_and_watches_nothing() -> None:
    desk = _desk()
    _left_out(desk)
    assert _begun(desk, "probe_not_back") == ["b1"]
    (raised,) = desk.alarms("probe_not_back")
    # The turn takes an hour by the programme and 45 min are allowed after it; a look each five minutes.
    assert 105 <= (raised.raised_at_ms - START) / MINUTE - 120 <= 111
    (unwatched,) = desk.alarms("bed_unwatched")
    assert unwatched.change.signal == "raise"
    rung = [one.text for one in desk.notices() if "WATCHED" in one.text]
    assert all(text.startswith("BED B NOT BEING WATCHED since 23:45: 1 out of the grain.") for text in rung)
    assert all(len(text) <= 160 for text in rung)
    assert _row(desk, "b1")["state"] == "not_back"
    assert "room's air" in str(_row(desk, "b1")["why"])
    assert not views.beds(desk.state)[1]["watched"]


def test_it_is_back_with_its_first_warm_reading_and_the_bed_is_watched_again() -> None:
    desk = _desk()
    _left_out(desk)
    desk.read(300, "b1", 15.5)
    assert _ended(desk, "probe_not_back") == ["b1"]
    assert [one.change.signal for one in desk.alarms("bed_unwatched")] == ["raise", "clear"]
    assert _begun(desk, "probe_jumps") == []
    # Something recorded before the next look: what was seen until then does not put it out again.
    desk.lay(300, Thinned(bed="bed-a"))
    assert _begun(desk, "probe_not_back") == ["b1"]


def test_a_probe_left_out_still_calls_when_it_reads_hot() -> None:
    desk = _desk()
    _left_out(desk)
    _minutes(desk, 300, 320, b1=26.0, r1=12.0)
    hot = desk.alarms("bed_hot")
    assert hot[-1].level == "urgent"
    assert hot[-1].value == 26.0


def test_grain_that_reheats_is_back_and_grain_like_the_air_is_nobodys_fault() -> None:
    desk = _desk()
    desk.lay(0, Cast("bed-b", "14", when_ms=START - 60 * HOUR))
    _minutes(desk, 1, 120, b1=17.0, r1=12.0)
    desk.lay(120, Turned("bed-b"))
    for minute in range(121, 300):
        desk.read(minute, "b1", 12.2 + (minute - 121) * 0.006)
        desk.read(minute, "r1", 12.0)
    assert _begun(desk, "probe_not_back") == []
    cool = _desk()
    cool.lay(0, Cast("bed-b", "14", when_ms=START - 60 * HOUR))
    _minutes(cool, 1, 120, b1=12.8, r1=12.0)
    cool.lay(120, Turned("bed-b"))
    _minutes(cool, 121, 300, b1=12.1, r1=12.0)
    assert _begun(cool, "probe_not_back") == []


@pytest.mark.parametrize("probes", [("b1",), ("b1", "b2", "b3")], ids=["alone", "three"])
def test_where_the_air_comes_to_the_grain_nothing_is_claimed(probes: tuple[str, ...]) -> None:
    """A warm afternoon: the room goes from a kelvin and a half below the grain to as warm as it is."""
    desk = _desk(temperature("b2", "bed-b"), temperature("b3", "bed-b"))
    desk.lay(0, Cast("bed-b", "14", when_ms=START - 60 * HOUR))
    for minute in range(1, 420):
        if minute == 120:
            desk.lay(120, Turned("bed-b"))
        room_c = 15.0 + max(0.0, min(1.6, (minute - 60) / 100))
        for probe in probes:
            desk.read(minute, probe, 16.5 if minute < 120 else 16.4)
        desk.read(minute, "r1", room_c)
    assert _begun(desk, "probe_not_back") == []
    assert [one for one in desk.notices() if "BED B" in one.text and "WATCHED" in one.text] == []


def test_all_probes_left_out_of_warm_grain_are_found() -> None:
    desk = _desk(temperature("b2", "bed-b"))
    desk.lay(0, Cast("bed-b", "14", when_ms=START - 60 * HOUR))
    _minutes(desk, 1, 120, b1=17.0, b2=16.8, r1=12.0)
    desk.lay(120, Turned("bed-b"))
    _minutes(desk, 121, 300, b1=12.1, b2=12.2, r1=12.0)
    assert sorted(map(str, _begun(desk, "probe_not_back"))) == ["b1", "b2"]
    assert [one.change.signal for one in desk.alarms("bed_unwatched")] == ["raise"]


def test_a_probe_above_the_recorded_depth_watches_nothing_and_a_hot_one_calls() -> None:
    desk = Desk(site(probes=tuple(replace(p, height_cm=13.0) if p.id == "b1" else p for p in site().probes)))
    desk.lay(0, Cast("bed-b", "14", when_ms=START - 60 * HOUR))
    _minutes(desk, 1, 10, b1=17.0)
    desk.lay(10, Thinned(bed="bed-b", depth_cm=10.0))
    assert _begun(desk, "probe_high") == ["b1"]
    assert [one.change.signal for one in desk.alarms("bed_unwatched")] == ["raise"]
    assert _row(desk, "b1")["why"] == "hangs at 13 cm, bed 10 cm deep"
    _minutes(desk, 11, 30, b1=26.0)
    hot = desk.alarms("bed_hot")[-1]
    assert (hot.level, hot.probe, hot.value) == ("urgent", "b1", 26.0), "called, and with its own words"
    desk.lay(30, Thinned(bed="bed-b", depth_cm=15.0))
    assert _ended(desk, "probe_high") == ["b1"]
    assert [one.change.signal for one in desk.alarms("bed_unwatched")] == ["raise", "clear"]


def test_an_impossible_leap_upward_is_a_hot_bed_and_a_jump() -> None:
    desk = _desk()
    _minutes(desk, 1, 30, a1=17.0, a2=17.0)
    _minutes(desk, 30, 60, a1=31.0, a2=17.0)
    assert _begun(desk, "probe_jumps") == ["a1"]
    assert desk.alarms("bed_hot")[-1].level == "urgent"
    _minutes(desk, 60, 30 + 7 * HOUR_MIN, a1=17.0, a2=17.0)
    # The way down is a leap, too; six hours after it the probe is believed again.
    assert _ended(desk, "probe_jumps") == ["a1"]


def test_no_jump_around_a_turn() -> None:
    desk = _desk()
    _minutes(desk, 1, 30, a1=24.0, r1=12.0)
    desk.lay(30, Turned("bed-a"))
    _minutes(desk, 31, 40, a1=12.0, r1=12.0)
    _minutes(desk, 40, 50, a1=23.0, r1=12.0)
    assert _begun(desk, "probe_jumps") == []


def _taken_out(every_min: int, *then_c: float) -> list[str | None]:
    """A bed at 24 over a room at 9, heard each `every_min`, nothing recorded; who is said to jump."""
    desk = _desk()
    for minute in range(1, 121):
        desk.read(minute, "r1", 9.0)
        if minute % every_min == 0:
            desk.read(minute, "a1", 24.0)
    for at, value in enumerate(then_c):
        desk.read(121 + at * every_min, "r1", 9.0)
        desk.read(121 + at * every_min, "a1", value)
    return _begun(desk, "probe_jumps")


@pytest.mark.parametrize("every_min", [1, 5])
def test_hot_grain_to_a_cold_room_and_back_is_no_jump_before_anybody_knows_of_a_turn(every_min: int) -> None:
    assert _taken_out(every_min, 10.2, 9.1, 9.0, 22.5, 23.5) == []
    # Beyond the air, and further up than it ever was: no hand does that.
    assert _taken_out(every_min, 4.0) == ["a1"]
    assert _taken_out(every_min, 9.2, 9.0, 40.0) == ["a1"]


def test_a_value_that_means_a_fault_does_so_around_a_turn_too() -> None:
    desk = _desk()
    _minutes(desk, 1, 30, a1=17.0, r1=12.0)
    desk.lay(30, Turned("bed-a"))
    _minutes(desk, 31, 33, a1=85.0, r1=12.0)
    _minutes(desk, 33, 100, a1=16.5, r1=12.0)
    assert _begun(desk, "probe_sentinel") == ["a1"]
    # Nor is the way back from it a second one.
    _minutes(desk, 100, 102, a1=85.0, r1=12.0)
    _minutes(desk, 102, 110, a1=16.5, r1=12.0)
    assert _begun(desk, "probe_jumps") == []


def _told(began_min: int, ended_min: int) -> Seen:
    """A turn of bed B as probes tell it; known at its end."""
    began_ms, ended_ms = START + began_min * MINUTE, START + ended_min * MINUTE
    seen = TurnSeen(
        "bed-b", 1, "turned", "seen", began_ms, ended_ms, ended_ms, 10.0, 20.0, 0.9, 2.0, None, None, ("b1",)
    )
    return Seen(seen, ended_ms)


@pytest.mark.parametrize(("back_min", "missed"), [(70, []), (150, ["b1", "b2"])])
def test_while_a_turn_may_still_be_going_on_nobody_is_called_for_its_probes(
    back_min: int, missed: list[str]
) -> None:
    """CO2 told of a turn while all thermometers were on hooks: its end is told anew as they come back."""
    desk = _desk(temperature("b2", "bed-b"))
    desk.lay(0, Cast("bed-b", "14", when_ms=START - 60 * HOUR))
    _minutes(desk, 1, 120, b1=17.0, b2=16.8, r1=12.0)
    _minutes(desk, 120, 168, b1=12.1, b2=12.2, r1=12.0)
    desk.state.turns_seen.seen["bed-b"] = [_told(120, 122)]
    _minutes(desk, 168, 120 + back_min, b1=12.1, b2=12.2, r1=12.0)
    assert sorted(map(str, _begun(desk, "probe_not_back"))) == missed
    assert [one.change.signal for one in desk.alarms("bed_unwatched")] == (["raise"] if missed else [])


@pytest.mark.parametrize(("says_c", "kind"), [(0.0, "probe_sentinel"), (17.05, "probe_stuck")])
def test_what_measures_nothing_drifts_nowhere_and_blames_no_other(says_c: float, kind: str) -> None:
    """Three turns of a bed with a broken probe: only if that counts is another a kelvin off the middle."""
    desk = _desk(*(temperature(name, "bed-b") for name in ("b2", "b3", "b4")))
    rng = Random(4)
    for minute in range(1, 1300):
        if minute in (900, 1040, 1180):
            desk.state.turns_seen.seen["bed-b"] = [_told(minute - 20, minute)]
        broken_c = says_c if minute > 540 else 17.0 + rng.gauss(0.0, 0.1)
        warmer_k = 0.005 * max(0, minute - 540)
        for probe, value_c in (("b1", 16.2), ("b2", 16.8), ("b3", 17.6)):
            desk.read(minute, probe, round(value_c + warmer_k + rng.gauss(0.0, 0.05), 2))
        desk.read(minute, "b4", round(broken_c, 2))
    assert set(_begun(desk, kind)) == {"b4"}
    assert _begun(desk, "probe_drifts") == []


def test_one_that_hangs_in_the_air_after_turns_for_a_while_drifts_nowhere() -> None:
    """It is back before anybody misses it, each time half an hour after the others."""
    desk = _desk(*(temperature(name, "bed-b") for name in ("b2", "b3")))
    desk.lay(0, Cast("bed-b", "14", when_ms=START - 60 * HOUR))
    rng = Random(4)
    turns = (200, 400, 600)
    for minute in range(1, 700):
        if minute in turns:
            desk.state.turns_seen.seen["bed-b"] = [_told(minute - 20, minute)]
        out = any(at - 20 <= minute < at + 30 for at in turns)
        for probe, value_c in (("b1", 12.2 if out else 16.5), ("b2", 16.8), ("b3", 17.0), ("r1", 12.0)):
            desk.read(minute, probe, round(value_c + rng.gauss(0.0, 0.05), 2))
    assert _begun(desk, "probe_not_back") == []
    assert _begun(desk, "probe_drifts") == []


def _lively(desk: Desk, probe: str, hours: int, seed: int = 1) -> int:
    """A probe of 0.1 K steps that wavers around 17 for so long; gives the minute after it."""
    rng = Random(seed)
    for minute in range(1, hours * HOUR_MIN):
        desk.read(minute, probe, round(17.0 + rng.gauss(0.0, 0.08), 1))
    return hours * HOUR_MIN


def test_a_probe_that_stands_far_longer_than_ever_is_stuck_until_it_moves() -> None:
    desk = _desk()
    now = _lively(desk, "a1", 30)
    _minutes(desk, now, now + 5 * HOUR_MIN, a1=17.3)
    assert _begun(desk, "probe_stuck") == ["a1"]
    (raised,) = desk.alarms("probe_stuck")
    assert 4.0 <= (raised.raised_at_ms - START) / HOUR - 30 <= 4.2
    assert _row(desk, "a1")["state"] == "stuck"
    desk.read(now + 5 * HOUR_MIN, "a1", 17.2)
    assert _ended(desk, "probe_stuck") == ["a1"]


def test_neighbours_that_move_meanwhile_tell_of_a_stuck_probe_sooner() -> None:
    desk = _desk()
    now = _lively(desk, "a1", 8)
    for minute in range(now, now + 2 * HOUR_MIN):
        desk.read(minute, "a1", 17.3)
        desk.read(minute, "a2", round(15.0 + (minute - now) / 60.0, 1))
    assert _begun(desk, "probe_stuck") == ["a1"]


def test_neighbours_that_were_taken_out_before_it_have_not_moved() -> None:
    """The last of a bed to be taken out for a turn had stood still for two hours, rightly."""
    desk = _desk()
    now = _lively(desk, "a1", 8)
    for minute in range(now, now + 3 * HOUR_MIN):
        desk.read(minute, "a1", 17.3)
        desk.read(minute, "a2", 15.0 if minute < now + 165 else 12.0)
    assert _begun(desk, "probe_stuck") == []


@pytest.mark.parametrize(
    ("probe", "value", "flags"),
    [
        (Probe("x", "kiln", "humidity", "%RH", "t/x", 60.0, silent_after_s=600.0), 99.5, 0),
        (Probe("x", "kiln", "temperature", "Cel", "t/x", 60.0, silent_after_s=600.0), 40.0, RANGE_HIGH),
        (Probe("x", "room", "co", "ppm", "t/x", 60.0, silent_after_s=600.0), 0.0, 0),
    ],
)
def test_wet_air_the_ranges_end_and_no_gas_may_stand(probe: Probe, value: float, flags: int) -> None:
    desk = _desk(probe)
    rng = Random(2)
    for minute in range(1, 30 * HOUR_MIN, 5):
        desk.read(minute, "x", value - abs(round(rng.gauss(0.0, 1.0), 1)) - 0.1)
    for minute in range(30 * HOUR_MIN, 60 * HOUR_MIN, 5):
        desk.lay(minute, Reading("x", START + minute * MINUTE, value, OWN_TIME | flags))
    assert _begun(desk, "probe_stuck") == []


def test_noise_is_held_against_the_probes_own_past() -> None:
    desk = _desk()
    now = _lively(desk, "a1", 8)
    rng = Random(3)
    for minute in range(now, now + 2 * HOUR_MIN):
        desk.read(minute, "a1", round(17.0 + rng.gauss(0.0, 1.5), 1))
    assert _begun(desk, "probe_noisy") == ["a1"]
    for minute in range(now + 2 * HOUR_MIN, now + 4 * HOUR_MIN):
        desk.read(minute, "a1", round(17.0 + rng.gauss(0.0, 0.08), 1))
    assert _ended(desk, "probe_noisy") == ["a1"]


def test_refused_sentinels_are_a_fault_of_the_probe_and_are_forgotten_after_six_hours() -> None:
    desk = _desk()
    _minutes(desk, 1, 5, a1=17.0)
    desk.lay(5, Refused("qh/bed-a/a1", "a1", "implausible", 2))
    assert _begun(desk, "probe_sentinel") == []
    desk.lay(6, Refused("qh/bed-a/a1", "a1", "implausible", 1))
    assert _begun(desk, "probe_sentinel") == ["a1"]
    _minutes(desk, 7, 7 * HOUR_MIN, a1=17.0)
    assert _ended(desk, "probe_sentinel") == ["a1"]


def test_a_thermometer_put_in_by_hand_a_kelvin_off_is_said_until_one_agrees() -> None:
    desk = _desk()
    _minutes(desk, 1, 10, a1=17.0, a2=19.0)
    desk.lay(10, HandRead(bed="bed-a", c=19.4))
    assert _begun(desk, "probe_hand") == []
    desk.lay(11, HandRead(bed="bed-a", c=20.0))
    assert _begun(desk, "probe_hand") == ["a2"]
    assert _row(desk, "a2")["why"] == "by hand 20.0 C, probe 19.0 C"
    desk.lay(12, HandRead(bed="bed-a", c=19.2))
    assert _ended(desk, "probe_hand") == ["a2"]


def test_by_hand_is_held_against_what_the_probe_said_then_and_not_at_another_time() -> None:
    desk = _desk()
    _minutes(desk, 1, 10, b1=17.0)
    desk.lay(25, HandRead(bed="bed-b", c=20.0))
    assert _begun(desk, "probe_hand") == [], "the probe's last word is a quarter of an hour old"
    _minutes(desk, 30, 32, b1=17.0)
    desk.lay(32, HandRead(bed="bed-b", c=20.0))
    assert _begun(desk, "probe_hand") == ["b1"]
    desk.lay(33, PutOutOfService("b1"))
    desk.wait(50)
    assert _ended(desk, "probe_hand") == ["b1"], "it is being seen to"


def test_co2_below_outdoor_air_for_an_hour_is_a_calibration_finding() -> None:
    desk = _desk()
    _minutes(desk, 1, 50, air=360.0)
    assert _begun(desk, "probe_low") == []
    _minutes(desk, 50, 90, air=360.0)
    assert _begun(desk, "probe_low") == ["air"]
    fine = _desk()
    _minutes(fine, 1, 200, air=400.0)
    assert _begun(fine, "probe_low") == []


def test_out_of_service_ends_every_doubt() -> None:
    desk = _desk()
    _left_out(desk)
    desk.lay(300, PutOutOfService("b1"))
    desk.wait(310)
    assert _ended(desk, "probe_not_back") == ["b1"]
    desk.lay(311, PutInService("b1"))
    assert _row(desk, "b1")["state"] != "not_back"


@pytest.mark.parametrize("by_h", [-5, 5])
def test_a_clock_that_is_set_makes_no_probe_stuck(by_h: int) -> None:
    """The probe has no time of its own: its readings bear the gateway's."""
    desk = _desk()
    now = _lively(desk, "a1", 30)
    desk.lay(now, ClockStepped(by_h * HOUR))
    for minute in range(now, now + HOUR_MIN):
        at_ms = START + minute * MINUTE
        made = engine.advance(
            desk.state,
            [Entry(desk.n + minute, at_ms, at_ms + by_h * HOUR, Reading("a1", at_ms + by_h * HOUR, 17.3))],
            at_ms,
        )
        desk.effects += made
    assert _begun(desk, "probe_stuck") == []


def test_a_restart_in_the_middle_changes_nothing() -> None:
    straight, cut = _desk(), _desk()
    _left_out(straight)
    lay = cut.lay

    def with_restarts(at_min: float, what: object) -> list[object]:
        made = lay(at_min, what)  # type: ignore[arg-type]
        if cut.n % 50 == 0:
            cut.state = engine.load(engine.dump(cut.state))
        return made  # type: ignore[return-value]

    cut.lay = with_restarts  # type: ignore[method-assign, assignment]
    _left_out(cut)
    assert cut.n > 400
    assert [one for one in cut.effects if isinstance(one, AlarmChange)]
    assert cut.effects == straight.effects
