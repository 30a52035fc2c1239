"""A bed whose hottest place lost its eyes just under the limit: called while it can still be turned in time.

Each story has a twin that must call nobody: a bed as blind, and not at its limit.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import pytest

from gateway.core import codec, engine, views
from gateway.core.effects import AlarmChange, Notice
from gateway.core.inputs import (
    Cast,
    Condition,
    Loaded,
    PutInService,
    PutOutOfService,
    SiteChanged,
    Turned,
)
from gateway.core.inputs_journey import HandRead
from gateway.core.reading import CLOCK_UNSURE, Reading
from gateway.core.site import Probe
from tests.core.desk import HOUR, MINUTE, START, Desk, minutes, site, temperature

#: How much cooler the other thermometers of bed A hang than a1, K.
COOLER = {"a1": 0.0, "a2": 0.6, "a3": 1.0}
HEIGHT_CM = {"a1": 3.0, "a2": 8.0, "a3": 12.0}


@dataclass
class Bed:
    """Bed A, cast two days ago and turned an hour ago: a1 hangs where it is hottest, a2 and a3 cooler."""

    begins_c: float = 20.8
    k_per_h: float = 0.8
    says: dict[str, Callable[[int, float], float | None]] = field(default_factory=dict)
    desk: Desk = field(init=False)
    until: int = 0

    def __post_init__(self) -> None:
        room = Probe("room-t", "room", "temperature", "Cel", "qh/room/t", 60.0, silent_after_s=1800.0)
        hung = [replace(temperature(name, "bed-a"), height_cm=HEIGHT_CM[name]) for name in COOLER]
        self.desk = Desk(site(probes=(*hung, *site().probes[2:], room)))
        self.desk.lay(0, Cast("bed-a", "14", when_ms=START - 50 * HOUR))
        self.desk.lay(0, Turned("bed-a", when_ms=START - HOUR, by="ada"))

    def true_c(self, minute: int) -> float:
        """How warm it is where a1 hangs."""
        return self.begins_c + self.k_per_h * minute / 60

    def live(self, until: int) -> None:
        """Each minute each thermometer says what it says."""
        for minute in range(self.until, until):
            for probe, less in COOLER.items():
                said: float | None = self.true_c(minute) - less + 0.04 * math.sin(minute * 1.7)
                if probe in self.says and said is not None:
                    said = self.says[probe](minute, said)
                if said is not None:
                    self._say(minute, probe, round(said, 1))
            self._say(minute, "room-t", 12.0)
            self._say(minute, "air", 600.0)
        self.until = until

    def _say(self, minute: int, probe: str, value: float) -> None:
        self.desk.lay(minute, Reading(probe, START + minute * MINUTE, value, CLOCK_UNSURE))

    def called(self) -> list[tuple[float | None, str, str]]:
        return _moves(self.desk.alarms("bed_unwatched"))

    def hot(self) -> list[str]:
        return [signal for _, signal, _ in _moves(self.desk.alarms("bed_hot"))]

    def texts(self) -> list[str]:
        return [one.text for one in self.desk.notices() if one.kind == "call" and "WATCHED" in one.title]


def _moves(changes: list[AlarmChange]) -> list[tuple[float | None, str, str]]:
    found = [(minutes(one.change.at_ms), one.change.signal, one.level) for one in changes]
    return [one for one in found if one[1] != "lapse"]


def _silent(from_min: int) -> dict[str, Callable[[int, float], float | None]]:
    return {"a1": lambda minute, c: c if minute < from_min else None}


def _stuck(from_min: int, at_c: float) -> dict[str, Callable[[int, float], float | None]]:
    return {"a1": lambda minute, c: c if minute < from_min else at_c}


def test_the_hottest_probe_falls_silent_under_the_limit_and_somebody_is_called_by_the_heat_it_makes() -> None:
    bed = Bed(says=_silent(80))
    bed.live(130)
    # It is at 22 at minute 90; ten minutes at the limit are what a reading would have had to be.
    [(at, signal, level)] = bed.called()
    assert (signal, level) == ("raise", "unwatched_hot")
    assert at is not None
    assert 100 <= at <= 110, "before it counts as silent, and within the half hour"
    assert bed.hot() == []
    assert [one.level for one in bed.desk.alarms("bed_unwatched")] == ["unwatched_hot"]
    [call, *_] = bed.texts()
    assert call.startswith(
        "BED A NOT BEING WATCHED where hottest since 21:19: a1 silent. Last 21.9 C, 22 by 21:3"
    )
    assert "Take hand thermometer, record it." in call
    assert len(call) <= 160
    row = views.beds(bed.desk.state)[0]
    assert (row["bed"], row["watched"], row["unseen"]) == ("bed-a", False, "a1 silent")


@pytest.mark.parametrize(
    ("begins_c", "k_per_h"), [(18.0, 0.8), (21.6, 0.05), (22.0, -0.4)], ids=["far", "slow", "falling"]
)
def test_a_silent_probe_in_a_bed_that_does_not_come_to_its_limit_stays_on_the_list(
    begins_c: float, k_per_h: float
) -> None:
    bed = Bed(begins_c, k_per_h, _silent(80))
    bed.live(260)
    assert bed.called() == []
    assert [one.change.signal for one in bed.desk.alarms("probe_silent") if one.probe == "a1"] == ["raise"]


def test_a_probe_that_speaks_seldom_is_not_blind_between_two_readings() -> None:
    def seldom(minute: int, c: float) -> float | None:
        return c if minute % 10 == 0 and minute < 120 else None

    bed = Bed(begins_c=21.0, says=dict.fromkeys(COOLER, seldom))
    slow = tuple(
        replace(one, every_s=600.0, silent_after_s=900.0) if one.id in COOLER else one
        for one in bed.desk.state.site.probes
    )
    bed.desk.lay(0, SiteChanged(replace(bed.desk.state.site, probes=slow)))
    bed.live(124)
    assert bed.called() == []
    assert bed.hot() == ["raise"]


def test_a_bed_of_one_probe_less_is_told_of_by_the_others_where_they_are_hotter() -> None:
    bed = Bed(says={"a3": lambda minute, c: c if minute < 80 else None})
    bed.live(110)
    assert bed.called() == []
    assert bed.hot() == ["raise"]


def test_a_probe_that_stands_still_while_its_bed_goes_on_is_told_before_an_hour_has_proved_it() -> None:
    bed = Bed(says=_stuck(75, 21.8))
    bed.live(125)
    [(at, signal, level)] = bed.called()
    assert (signal, level) == ("raise", "unwatched_hot")
    assert at is not None
    assert 100 <= at <= 120
    assert ": a1 stuck. Last 21.8 C" in bed.texts()[0]


def test_a_probe_that_stands_because_its_bed_stands_is_believed() -> None:
    class Held(Bed):
        """Somebody opened the shutters at minute 75: nothing gets warmer any more."""

        def true_c(self, minute: int) -> float:
            return super().true_c(min(minute, 75))

    bed = Held(says=_stuck(75, 21.8))
    bed.live(180)
    assert bed.called() == []


def test_a_probe_taken_out_of_service_leaves_its_place_unseen_though_it_talks_on() -> None:
    bed = Bed(says={"a1": lambda minute, c: c if minute < 80 else 15.0})
    bed.live(80)
    bed.desk.lay(80, PutOutOfService("a1", "cable"))
    bed.live(125)
    [(at, signal, _)] = bed.called()
    assert signal == "raise"
    assert at is not None
    assert 100 <= at <= 110
    assert ": a1 out of service. Last 21.8 C" in bed.texts()[0]
    bed.says.clear()
    bed.desk.lay(125, PutInService("a1"))
    bed.live(127)
    assert [signal for _, signal, _ in bed.called()] == ["raise", "clear"]


def test_a_probe_out_of_service_in_a_bed_that_cools_calls_nobody() -> None:
    bed = Bed(21.9, -0.3)
    bed.live(80)
    bed.desk.lay(80, PutOutOfService("a1", "cable"))
    bed.live(300)
    assert bed.called() == []


@pytest.mark.parametrize(("begins_c", "calls"), [(20.8, ["raise"]), (18.8, [])], ids=["near", "far"])
def test_a_probe_that_a_hand_thermometer_proved_low_does_not_see_the_limit(
    begins_c: float, calls: list[str]
) -> None:
    bed = Bed(begins_c, 0.4, {"a1": lambda minute, c: c - 1.2})
    bed.live(30)
    bed.desk.lay(30, HandRead("bed-a", bed.true_c(30), height_cm=3.0, by="ada"))
    [low] = [one for one in bed.desk.alarms("probe_hand") if one.probe in COOLER]
    low_k = bed.true_c(30) - (low.value or 0.0)
    bed.live(240)
    assert [signal for _, signal, _ in bed.called()] == calls
    assert bed.hot() == []
    if calls:
        assert f"{low.probe} reads {low_k:.1f} K low" in bed.texts()[0]


def test_it_ends_when_the_probe_is_back() -> None:
    bed = Bed(says={"a1": lambda minute, c: None if 80 <= minute < 130 else c})
    bed.live(135)
    assert [signal for _, signal, _ in bed.called()] == ["raise", "clear"]
    bed.live(145)
    assert bed.hot() == ["raise"]


def test_it_ends_with_a_turn_and_the_others_speak_for_the_mixed_grain() -> None:
    bed = Bed(says=_silent(80))
    bed.live(120)
    bed.desk.lay(120, Turned("bed-a", by="ada"))
    assert [signal for _, signal, _ in bed.called()] == ["raise", "clear"]
    bed.begins_c -= 1.5
    bed.live(240)
    assert [signal for _, signal, _ in bed.called()] == ["raise", "clear"]


def test_a_reading_by_hand_ends_it_and_says_from_where_it_goes_on() -> None:
    bed = Bed(says=_silent(80))
    bed.live(115)
    bed.begins_c -= 0.9
    bed.desk.lay(115, HandRead("bed-a", 21.3, by="ada"))
    assert [signal for _, signal, _ in bed.called()] == ["raise", "clear"]
    bed.live(150)
    assert len(bed.called()) == 2
    bed.live(185)
    # From 21.3 at minute 115 by 0.8 an hour: 22 at about minute 167, and ten minutes of it.
    assert [signal for _, signal, _ in bed.called()][2:] == ["raise"]
    again = bed.called()[2][0]
    assert again is not None
    assert 165 <= again <= 185
    assert "Last 21.3 C" in bed.texts()[-1]


def test_a_hot_reading_by_hand_gives_the_reader_time_and_no_more() -> None:
    bed = Bed(says=_silent(80))
    bed.live(115)
    bed.desk.lay(115, HandRead("bed-a", 22.4, by="ada"))
    over = [one.text for one in bed.desk.notices() if one.kind == "over"]
    assert over
    assert all("BED A READ BY HAND: 22.4 C" in text for text in over)
    bed.k_per_h = 0.0
    bed.begins_c = 22.0
    bed.live(170)
    assert [(at, signal) for at, signal, _ in bed.called()][2:] == [(160.0, "raise")]


def test_a_reading_by_hand_elsewhere_in_the_bed_is_none_of_its_place() -> None:
    bed = Bed(says=_silent(80))
    bed.live(115)
    bed.desk.lay(115, HandRead("bed-a", 20.4, height_cm=12.0, by="ada"))
    assert [signal for _, signal, _ in bed.called()] == ["raise"]
    bed.desk.lay(116, HandRead("bed-a", 21.4, height_cm=4.0, by="ada"))
    assert [signal for _, signal, _ in bed.called()] == ["raise", "clear"]


def test_it_ends_where_the_places_beside_it_cooled() -> None:
    bed = Bed(says=_silent(80))
    bed.live(115)
    bed.begins_c -= 1.0
    bed.live(135)
    assert [signal for _, signal, _ in bed.called()] == ["raise", "clear"]


def test_it_ends_when_the_grain_is_gone() -> None:
    bed = Bed(says=_silent(80))
    bed.live(115)
    bed.desk.lay(115, Loaded("bed-a", "kiln"))
    assert [signal for _, signal, _ in bed.called()] == ["raise", "clear"]


def test_where_the_heat_is_called_already_nothing_more_is_said_until_the_next_limit() -> None:
    bed = Bed(21.6, 1.5, _silent(40))
    bed.live(60)
    assert bed.hot() == ["raise"]
    # a1 was over the limit itself before it fell silent, and is at 25 at minute 136; the others are not.
    bed.live(130)
    assert bed.called() == []
    bed.live(160)
    [(at, signal, level)] = bed.called()
    assert (signal, level) == ("raise", "unwatched_hot")
    assert at is not None
    assert 140 <= at <= 158
    assert ", 25 by 22:" in bed.texts()[0]


def test_a_bed_that_nobody_sees_at_all_calls_anew_when_it_comes_to_its_limit() -> None:
    def quiet(minute: int, c: float) -> float | None:
        return c if minute < 60 else None

    bed = Bed(20.6, 0.7, dict.fromkeys(COOLER, quiet))
    bed.live(170)
    first, second = bed.called()
    assert first[1:] == ("raise", "unwatched")
    assert second[1:] == ("rise", "unwatched_hot")
    # All silent since minute 60, at 21.3; 22 is met at minute 120.
    assert (first[0], second[0]) == (89.0, pytest.approx(132.5, abs=8.0))


@pytest.mark.parametrize(("begins_c", "calls"), [(20.8, 1), (18.0, 0)])
def test_a_probe_that_sends_what_means_a_fault_leaves_its_place_unseen(begins_c: float, calls: int) -> None:
    bed = Bed(begins_c, says={"a1": lambda minute, c: c if minute < 80 else 0.0})
    bed.live(130)
    assert len(bed.called()) == calls
    assert all("a1 sends a fault value. Last 21." in text for text in bed.texts())


def test_while_the_broker_is_away_a_place_that_is_told_stays_told() -> None:
    bed = Bed(says=_silent(80))
    bed.live(120)
    assert len(bed.called()) == 1
    bed.desk.lay(121, Condition("broker", True, "no connection"))
    bed.desk.lay(140, PutOutOfService("a3", why="on the bench", by="dan"))
    bed.desk.wait(160)
    bed.desk.lay(161, Condition("broker", False))
    bed.desk.wait(163)
    assert [signal for _, signal, _ in bed.called()] == ["raise"]


def test_a_state_taken_out_and_put_back_says_the_same() -> None:
    for cut in (85, 97, 108):
        whole, broken = Bed(says=_silent(80)), Bed(says=_silent(80))
        for bed in (whole, broken):
            bed.live(cut)
        broken.desk.state = engine.load(engine.dump(broken.desk.state))
        for bed in (whole, broken):
            bed.live(130)
        assert whole.desk.effects == broken.desk.effects
        assert codec.plain(whole.desk.state) == codec.plain(broken.desk.state)


def test_a_gap_of_the_broker_is_no_blindness() -> None:
    bed = Bed(says=dict[str, Any](dict.fromkeys(COOLER, lambda minute, c: c if minute < 80 else None)))
    bed.live(80)
    bed.desk.lay(81, Condition("broker", True, "no connection"))
    bed.desk.wait(200)
    assert bed.called() == []
    texts: list[Notice] = [one for one in bed.desk.notices() if one.place == "bed-a"]
    assert texts == []
