"""What somebody does to the kilns and floors of a whole simulated maltings, and what its truth tells."""

from typing import Any

import pytest

from simulators.world import World
from tests.simulators.sites import START_S, site


def world(lit_h: float = 6.0) -> World:
    """The small site with its kiln lit so long ago."""
    return World(site(), 1, start_s=START_S, starts={"kiln-1": {"lit_h": lit_h}})


@pytest.mark.parametrize(
    "order",
    [
        {"light": "kiln-1"},
        {"relight": "kiln-1"},
        {"kiln-turn": True},
        {"kiln-turn": "kiln-1"},
        {"fire": "out"},
        {"fire": {"place": "kiln-1", "how": "wild"}},
        {"fire": "load"},
        {"door": "open"},
        {"fan": {"place": "floor-1", "how": "on"}},
    ],
)
def test_orders_are_done_and_told(order: dict[str, Any]) -> None:
    one = world()
    assert one.command(order) is None
    (line,) = one.truth()
    assert (line["kind"], line["verb"]) == ("order", next(iter(order)))


@pytest.mark.parametrize(
    ("order", "words"),
    [
        ({"light": "bed-a"}, "is no kiln"),
        ({"kiln-turn": False}, "expected a name"),
        ({"fire": "purple"}, "expected one of out, wild, load"),
        ({"fire": {"place": "kiln-9", "how": "out"}}, "is no kiln"),
        ({"door": {"how": "open"}}, "expected a place"),
        ({"door": True}, "expected one of open, shut"),
        ({"fan": {"place": "floor-9", "how": "on"}}, "is no floor"),
    ],
)
def test_orders_that_cannot_be_done_say_why(order: dict[str, Any], words: str) -> None:
    one = world()
    assert words in (one.command(order) or "")
    assert not one.truth()


def test_a_fire_goes_out_and_is_lit_again() -> None:
    one = world()
    kiln = one.kilns["kiln-1"]
    one.command({"fire": "out"})
    one.step(7200.0)
    assert not kiln.lit()
    assert kiln.air_on_c < 15.0
    one.command({"relight": "kiln-1"})
    one.step(7200.0)
    assert kiln.lit_h == pytest.approx(10.0, abs=0.02)
    assert kiln.air_on_c == pytest.approx(45.0, abs=0.5)


def test_a_kiln_not_lit_yet_is_lit() -> None:
    one = world(-3.0)
    one.command({"light": "kiln-1"})
    one.step(3600.0)
    assert one.kilns["kiln-1"].air_on_c > 35.0


def test_a_fire_without_draught_sends_co_to_the_growing_floor() -> None:
    one = world()
    floor = next(floor for floor in one.floors.values() if floor.beds)
    one.step(1800.0)
    assert floor.room.co_ppm() == 0.0
    one.command({"draught": {"place": "kiln-1", "amount": 0}})
    one.step(3600.0)
    assert floor.room.co_ppm() > 20.0
    assert abs(floor.room.co_gap_m3()) < 1e-6 * floor.room.co_given_m3
    before_ppm = floor.room.co_ppm()
    one.command({"fire": "out"})
    one.command({"fan": {"place": floor.id, "how": "on"}})
    one.step(3600.0)
    assert floor.room.co_ppm() < 0.5 * before_ppm


def test_truth_tells_layers_and_the_break() -> None:
    one = world(16.0)
    one.step(8 * 3600.0)
    lines = one.truth()
    layers = [line for line in lines if line["kind"] == "layer"]
    assert len(layers) == 8 * 6 * 15
    (line,) = [line for line in lines if line["kind"] == "break"]
    assert isinstance(line["lit_h"], float)
    assert 18.0 < line["lit_h"] < 25.0
    rooms = [line for line in lines if line["kind"] == "room"]
    assert {"co2_ppm", "co_ppm", "rh"} <= set(rooms[0])


def test_a_fire_out_in_a_load_that_broke_loses_the_break() -> None:
    """Its top is not yet dry: without heat the air leaves near saturation again."""
    one = world(16.0)
    kiln = one.kilns["kiln-1"]
    while not kiln.broke:
        one.step(600.0)
    one.command({"fire": "out"})
    one.step(3 * 3600.0)
    kinds = [line["kind"] for line in one.truth() if line["kind"] in ("break", "break_lost")]
    assert kinds == ["break", "break_lost"]
    assert not kiln.broke
