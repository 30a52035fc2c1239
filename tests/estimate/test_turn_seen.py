"""Turns seen: by hand what is one and what is none, restarts anywhere, marks over many simulated ones."""

import json
import sys
import time
from collections.abc import Callable, Iterable
from random import Random

import pytest

from gateway.core import codec
from gateway.core.estimate.turn_seen.detect import Bed, Turns, TurnSeen, Wire, forget, over, take
from tests.estimate.turn_crude import crude_scene
from tests.estimate.turn_scene import Scene, mark, see, wilson
from tests.estimate.turn_worlds import world_scene
from tests.estimate.turns import report, run

MIN = 60_000
START_MS = 1_764_000_000_000 - 1_764_000_000_000 % MIN
LOW, HIGH = Wire("low", "temperature", 60.0, 4.0, 5.0), Wire("high", "temperature", 60.0, 9.0, 5.0)
GAS, AIR = Wire("gas", "co2", 60.0, 5.0, 5.0), Wire("air", "temperature", 60.0)
BED = Bed("bed-a", 0.0, 10.0, (LOW, HIGH, GAS), (AIR,))
Level = Callable[[float], float]
LEAST_RECALL, LEAST_PRECISION, LEAST_SEVERAL = 0.94, 0.94, 0.965


def play(
    levels: dict[str, Level], minutes: int = 150, bed: Bed = BED, seed: int = 1, step_k: float = 0.1
) -> list[TurnSeen]:
    """One reading a minute of each probe, wavering a little; what was told, each turn as it stood last."""
    rng, turns, last = Random(seed), Turns(), dict[int, TurnSeen]()
    for minute in range(minutes):
        at_ms = START_MS + minute * MIN
        for name, level in levels.items():
            value = level(float(minute))
            value += rng.gauss(0.0, 0.03 if value < 100.0 else 20.0)
            if name == "air":
                over(turns, AIR, at_ms, value, at_ms)
                continue
            for seen in take(turns, bed, name, at_ms, round(round(value / step_k) * step_k, 4), at_ms):
                last[seen.turn] = seen
    return list(last.values())


def warming(level: float) -> Level:
    return lambda minute: level + 0.8 * minute / 60.0


def turned(before: float, after: float, at: float = 90.0, lag: float = 2.5) -> Level:
    """Left in the grain: it comes to the mixed temperature with the probe's lag."""
    grain = warming(before)

    def level(minute: float) -> float:
        if minute < at:
            return grain(minute)
        return after + (grain(at) - after) * 2.718 ** (-(minute - at) / lag) + 0.8 * (minute - at) / 60.0

    return level


def out(grain: Level, from_min: float = 86.0, to_min: float = 95.0, air: float = 12.0) -> Level:
    """Taken out into the air, and put back."""

    def level(minute: float) -> float:
        if minute < from_min:
            return grain(minute)
        if minute < to_min:
            return air + (grain(from_min) - air) * 2.718 ** (-(minute - from_min) / 1.5)
        left = air + (grain(from_min) - air) * 2.718 ** (-(to_min - from_min) / 1.5) - grain(to_min)
        return grain(minute) + left * 2.718 ** (-(minute - to_min) / 2.5)

    return level


def gas(at: float | None, left: float = 2000.0) -> Level:
    return lambda minute: (
        20_000.0 + 20.0 * minute if at is None or minute < at else left + 30.0 * (minute - at)
    )


STILL_AIR: Level = lambda minute: 12.0  # noqa: E731
NO_GAS = gas(None)


def is_turn(seen: Iterable[TurnSeen], ended: float = 90.0) -> TurnSeen:
    (only,) = seen
    assert (only.kind, only.state) == ("turned", "seen")
    assert abs(only.ended_ms - START_MS - ended * MIN) <= 15 * MIN
    return only


def test_probes_left_in_converge_and_fall() -> None:
    seen = is_turn(play({"low": turned(15.5, 15.0), "high": turned(18.0, 15.2), "air": STILL_AIR}))
    assert seen.probes == ("high", "low")
    assert seen.spread_before_k == pytest.approx(2.5, abs=0.3)
    assert seen.spread_after_k == pytest.approx(0.2, abs=0.25)
    assert seen.fall_k == pytest.approx((16.7 - 15.0 + 19.2 - 15.2) / 2, abs=0.3)
    assert seen.known_ms - START_MS <= 106 * MIN
    assert (seen.from_m, seen.to_m) == (0.0, 10.0)


