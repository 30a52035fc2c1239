"""The heat balance within the judge: what is said in the evening, of a warm room, after a restart."""

from __future__ import annotations

import math
import re
from typing import Any

import pytest

from gateway.core import codec, engine, views, views_heat
from gateway.core.effects import Notice
from gateway.core.inputs import Cast, ClockStepped, Delivery, Turned
from gateway.core.inputs_journey import Ordered
from gateway.core.reading import CLOCK_UNSURE, Reading
from gateway.core.rules.reach import surely
from gateway.core.site import Probe, Shift
from gateway.core.state import State
from tests.core.desk import HOUR, MINUTE, START, Desk, minutes, site

#: Minutes from START (20:00) to the evening's word, half past nine.
WORD = 90


def house(**more: Any) -> Desk:
    """The desk's site, and a thermometer in the room over the beds."""
    air = Probe("room-t", "room", "temperature", "Cel", "qh/room/t", 60.0, silent_after_s=1800.0)
    return Desk(site(probes=(*site().probes, air), **more))


def cast(desk: Desk) -> None:
    """Bed A lies since the day before yesterday and was turned an hour ago."""
    desk.lay(0, Cast("bed-a", "14", when_ms=START - 50 * HOUR))
    desk.lay(0, Turned("bed-a", when_ms=START - HOUR, by="ada"))


def warm(desk: Desk, until_min: int, from_min: int = 0, room_c: float = 12.0) -> None:
    """Bed A warms by 0.9 K an hour from 18.5 C; each minute all speak."""
    for minute in range(from_min, until_min):
        warm_c = 18.5 + 0.9 * minute / 60 + 0.03 * math.sin(minute)
        for probe, less in (("a1", 0.0), ("a2", 0.4), ("room-t", warm_c - room_c)):
            desk.lay(minute, Reading(probe, START + minute * MINUTE, round(warm_c - less, 2), CLOCK_UNSURE))


def words(desk: Desk) -> list[Notice]:
    return [one for one in desk.notices() if one.title == "HEAT TONIGHT"]


def test_heat_before_the_morning_that_the_list_does_not_help_is_said_at_half_past_nine() -> None:
    made = house()
    cast(made)
    made.lay(1, Ordered("bed-a", START + 8 * HOUR, why="I want it warm", by="ben"))
    warm(made, WORD + 10)

    found = words(made)
    assert [(one.person, one.kind, one.priority, minutes(one.at_ms)) for one in found] == [
        ("ben", "call", "low", WORD),
        ("ada", "call", "low", WORD),
    ]
    text = found[0].text
    assert len(text) <= 160
    told = re.fullmatch(
        r"HEAT TONIGHT\. Bed A piece 14 22 C by (2[0-3]|0\d):\d\d-0\d:\d\d, turn 04:00\. "
        r"Turn sooner or thin it\. \(\d+\)",
        text,
    )
    assert told, text


def test_nothing_is_said_where_the_list_turns_it_in_time() -> None:
    made = house()
    cast(made)
    warm(made, WORD + 10)

    assert surely(made.state, made.site.place["bed-a"], "high") is not None
    assert words(made) == []


def test_nothing_is_said_from_too_little_or_of_a_bed_that_is_hot_already() -> None:
    made = house()
    cast(made)
    made.lay(1, Ordered("bed-a", START + 8 * HOUR, why="I want it warm", by="ben"))
    warm(made, WORD + 10, from_min=WORD - 12)
    assert words(made) == []

    [row] = [row for row in views_heat.forecast(made.state) if row["bed"] == "bed-a"]
    assert row["not_yet"]
    assert (row["points"], row["rate_k_per_h"]) == ([], None)


def test_a_word_that_did_not_arrive_goes_to_the_next_phone() -> None:
    made = house()
    cast(made)
    made.lay(1, Ordered("bed-a", START + 8 * HOUR, why="I want it warm", by="ben"))
    warm(made, WORD + 2)
    ben, ada = words(made)
    made.lay(WORD + 2, Delivery(ada.number, ada.phone, "delivered"))
    made.lay(WORD + 2, Delivery(ben.number, ben.phone, "failed", 503))
    made.lay(WORD + 3, Delivery(ben.number, ben.phone, "failed", 503))

    assert len(words(made)) == 2, "nobody else is left to tell"


