"""How long turns take, learnt where probes show it and reckoned with where they do not; what is no moment."""

from dataclasses import replace

import pytest

from gateway.core.estimate.turn_seen.bed import Bed, Figures, Wire
from gateway.core.estimate.turn_seen.passage import passages
from gateway.core.estimate.turn_seen.state import Turns
from gateway.core.estimate.turn_seen.usual import learn, usual_s
from gateway.core.estimate.turn_seen.vent import vents
from gateway.core.estimate.turn_seen.walk import Passed, Walk, walk
from gateway.core.follow.turns_wiring import wired
from gateway.core.site import Floor, Place, Programme, Site, Turning

MIN = 60_000
HOUR = 60 * MIN
NOON = 1_764_000_000_000
FIGURE_S = Figures().turn_s
BED = Bed("bed-a", 0.0, 10.0, (Wire("p", "temperature", 60.0),))
OTHER = Bed("bed-b", 20.0, 30.0, (Wire("q", "temperature", 60.0),))


def took(minutes: float, weight: float = 1.0) -> Walk:
    """A turn of a whole bed that ended at noon and took so long."""
    whole_ms = int(minutes * MIN)
    return Walk(NOON - whole_ms, NOON, 20.0, 30.0, whole_ms, weight)


def passed(at_m: float, minute: float) -> Passed:
    """A probe left in the grain, which the turn came by then."""
    at_ms = NOON + int(minute * MIN)
    return Passed(at_m, at_ms, at_ms, at_ms, False)


def test_the_usual_length_is_the_figure_until_turns_show_another() -> None:
    turns = Turns()
    assert usual_s(turns, BED, NOON) == FIGURE_S
    for number in (1, 2):
        learn(turns, OTHER, number, took(60.0))
    assert usual_s(turns, BED, NOON) == pytest.approx((2.0 * FIGURE_S + 2 * 3600.0) / 4.0)
    learn(turns, OTHER, 2, None)
    learn(turns, OTHER, 3, took(60.0, weight=0.0))
    assert usual_s(turns, BED, NOON) == pytest.approx((2.0 * FIGURE_S + 3600.0) / 3.0)


def test_a_longer_bed_takes_longer_though_not_in_proportion() -> None:
    turns, long = Turns(), Bed("bed-c", 40.0, 80.0, BED.probes)
    learn(turns, OTHER, 1, took(20.0))
    assert usual_s(turns, long, NOON) == pytest.approx((2.0 * FIGURE_S + 2.0 * 1200.0) / 3.0)


def test_a_turn_in_hand_is_not_reckoned_from_itself() -> None:
    turns = Turns()
    learn(turns, BED, 1, took(60.0))
    assert usual_s(turns, BED, NOON + HOUR) == FIGURE_S
    assert usual_s(turns, BED, NOON + 8 * HOUR) > FIGURE_S


def test_what_is_remembered_is_bounded() -> None:
    turns = Turns()
    for number in range(100):
        learn(turns, OTHER, number, took(30.0))
    assert len(turns.lasted) <= 8


def test_places_near_each_other_tell_little_of_the_pace() -> None:
    near = walk(BED, [passed(3.0, 0.0), passed(5.0, 20.0)], [])
    far = walk(BED, [passed(1.0, 0.0), passed(9.0, 48.0)], [])
    assert near.whole_ms == pytest.approx(90 * MIN, abs=10 * MIN)
    assert 0.0 < near.weight < far.weight < 1.0
    assert near.ended_ms - near.began_ms < 80 * MIN
    assert far.ended_ms - NOON == pytest.approx(54 * MIN, abs=2 * MIN)


@pytest.mark.parametrize(("whole_min", "told_min"), [(20.0, 10.0), (30.0, 14.0), (36.0, 14.0), (60.0, 26.0)])
def test_from_one_place_an_end_is_told_that_does_for_a_part_too(whole_min: float, told_min: float) -> None:
    """Half of the usual, or a little earlier where that is within a quarter of an hour of when it came by."""
    bed = replace(BED, figures=Figures(turn_s=whole_min * 60.0))
    took = walk(bed, [passed(5.0, 0.0)], [])
    assert ((took.ended_ms - NOON) / MIN, (NOON - took.began_ms) / MIN, took.weight) == (
        told_min,
        told_min,
        0.0,
    )
    far = replace(
        bed, probes=(Wire("p", "temperature", 60.0, 5.0, 5.0), Wire("q", "temperature", 60.0, 5.0, 9.0))
    )
    assert (walk(far, [passed(5.0, 0.0)], []).ended_ms - NOON) / MIN == whole_min / 2.0


def test_a_site_says_how_long_one_person_takes() -> None:
    """Two turn a bed; a bed without a programme has the figure."""
    programme = Programme("floor", turning=Turning(turn_takes_min=100.0))
    places = (
        Place("a", "bed", "A", "f", 0.0, 9.0, programme="floor"),
        Place("b", "bed", "B", "f", 9.0, 18.0),
    )
    beds = wired(Site("s", "S", "UTC", (Floor("f", 18.0),), places, programmes=(programme,))).beds
    assert (beds["a"].figures.turn_s, beds["b"].figures.turn_s) == (3000.0, FIGURE_S)
    assert Figures(turn_s=Turning().turn_takes_min * 30.0) == Figures()


def test_a_turn_may_walk_either_way() -> None:
    up = walk(BED, [passed(2.0, 0.0), passed(8.0, 24.0)], [])
    down = walk(BED, [passed(8.0, 0.0), passed(2.0, 24.0)], [])
    assert (up.began_ms, up.ended_ms) == (down.began_ms, down.ended_ms)


def test_co2_that_went_in_a_silence_went_at_no_known_moment() -> None:
    calm, after = [20_000.0 + i for i in range(8)], [2000.0, 2010.0, 2020.0]
    (at_once,) = vents([*calm, *after], 0.2)
    (silent,) = vents([*calm, *[None] * 30, *after], 0.2)
    assert (at_once.gap, silent.gap) == (1, 31)


def test_a_level_a_little_overshot_is_no_stray() -> None:
    """Left in the grain it falls 2 K and wavers by 0.2 K: out it would have gone far beyond."""
    grain = [1700] * 30 + [1620, 1560, 1520, 1500, 1480, 1480, 1480, 1500, 1500, 1500, 1500, 1500, 1500]
    (fell,) = passages(grain, NOON // MIN, MIN)
    assert (fell.stray, fell.net) == (0, -200)
    hooked = [1700] * 30 + [
        1550,
        1450,
        1390,
        1350,
        1320,
        1310,
        1400,
        1460,
        1480,
        1490,
        1500,
        1500,
        1500,
        1500,
    ]
    (out,) = passages([*hooked, *[1500] * 4], NOON // MIN, MIN)
    assert out.stray <= -150