def test_probes_taken_out_and_put_back_into_cooler_grain() -> None:
    low, high = out(turned(16.0, 15.0)), out(turned(18.0, 15.1))
    assert is_turn(play({"low": low, "high": high, "gas": gas(90.0), "air": STILL_AIR})).sureness > 0.8


def test_without_a_thermometer_in_the_air() -> None:
    is_turn(play({"low": out(turned(16.0, 15.0)), "high": out(turned(18.0, 15.1))}))


def test_one_left_hanging_on_its_hook() -> None:
    forgotten = out(warming(16.0), to_min=1e6)
    is_turn(play({"low": forgotten, "high": out(turned(18.0, 15.1)), "gas": gas(90.0), "air": STILL_AIR}))


def test_one_probe_at_odds_with_two_that_agree_hides_no_turn() -> None:
    """It came to where no mixed grain is, and not to the air's either: thrown out on top, or it fails."""
    bed = Bed("bed-a", 0.0, 10.0, (LOW, HIGH, Wire("top", "temperature", 60.0, 13.0, 5.0)), (AIR,))
    levels = {"low": turned(15.5, 15.0), "high": turned(18.0, 15.2), "air": lambda minute: 6.0}
    seen = is_turn(play(levels | {"top": turned(16.5, 10.5)}, bed=bed))
    assert seen.probes == ("high", "low")


def test_the_coldest_layer_may_grow_warmer() -> None:
    is_turn(play({"low": turned(13.5, 14.9), "high": turned(18.0, 15.0), "gas": gas(90.0), "air": STILL_AIR}))


def test_one_probe_and_the_co2() -> None:
    bed = Bed("bed-a", 0.0, 10.0, (HIGH, GAS), (AIR,))
    is_turn(play({"high": turned(18.0, 15.0), "gas": gas(90.0), "air": STILL_AIR}, bed=bed))


def test_one_probe_alone_is_perhaps() -> None:
    bed = Bed("bed-a", 0.0, 10.0, (HIGH,))
    (only,) = play({"high": out(turned(18.0, 15.0))}, bed=bed)
    assert only.kind == "perhaps"
    assert only.sureness < 0.5


def test_it_walks_along_the_bed() -> None:
    places = tuple(Wire(f"p{i}", "temperature", 60.0, 4.0 + i, 2.0 + 3.0 * i) for i in range(3))
    bed = Bed("bed-a", 0.0, 10.0, places, (AIR,))
    levels = {f"p{i}": turned(18.0 - i, 15.0, at=80.0 + 9.0 * i) for i in range(3)}
    (only,) = play({**levels, "air": STILL_AIR}, bed=bed)
    assert only.kind == "turned"
    # 3 m in 9 min: it began at 0 m, 6 min before the first probe, and ended at 10 m, 6 min after the last.
    assert (only.began_ms - START_MS) / MIN == pytest.approx(74.0, abs=4.0)
    assert (only.ended_ms - START_MS) / MIN == pytest.approx(104.0, abs=4.0)


def test_half_a_bed_is_told_as_half() -> None:
    places = tuple(Wire(f"{h}{m}", "temperature", 60.0, h, m) for m in (2.0, 8.0) for h in (4.0, 9.0))
    bed = Bed("bed-a", 0.0, 10.0, places, (AIR,))
    levels: dict[str, Level] = {
        "4.02.0": turned(16.0, 15.0), "9.02.0": turned(18.0, 15.0),
        "4.08.0": warming(16.0), "9.08.0": warming(18.0), "air": STILL_AIR,
    }  # fmt: skip
    (only,) = play(levels, bed=bed)
    assert (only.kind, only.from_m, only.to_m) == ("turned", 0.0, 5.0)


def burst(grain: Level, size: float, from_min: float = 85.0, to_min: float = 100.0) -> Level:
    return lambda minute: grain(minute) + (size if from_min <= minute < to_min else 0.0)


def dip(grain: Level, size: float, slow: float) -> Level:
    return lambda minute: grain(minute) - size * max(0.0, min(1.0, (minute - 90.0) / slow))