def test_where_the_room_is_warm_no_turn_is_advised_alone() -> None:
    made = house()
    cast(made)
    warm(made, WORD + 10, room_c=20.6)
    [word, _] = words(made)
    assert ", room 20.6: a turn cools little. Thin it, shutters open in the cool hours." in word.text
    [row] = [row for row in views.tonight(made.state) if row["bed"] == "bed-a"]
    said = "room 20.6 C, so a turn cools little"
    assert f"{said}: thin it, shutters open in the cool hours)" in row["line"]
    assert row["if_left"].endswith(f", {said}")

    warm(made, 5 * 60, WORD + 10, room_c=20.6)
    [call, *_] = [one for one in made.notices() if one.place == "bed-a" and one.title != word.title]
    assert "pen shutters, thin it: room 20.6 C." in call.text
    assert len(call.text) <= 160


def test_of_a_couch_it_is_said_that_it_wants_breaking() -> None:
    made = house()
    made.lay(0, Cast("bed-b", "15", when_ms=START - 18 * HOUR))
    for minute in range(WORD + 5):
        warm_c = 20.5 + 0.9 * minute / 60 + 0.03 * math.sin(minute)
        made.lay(minute, Reading("b1", START + minute * MINUTE, round(warm_c, 2), CLOCK_UNSURE))
    [word, _] = words(made)

    assert re.fullmatch(
        r"HEAT TONIGHT\. Bed B piece 15 24 C by (2[0-3]|0\d):\d\d-(2[0-3]|0\d):\d\d, "
        r"in the couch: break it sooner\. \(\d+\)",
        word.text,
    ), word.text


def test_a_cool_room_asks_for_no_thinning() -> None:
    made = house()
    cast(made)
    warm(made, WORD, room_c=15.9)
    [row] = [row for row in views.tonight(made.state) if row["bed"] == "bed-a"]
    assert "thin" not in row["line"] + row["if_left"]


def asked(state: State) -> object:
    return views.tonight(state), views.beds(state), views_heat.forecast(state)


@pytest.mark.parametrize("cut", [7, 61, 88, 90])
def test_a_state_taken_out_and_put_back_says_the_same(cut: int) -> None:
    whole, broken = house(), house()
    for made in (whole, broken):
        cast(made)
        made.lay(1, Ordered("bed-a", START + 8 * HOUR, why="I want it warm", by="ben"))
        warm(made, cut)
    # Asking in between changes nothing either.
    asked(whole.state)
    broken.state = engine.load(engine.dump(broken.state))
    for made in (whole, broken):
        warm(made, WORD + 10, cut)
    assert asked(whole.state) == asked(broken.state)
    assert whole.effects == broken.effects
    assert codec.plain(whole.state) == codec.plain(broken.state)


@pytest.mark.parametrize("by_min", [-40, 50])
def test_a_clock_that_is_set_moves_the_forecast_with_it(by_min: int) -> None:
    still, stepped = house(), house()
    for made in (still, stepped):
        cast(made)
        warm(made, 80)
    stepped.lay(80, ClockStepped(by_min * MINUTE))
    for made in (still, stepped):
        made.wait(81)
    [one] = [row for row in views_heat.forecast(still.state) if row["bed"] == "bed-a"]
    [other] = [row for row in views_heat.forecast(stepped.state) if row["bed"] == "bed-a"]

    assert one["not_yet"] is None
    assert other["not_yet"] is None
    assert other["rate_k_per_h"] == pytest.approx(one["rate_k_per_h"], abs=0.15)
    for a, b in zip(one["points"], other["points"], strict=True):
        assert b["at"] - a["at"] == by_min * MINUTE
        assert b["c"] == pytest.approx(a["c"], abs=0.5)


def test_a_bed_over_a_level_already_is_not_said_to_come_to_it() -> None:
    made = house()
    cast(made)
    warm(made, 5 * 60)
    [row] = [row for row in views.tonight(made.state) if row["bed"] == "bed-a"]

    assert re.match(
        r"[23]\d\.\d-[23]\d\.\d C at 07:00, 22 C already, 25 C by 0\d:\d\d-0\d:\d\d$", row["if_left"]
    ), row


def test_a_shift_that_ends_at_six_is_one_moment_and_not_two() -> None:
    made = house(shifts=(Shift(("ada",), tuple(range(7)), 18 * 60, 30 * 60),))
    cast(made)
    warm(made, 180)
    [row] = [row for row in views_heat.forecast(made.state) if row["bed"] == "bed-a"]
    assert [one["name"] for one in row["moments"]] == ["end of shift"]
