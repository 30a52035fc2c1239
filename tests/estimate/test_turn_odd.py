"""Odd days: readings that fall after probes were put back, a place left out, probes that come back late."""

from dataclasses import replace

import pytest

from gateway.core.estimate.turn_seen.detect import Bed, TurnSeen, Wire
from tests.estimate.test_turn_seen import AIR, MIN, START_MS, STILL_AIR, Level, out, play, turned, warming

PLACES_M = (1.0, 5.0, 9.0)


def along(heights: tuple[float, ...], air: bool = True) -> Bed:
    """A bed of 10 m with these heights at each of three places; a probe is named by its height and place."""
    wires = tuple(Wire(f"{h:g} at {m:g}", "temperature", 60.0, h, m) for m in PLACES_M for h in heights)
    return Bed("bed-a", 0.0, 10.0, wires, (AIR,) if air else ())


def one_place(names: tuple[str, ...], at_m: float = 5.0, air: bool = True) -> Bed:
    """A bed of 10 m with these probes above each other."""
    wires = tuple(Wire(name, "temperature", 60.0, 3.0 * (i + 1), at_m) for i, name in enumerate(names))
    return Bed("bed-a", 0.0, 10.0, wires, (AIR,) if air else ())


def step(level: Level, by_k: float, at: float) -> Level:
    """From then on it reads so much more."""
    return lambda minute: level(minute) + (by_k if minute >= at else 0.0)


def stood(seen: list[TurnSeen]) -> list[TurnSeen]:
    return [one for one in seen if one.state == "seen"]


def test_probes_put_back_before_all_readings_fall_show_no_turn() -> None:
    """Pulled out, put back where they were, and then the site's supply sags: the air reads lower as well."""
    low, high = out(warming(14.0), 60.0, 79.0, 9.4), out(warming(14.3), 61.0, 80.0, 9.4)
    levels = {
        "low": step(low, -2.3, 84.0),
        "high": step(high, -2.3, 84.0),
        "air": step(lambda _: 9.4, -2.4, 84.0),
    }
    assert stood(play(levels)) == []


def test_a_turn_with_the_shutters_opened_meanwhile_is_one() -> None:
    """The air falls as the probes settle, by less than the grain came down."""
    air: Level = lambda minute: 12.0 - 0.9 * max(0.0, min(1.0, (minute - 92.0) / 10.0))  # noqa: E731
    seen = stood(play({"low": turned(16.5, 14.5), "high": turned(18.0, 14.7), "air": air}))
    assert [one.kind for one in seen] == ["turned"]


def test_water_on_the_top_of_three_places_is_no_turn() -> None:
    """Two tops come to one level, but a layer between them did not move. The last low one hangs out."""
    levels: dict[str, Level] = {
        "3 at 1": warming(17.4), "15 at 1": turned(17.5, 17.0),
        "3 at 5": warming(16.9), "15 at 5": turned(16.8, 16.4),
        "3 at 9": STILL_AIR, "15 at 9": turned(17.3, 17.3),
    }  # fmt: skip
    assert stood(play(levels | {"air": STILL_AIR}, bed=along((3.0, 15.0)))) == []


def test_many_layers_come_to_one_level_though_they_hardly_fell() -> None:
    """Warm ones fall, cold ones rise: nothing but mixing does that. No air is known, and none was out."""
    before = {"3": 16.4, "7": 19.0, "11": 18.8}
    levels = {f"{h} at {m:g}": turned(c, 18.7) for m in PLACES_M for h, c in before.items()}
    (only,) = stood(play(levels, bed=along((3.0, 7.0, 11.0), air=False)))
    assert only.kind == "turned"
    assert only.fall_k == pytest.approx(0.3, abs=0.1)


def test_what_was_told_of_probes_in_the_air_gives_way_to_those_in_the_grain() -> None:
    """No thermometer tells of the air. Two hang there for good, one comes back, and one was never out."""
    levels = {
        "a": out(warming(17.3), 80.0, 1e6), "b": out(turned(17.4, 16.0, at=96.0), 80.0, 112.0),
        "c": out(warming(18.7), 80.0, 1e6), "d": turned(19.3, 16.5, at=97.0),
    }  # fmt: skip
    (only,) = stood(play(levels, 200, one_place(tuple(levels), air=False)))
    assert only.probes == ("b", "d")
    assert (only.ended_ms - START_MS) / MIN == pytest.approx(112.0, abs=3.0)
    assert only.fall_k == pytest.approx(3.4, abs=0.3)


@pytest.mark.parametrize("by_k", [-0.3, 0.3])
def test_a_late_step_of_one_probe_of_a_place_does_not_move_the_end(by_k: float) -> None:
    bed = one_place(("a", "b", "c", "d"), at_m=2.0)
    bed = replace(bed, probes=(*bed.probes, Wire("far", "temperature", 60.0, 5.0, 8.0)))
    levels = {"a": turned(17.0, 15.5), "b": turned(18.0, 15.5), "c": turned(19.0, 15.5)}
    levels |= {"far": turned(17.5, 15.5, at=105.0), "d": step(lambda _: 15.6, by_k, 115.0), "air": STILL_AIR}
    (only,) = stood(play(levels, 190, bed))
    # 6 m in 15 min, and 2 m more.
    assert (only.ended_ms - START_MS) / MIN == pytest.approx(110.0, abs=2.0)


def test_one_left_on_its_hook_and_one_that_fell_a_little_are_a_turn() -> None:
    hooked, fell = out(warming(16.3), 80.0, 1e6), turned(16.0, 16.3, at=92.0)
    (only,) = stood(play({"low": fell, "high": hooked, "air": STILL_AIR}, seed=2))
    assert (only.kind, only.probes) == ("turned", ("low",))
    assert stood(play({"low": fell, "high": warming(16.3), "air": STILL_AIR}, seed=2)) == []


@pytest.mark.parametrize("by_k", [0.0, -0.4])
def test_water_on_top_is_no_turn_though_a_low_layer_feels_it_too(by_k: float) -> None:
    levels = {f"3 at {m:g}": warming(17.0) for m in PLACES_M} | {"air": STILL_AIR}
    levels |= {f"15 at {m:g}": turned(16.9, 16.1) for m in PLACES_M}
    levels["3 at 5"] = step(warming(17.0), by_k, 94.0)
    assert stood(play(levels, bed=along((3.0, 15.0)))) == []