NO_TURNS: dict[str, dict[str, Level]] = {
    "quiet": {"low": warming(15.0), "high": warming(17.0)},
    "both pulled out and put back": {"low": out(warming(16.0)), "high": out(warming(18.0))},
    "one pulled out": {"low": warming(16.0), "high": out(warming(18.0), to_min=1e6)},
    "one pulled out and put back": {"low": warming(16.0), "high": out(warming(18.0))},
    "hot burst falls back": {"low": burst(warming(16.0), 9.0), "high": burst(warming(18.0), 12.0)},
    "hot for half an hour": {"low": burst(warming(16.0), 6.0, 60.0, 92.0), "high": warming(18.0)},
    "all zero": {"low": burst(lambda m: 0.0 if 85 <= m < 110 else 16.0, 0.0),
                 "high": burst(lambda m: 0.0 if 85 <= m < 110 else 18.0, 0.0)},
    "sentinels": {"low": burst(warming(16.0), -9999.0), "high": burst(warming(18.0), -9999.0)},
    "sprinkled": {"low": warming(17.0), "high": turned(16.5, 14.5)},
    "a slow cool hour": {"low": dip(warming(16.0), 1.5, 60.0), "high": dip(warming(18.0), 2.0, 60.0)},
    "one jumps": {"low": warming(16.0), "high": burst(warming(18.0), -4.0, 90.0, 1e6)},
    "frozen": {"low": lambda m: 0.0 if m >= 90 else 16.0, "high": lambda m: 0.0 if m >= 90 else 18.0},
}  # fmt: skip


@pytest.mark.parametrize("name", NO_TURNS)
@pytest.mark.parametrize("air", [True, False], ids=["air known", "air unknown"])
def test_is_no_turn(name: str, air: bool) -> None:
    levels = {**NO_TURNS[name], "gas": NO_GAS} if "pulled" not in name else NO_TURNS[name]
    seen = play({**levels, **({"air": STILL_AIR} if air else {})})
    assert [one for one in seen if one.state == "seen"] == []


def test_a_noise_burst_is_no_turn() -> None:
    rng = Random(4)
    noisy: Level = lambda m: 18.0 + (rng.gauss(0.0, 1.5) if 80 <= m < 110 else 0.0)  # noqa: E731
    assert play({"low": noisy, "high": noisy, "air": STILL_AIR}) == []


def test_a_door_opened_takes_the_air_along() -> None:
    cold: Level = lambda m: 12.0 if m < 85 else 7.0  # noqa: E731
    assert play({"low": warming(16.0), "high": dip(warming(17.0), 0.7, 8.0), "air": cold}) == []


def test_the_whole_site_falling_together_is_no_turn() -> None:
    beds = [Bed(f"bed-{i}", 0.0, 10.0, (LOW, HIGH)) for i in range(3)]
    turns, told = Turns(), []
    for minute in range(150):
        at_ms = START_MS + minute * MIN
        for bed in beds:
            for wire, level in ((LOW, 16.0), (HIGH, 16.4)):
                value = level - (1.6 if minute >= 90 else 0.0)
                told += take(turns, bed, wire.id, at_ms, value, at_ms)
    assert told == []


def test_a_ploughing_is_told_as_one() -> None:
    levels = {"low": turned(15.0, 16.4), "high": turned(18.0, 18.4), "gas": gas(90.0, 13_000.0)}
    (only,) = play({**levels, "air": STILL_AIR})
    assert (only.kind, only.state) == ("ploughed", "seen")
    assert only.sureness <= 0.5


@pytest.mark.parametrize("gap", [20.0, 32.0, 45.0])
def test_a_false_beginning_does_not_hide_the_turn_behind_it(gap: float) -> None:
    at = 75.0 + gap
    low = burst(turned(16.0, 15.0, at), 8.0, 66.0, 75.0)
    high = burst(turned(18.0, 15.1, at), 9.0, 66.0, 75.0)
    seen = [one for one in play({"low": low, "high": high, "air": STILL_AIR}, 190) if one.state == "seen"]
    is_turn(seen, at)


def test_a_restart_anywhere_changes_nothing() -> None:
    scene = crude_scene(3, 5.0)
    whole = trace(scene, 10**9)
    assert whole
    assert trace(scene, 211) == whole


