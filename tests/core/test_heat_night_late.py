"""The evening's word of heat where the gateway was down, or deaf, when its time came."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from gateway.core import engine
from gateway.core.effects import Notice
from gateway.core.inputs import Cast, Condition, Entry, Input, Resumed, Turned
from gateway.core.inputs_journey import Ordered
from gateway.core.reading import OWN_TIME, Reading
from gateway.core.site import Probe, Site
from tests.core.desk import HOUR, MINUTE, START, Desk, minutes, site
from tests.core.test_turning import many_beds, programme

#: Minutes from START (20:00) to the evening's word, half past nine.
WORD = 90
#: Of the four hours in which the word is still sent.
TOO_LATE = 240


class House:
    """Bed A warms by 0.4 K an hour and is not to be turned before four; the gateway may be down awhile."""

    def __init__(self, at: Site | None = None) -> None:
        self.down_min = 0
        if at is not None:
            self.desk = Desk(at)
            return
        air = Probe("room-t", "room", "temperature", "Cel", "qh/room/t", 60.0, silent_after_s=1800.0)
        self.desk = Desk(site(probes=(*site().probes, air)))
        self.desk.lay(0, Cast("bed-a", "14", when_ms=START - 50 * HOUR))
        self.desk.lay(0, Turned("bed-a", when_ms=START - HOUR, by="ada"))
        self.desk.lay(0, Ordered("bed-a", START + 8 * HOUR, why="I want it warm", by="ben"))

    def lay(self, at_min: float, what: Input) -> None:
        at_ms = START + round(at_min * MINUTE)
        self.desk.n += 1
        run_ms = at_ms - self.down_min * MINUTE
        entry = Entry(self.desk.n, at_ms, run_ms, what)
        self.desk.effects += engine.advance(self.desk.state, [entry], run_ms)

    def say(self, measured_min: int, at_min: float) -> None:
        """What bed and room said at one minute, heard at another."""
        warm_c = 19.4 + 0.4 * measured_min / 60 + 0.03 * math.sin(measured_min)
        for probe, c in (("a1", warm_c), ("a2", warm_c - 0.4), ("room-t", 12.0)):
            self.lay(at_min, Reading(probe, START + measured_min * MINUTE, round(c, 2), OWN_TIME))

    def warm(self, from_min: int, to_min: int) -> None:
        for minute in range(from_min, to_min):
            self.say(minute, minute)

    def down(self, from_min: int, to_min: int) -> None:
        """The gateway is down from one minute to the other."""
        self.down_min += to_min - from_min
        self.lay(to_min, Resumed((to_min - from_min) * MINUTE))

    def words(self) -> list[Notice]:
        return [one for one in self.desk.notices() if one.title == "HEAT TONIGHT"]


def test_the_word_waits_for_what_the_probes_said_meanwhile() -> None:
    house = House()
    house.warm(1, 60)
    house.down(60, 120)
    # Half an hour late: at the first tick the newest reading is an hour old.
    for minute in range(60, 120):
        house.say(minute, 120 + (minute - 60) / 20)
    assert house.words() == []
    house.warm(123, 135)
    found = house.words()
    assert [one.person for one in found] == ["ben", "ada"]
    assert [minutes(one.at_ms) for one in found] == [pytest.approx(128, abs=1)] * 2
    assert found[0].text.startswith("HEAT TONIGHT. Bed A piece 14 22 C by 0")


def test_where_nothing_was_kept_for_it_the_word_waits_until_all_have_spoken_again() -> None:
    house = House()
    house.warm(1, 85)
    house.down(85, 100)
    house.warm(100, 110)
    assert [minutes(one.at_ms) for one in house.words()] == [105, 105]


@pytest.mark.parametrize(("late_min", "sent"), [(TOO_LATE - 20, 2), (TOO_LATE + 1, 0)])
def test_hours_late_the_word_is_no_longer_sent_and_the_next_evening_is_waited_for(
    late_min: int, sent: int
) -> None:
    house = House()
    house.warm(1, 60)
    back = WORD + late_min
    house.down(60, back)
    for minute in range(60, back):
        house.say(minute, back + (minute - 60) / (back - 60))
    house.warm(back + 1, back + 10)
    assert len(house.words()) == sent
    assert minutes(house.desk.state.heats.word.at_ms) == WORD + 24 * 60


def test_a_backlog_that_comes_in_past_those_hours_lets_the_word_go() -> None:
    house = House()
    house.warm(1, 60)
    back = WORD + TOO_LATE - 4
    house.down(60, back)
    for minute in range(60, back):
        house.say(minute, back + 5 * (minute - 60) / (back - 60))
    house.warm(back + 6, back + 20)
    assert house.words() == []
    assert minutes(house.desk.state.heats.word.at_ms) == WORD + 24 * 60


def test_with_the_broker_lost_the_word_waits_until_the_probes_are_heard_again() -> None:
    house = House()
    house.warm(1, 50)
    house.lay(50, Condition("broker", True, "no connection"))
    house.lay(95, Condition("broker", False))
    assert house.words() == []
    house.warm(95, 105)
    assert [minutes(one.at_ms) for one in house.words()] == [100, 100]


@pytest.mark.parametrize(("back_min", "told_min"), [(30, [35.0]), (TOO_LATE + 1, [])])
def test_what_does_not_fit_one_person_waits_as_well(back_min: int, told_min: list[float]) -> None:
    six = 22 * 60
    house = House(replace(programme(turn_takes_min=120.0), places=many_beds(), probes=()))
    for bed in "cdef":
        house.lay(1, Cast(f"bed-{bed}", bed))
    for bed in "cdef":
        house.lay(14 * 60, Turned(f"bed-{bed}", by="ada"))
    house.lay(six - 20, Turned("bed-a", by="ada"))
    house.down(six - 10, six + back_min)
    house.lay(six + back_min + 20, Condition("mirror", False))
    told = [one for one in house.desk.notices() if one.title.startswith("TONIGHT")]
    assert [(minutes(one.at_ms) or 0.0) - six for one in told] == told_min
