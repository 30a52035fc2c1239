"""Probes of coarse steps, probes taken for grain while they hung in the air, and second thoughts."""

import pytest

from gateway.core.estimate.turn_seen.passage import passages
from gateway.core.estimate.turn_seen.state import BedTurns, Turns
from gateway.core.estimate.turn_seen.tell import tell
from gateway.core.estimate.turn_seen.verdict import TURNED, Verdict
from gateway.core.estimate.turn_seen.walk import Walk
from tests.estimate.test_turn_odd import along, one_place, stood
from tests.estimate.test_turn_seen import BED, MIN, START_MS, Level, gas, out, play, turned, warming

#: Thermometers of the air and of the grain differ by half a kelvin: what hangs on a hook does not read it.
OFF_AIR: Level = lambda _: 12.5  # noqa: E731


@pytest.mark.parametrize("step_k", [0.0625, 0.1, 0.25, 0.5])
def test_a_turn_with_the_probes_out_for_all_of_it_ends_when_they_are_back(step_k: float) -> None:
    """They hang in the air for fifty minutes, and one step up there is no grain that heats again."""
    levels = {
        "low": out(turned(17.5, 15.5, at=100.0), 80.0, 130.0),
        "high": out(turned(19.0, 15.7, at=100.0), 82.0, 131.0),
        "air": OFF_AIR,
    }
    (only,) = stood(play(levels, 190, step_k=step_k))
    assert only.kind == TURNED
    assert (only.ended_ms - START_MS) / MIN == pytest.approx(131.0, abs=4.0)


@pytest.mark.parametrize("step_k", [0.1, 0.25, 0.5])
def test_coarse_steps_of_grain_that_warms_and_cools_slowly_are_no_turn(step_k: float) -> None:
    """Each step of half a kelvin looks like a sudden move."""
    levels = {"low": lambda m: 17.3 - 0.6 * m / 60.0, "high": lambda m: 17.4 - 0.6 * m / 60.0, "air": OFF_AIR}
    assert stood(play(levels, 240, step_k=step_k)) == []


def test_one_step_of_a_coarse_probe_is_no_move_and_two_are() -> None:
    still = [*[1700] * 10, 1750, *[1700] * 9]
    assert passages([*still, *[1650] * 20], 40, MIN) == []
    (only,) = passages([*still, *[1600] * 20], 40, MIN)
    assert (only.before, only.after, only.step) == (1700, 1600, 50)


def test_a_probe_without_noise_whose_only_change_is_the_turn_has_no_steps() -> None:
    (only,) = passages([*[1700] * 20, *[1650] * 20], 40, MIN)
    assert (only.before, only.after, only.step) == (1700, 1650, 1)


def test_an_end_told_of_one_left_in_moves_on_when_the_others_come_back() -> None:
    """One shows its passing at once; five hang in the air until the turn is done, longer than one waits."""
    bed = along((3.0, 15.0))
    levels = {one.id: out(turned(18.0, 15.6, at=110.0), 84.0, 152.0) for one in bed.probes[:-1]}
    levels |= {bed.probes[-1].id: turned(17.8, 15.4, at=98.0), "air": lambda _: 12.0}
    (only,) = stood(play(levels, 210, bed))
    assert (only.ended_ms - START_MS) / MIN == pytest.approx(152.0, abs=5.0)
    assert len(only.probes) == len(bed.probes)
    assert only.known_ms >= only.ended_ms


def test_co2_that_came_back_bears_nothing_out() -> None:
    """All were pulled out and put back: the gas probe too, and one thermometer a little late."""
    at_home = {name: out(warming(18.0 + 0.1 * i), 80.0, 110.0) for i, name in enumerate(("a", "b", "c"))}
    lying = gas(None)
    levels = at_home | {
        "d": out(warming(18.4), 80.0, 114.0, air=11.6),
        "gas": lambda m: 900.0 if 80.0 <= m < 110.0 else lying(m),
        "air": lambda _: 12.0,
    }
    bed = one_place(("a", "b", "c", "d"))
    bed = BED.__class__(bed.id, bed.from_m, bed.to_m, (*bed.probes, BED.probes[-1]), bed.air)
    for minutes in range(100, 170, 2):
        assert stood(play(levels, minutes, bed)) == []


def verdict(sureness: float) -> Verdict:
    """A turn that two probes show, settled and ready to be told."""
    began, ended = START_MS, START_MS + 20 * MIN
    outs = (START_MS + 9 * MIN, START_MS + 10 * MIN)
    return Verdict(
        TURNED, sureness, Walk(began, ended, 0.0, 10.0), 150.0, 100, 20, ("low", "high"), outs,
        ended, ended, 0, True,
    )  # fmt: skip


def test_one_less_sure_is_told_when_two_looks_show_it() -> None:
    turns, lying, now_ms = Turns(), BedTurns(), START_MS + 30 * MIN
    assert tell(turns, BED, lying, verdict(0.7), [], now_ms) == []
    (seen,) = tell(turns, BED, lying, verdict(0.7), lying.thought, now_ms + MIN)
    assert (seen.kind, seen.sureness, seen.known_ms) == (TURNED, 0.7, now_ms + MIN)


def test_a_sure_one_is_told_at_once_and_another_moment_is_no_second_look() -> None:
    turns, now_ms = Turns(), START_MS + 30 * MIN
    assert len(tell(turns, BED, BedTurns(), verdict(0.8), [], now_ms)) == 1
    assert tell(turns, BED, BedTurns(), verdict(0.7), [START_MS + 20 * MIN], now_ms) == []