def trace(scene: Scene, every: int) -> list[TurnSeen]:
    """All that is told, with the state stored as JSON and restored after each so many readings."""
    beds, told, turns = {bed.id: bed for bed in scene.beds}, [], Turns()
    for i, one in enumerate(scene.arrivals):
        if i % every == every - 1:
            turns = codec.restore(Turns, json.loads(json.dumps(codec.plain(turns))))
        if one.bed:
            told += take(turns, beds[one.bed], one.probe, one.measured_ms, one.value, one.at_ms)
        else:
            over(turns, AIR, one.measured_ms, one.value, one.at_ms)
    return told


def test_a_clock_that_was_ahead_does_not_deafen() -> None:
    turns, told = Turns(), []
    low, high = turned(16.0, 15.0), turned(18.0, 15.1)
    for minute in range(150):
        at_ms = START_MS + minute * MIN
        ahead_ms = 3_600_000 if minute < 20 else 0
        for name, level in (("low", low), ("high", high)):
            told += take(turns, BED, name, at_ms + ahead_ms, level(minute), at_ms + ahead_ms)
    is_turn({seen.turn: seen for seen in told}.values())


def test_another_piece_is_another_story() -> None:
    turns = Turns()
    for minute in range(60):
        take(turns, BED, "low", START_MS + minute * MIN, 16.0, START_MS + minute * MIN)
    forget(turns, BED.id)
    assert turns.beds == {}
    forget(turns, BED.id)


def test_the_state_is_small_and_a_reading_is_cheap() -> None:
    """At most 1.2 kB a probe as JSON; a reading in quiet or in a turn at most 20 us on the median."""
    scene, turns, spent = world_scene(12, 3.0), Turns(), []
    beds = {bed.id: bed for bed in scene.beds}
    for one in scene.arrivals:
        if one.bed:
            began = time.perf_counter()
            take(turns, beds[one.bed], one.probe, one.measured_ms, one.value, one.at_ms)
            spent.append(time.perf_counter() - began)
    assert sorted(spent)[len(spent) // 2] < 20e-6
    for bed in scene.beds:
        size = len(json.dumps(codec.plain(turns.beds[bed.id]), separators=(",", ":")))
        assert size <= 1200 * len(bed.probes)


def test_strangers_and_nonsense_are_left_out() -> None:
    turns = Turns()
    for value in (float("nan"), float("inf"), -9999.0, 1e300):
        assert take(turns, BED, "low", START_MS, value, START_MS) == []
        assert take(turns, BED, "gas", START_MS, value, START_MS) == []
    assert take(turns, BED, "stranger", START_MS, 16.0, START_MS) == []
    assert all(not any(ring.values) for ring in turns.beds[BED.id].rings.values())


def test_wilson() -> None:
    # R. G. Newcombe 1998, table I, the score method: 81 of 263 is 0.2553 to 0.3662, 0 of 20 is 0 to 0.1611
    # (figures from memory).
    assert wilson(81, 263) == (0.2553, 0.3662)
    assert wilson(0, 20) == pytest.approx((0.0, 0.1611), abs=2e-4)


def test_a_few_simulated_scenes() -> None:
    """A taste of the long one: most turns are found, and little else is told."""
    found = told = right = done = 0
    for scene in (world_scene(2, 7.0), crude_scene(5, 9.0)):
        marks = mark(scene, see(scene))
        done, found = done + marks.turns, found + marks.found
        told, right = told + marks.told, right + marks.right
    assert done >= 5
    assert done - found <= 1
    assert told - right <= 1


@pytest.mark.long
def test_five_hundred_turns_with_every_mishap_on() -> None:
    """The aims are 0.98 for recall and precision; what is held here is a little under what was measured.

    Where all probes hang in one place nothing tells when a turn ends; where they do not, much less is missed.
    """
    whole, by_kind = run(500, 11)
    said, parts = report(whole), {kind: report(marks) for kind, marks in by_kind.items()}
    sys.stdout.write(json.dumps({**said, "by_kind": parts}) + "\n")
    assert said["turns"] >= 500
    assert said["recall"] >= LEAST_RECALL
    assert said["precision"] >= LEAST_PRECISION
    several = said["several_places"]
    assert several["turns"] >= 200
    assert several["recall"] >= LEAST_SEVERAL
    assert several["precision"] >= LEAST_SEVERAL
    assert said["delay_min"]["median"] <= 6.0
