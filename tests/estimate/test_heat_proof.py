"""What earlier forecasts proved narrows or widens what is reckoned, and nothing that no reading can prove."""

import math
from collections.abc import Callable
from random import Random

from gateway.core.estimate.bed_heat import balance as bed_heat
from gateway.core.estimate.bed_heat.balance import Bed, Heat, Hung
from gateway.core.estimate.bed_heat.proof import factor
from gateway.core.estimate.bed_heat.state import BedHeat
from tests.estimate.heat_worlds import MINUTE_MS, START_MS

HOUR_MS = 3_600_000
NINETY = 1.645
Curve = Callable[[float], float]


def lived(curve: Curve, hours: float, turned: tuple[float, float] | None = None) -> tuple[Heat, Bed, int]:
    """One thermometer that follows a curve (C by hours); `turned`: hours of a turn's end and its telling."""
    rng, found = Random(7), Heat()
    bed = Bed("b", (Hung("p"),), "room", START_MS - 72 * HOUR_MS)
    at_ms = START_MS
    for minute in range(int(hours * 60) + 1):
        at_ms = START_MS + minute * MINUTE_MS
        hour = minute / 60.0
        bed_heat.take(found, "b", "p", at_ms, round(curve(hour) + rng.gauss(0.0, 0.05), 1), at_ms)
        bed_heat.over(found, "room", at_ms, 12.0, at_ms)
        if turned is not None and hour >= turned[1]:
            bed = Bed("b", (Hung("p", START_MS + round(turned[0] * HOUR_MS)),), "room", bed.cast_ms)
        if minute % 10 == 0:
            bed_heat.consider(found, bed, at_ms)
    return found, bed, at_ms


def half_k(heat: Heat, bed: Bed, at_ms: int, hours: float) -> float:
    [said] = bed_heat.forecast(heat, bed, at_ms, moments=[at_ms + round(hours * HOUR_MS)]).moments
    return (said.high_c - said.low_c) / 2.0


def steady(hour: float) -> float:
    return 15.0 + 3.0 * (1.0 - math.exp(-hour / 12.0))


def wavy(hour: float) -> float:
    return steady(hour) + 0.5 * math.sin(hour * 2.0)


def test_a_bed_that_keeps_to_what_is_said_of_it_gets_a_narrower_band_and_one_that_does_not_a_wider() -> None:
    good, bed, at_ms = lived(steady, 30.0)
    bad, other, _ = lived(wavy, 30.0)

    assert factor(good, "b") < 0.7
    assert factor(bad, "b") > 1.3
    assert half_k(good, bed, at_ms, 2.0) < half_k(bad, other, at_ms, 2.0) / 1.5


def test_what_a_thermometer_errs_by_stays_in_the_band_however_right_the_forecasts_were() -> None:
    heat, bed, at_ms = lived(steady, 30.0)
    kept = heat.beds["b"]
    kept.off = 0.0

    assert half_k(heat, bed, at_ms, 0.25) >= NINETY * bed.doubts.level_k - 0.01


def test_a_promise_that_a_turn_cut_into_proves_nothing_though_it_is_told_of_when_done() -> None:
    def slow_fall(hour: float) -> float:
        """Too slow a fall to be a leap: only the telling says that it was a turn."""
        return steady(min(hour, 5.2)) - 1.2 * max(0.0, min(1.0, hour - 5.2))

    before = lived(slow_fall, 5.2)[0].beds["b"]
    after = lived(slow_fall, 5.8, (5.7, 5.75))[0].beds["b"]
    # Those of the half hour before the fall are proved meanwhile, and were right.
    assert after.off / after.weight <= before.off / before.weight + 0.02
    assert after.weight > before.weight > 0.0


def site(others: tuple[float, ...], told: bool = True) -> Heat:
    """A bed just cast among others, whose promises came to so much each (mean square)."""
    found = Heat({"b": BedHeat(told=True)})
    for i, mean in enumerate(others):
        found.beds[f"o{i}"] = BedHeat(off=mean * 40.0, weight=40.0, told=told)
    return found


def test_a_new_bed_begins_from_what_the_sites_others_came_to() -> None:
    assert factor(site(()), "b") == 1.0
    assert factor(site((0.2, 0.2, 0.2)), "b") < 0.75
    assert factor(site((4.0, 4.0, 4.0)), "b") > 1.5


def test_one_bad_bed_and_one_too_good_to_be_true_do_not_decide_for_the_site() -> None:
    alike = factor(site((1.0, 1.0, 1.0, 1.0)), "b")
    assert factor(site((1.0, 1.0, 1.0, 1e6)), "b") < 1.5 * alike
    assert factor(site((1.0, 1.0, 1.0, 0.0)), "b") > alike / 1.5


def test_what_nobody_recorded_tells_nothing_of_other_beds() -> None:
    assert factor(site((0.1, 0.1, 0.1), told=False), "b") == 1.0


def test_what_a_piece_came_to_stays_with_the_site_when_it_goes() -> None:
    found = site((0.2,))
    before = factor(found, "b")
    bed_heat.forget(found, "o0")
    assert factor(found, "b") == before


def test_grain_that_runs_away_has_a_wider_band_than_cool_grain_with_the_same_rise() -> None:
    cool, bed, at_ms = lived(lambda hour: 15.0 + 0.5 * hour, 6.0)
    warm, other, _ = lived(lambda hour: 25.0 + 0.5 * hour, 6.0)
    for heat in (cool, warm):
        heat.beds["b"].off = heat.beds["b"].weight = 0.0
    assert half_k(warm, other, at_ms, 4.0) > 1.3 * half_k(cool, bed, at_ms, 4.0)
