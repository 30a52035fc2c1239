"""The whole maltings without clock or socket: its messages, its orders, its truth, its speed."""

import json
import time
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulators.orders import VERBS, BadOrder, Order, read_order, read_payload
from simulators.plan import SiteFault, read_plan
from simulators.truth import rfc3339
from simulators.world import Reading, World
from tests.simulators.sites import START_S, site


def hours(world: World, count: float, step_s: float = 60.0) -> list[Reading]:
    """What was sent in so many hours."""
    sent = []
    for _ in range(int(count * 3600 / step_s)):
        world.step(step_s)
        sent += world.readings()
    return sent


def test_a_seed_makes_one_history_and_another_seed_another() -> None:
    one, same, other = (hours(World(site(), seed, start_s=START_S), 1.0) for seed in (1, 1, 2))
    assert one == same
    assert one != other


def test_the_step_asked_for_does_not_change_the_history() -> None:
    assert hours(World(site(), 1, start_s=START_S), 1.0, 60.0) == hours(
        World(site(), 1, start_s=START_S), 1.0, 10.0
    )


def test_every_probe_speaks_at_its_interval_in_its_form() -> None:
    sent = hours(World(site(), 1, start_s=START_S), 1.0)
    by_topic: dict[str, list[Reading]] = {}
    for reading in sent:
        by_topic.setdefault(reading.topic, []).append(reading)
    assert len(by_topic["quern-hill/bed-c/c1"]) == 60
    assert len(by_topic["quern-hill/yard/y1"]) == 12
    box = json.loads(by_topic["quern-hill/bed-d/box"][0].payload)
    assert [15.0 < probe["v"] < 18.0 for probe in box["probes"]] == [True, True]
    assert 55.0 < float(by_topic["quern-hill/bed-b/b1"][0].payload) < 65.0  # degrees Fahrenheit
    assert 285.0 < by_topic["quern-hill/bed-a/a2"][0].value < 290.0  # kelvin
    assert 0.1 < by_topic["quern-hill/bed-b/b2"][0].value < 5.0  # per cent
    told = [json.loads(reading.payload) for reading in by_topic["quern-hill/bed-c/c1"]]
    assert [one["n"] for one in told] == list(range(1, 61))
    assert all(set(one) == {"v", "t", "n", "b"} for one in told)


def test_truth_has_each_minute_and_each_turn() -> None:
    world = World(site(), 1, start_s=START_S)
    world.step(600.0)
    assert world.command({"turn": {"place": "bed-b", "from_m": 26, "to_m": 14}}) is None
    hours(world, 1.0)
    lines = world.truth()
    assert sum(line["kind"] == "bed" and line["bed"] == "bed-b" for line in lines) == 70
    assert sum(line["kind"] == "temperature" and line["probe"] == "c1" for line in lines) == 70
    turns = [line for line in lines if line["kind"] == "turn"]
    assert turns == [
        {
            "kind": "turn",
            "bed": "bed-b",
            "from_m": 26.0,
            "to_m": 14.0,
            "began_at": rfc3339(START_S + 600),
            "ended_at": rfc3339(START_S + 2100),
        }
    ]
    assert rfc3339(START_S) == "2025-11-24T18:00:00.000Z"
    json.dumps(lines, allow_nan=False)


def test_a_turn_cut_short_by_the_end_has_no_end() -> None:
    world = World(site(), 1, start_s=START_S)
    world.command({"turn": "bed-a"})
    world.step(60.0)
    world.finish()
    assert [line["ended_at"] for line in world.truth() if line["kind"] == "turn"] == [None]


def test_beds_turned_by_rounds() -> None:
    world = World(site(), 1, start_s=START_S, turn_every_h=8.0)
    hours(world, 12.0)
    turned = [line["bed"] for line in world.truth() if line["kind"] == "turn"]
    assert turned[0] == "bed-c"
    assert set(turned) == {"bed-a", "bed-b", "bed-c", "bed-d"}


def test_a_start_is_what_the_warmest_probe_sees() -> None:
    starts = {"bed-a": {"age_h": 30.0, "temperature_c": 19.5, "since_turn_h": 6.0}}
    world = World(site(), 1, start_s=START_S, starts=starts)
    assert max(world.probes[name].felt() for name in ("a1", "a2")) == pytest.approx(19.5)


@pytest.mark.parametrize(
    "order",
    [
        {"turn": "bed-z"},
        {"turn": {"place": "bed-a", "from_m": 5, "to_m": 99}},
        {"damp": "bed-a"},
        {"draught": {"place": "nowhere"}},
        {"hook": "z9"},
        {"turn": 5},
        {},
        {"turn": "bed-a", "damp": "kiln-1"},
    ],
)
def test_orders_that_cannot_be_carried_out_say_why(order: dict[str, Any]) -> None:
    world = World(site(), 1, start_s=START_S)
    why_not = world.command(order)
    assert why_not
    assert not world.truth()


def test_a_bed_is_turned_once_at_a_time() -> None:
    world = World(site(), 1, start_s=START_S)
    assert world.command({"turn": "bed-a"}) is None
    assert world.command({"turn": "bed-a"}) == "turn: bed-a is being turned already"


def test_kiln_orders_act() -> None:
    world = World(site(), 1, start_s=START_S)
    kiln = world.kilns["kiln-1"]
    assert world.command({"draught": 0.5}) is None
    assert world.command({"damp": "kiln-1"}) is None
    assert (kiln.draught, kiln.fire) == (0.5, 0.0)
    before_c = kiln.air_on_c
    world.step(3600.0)
    assert kiln.air_on_c < before_c - 10.0


def refusal(read: Callable[[Any], Order], said: object) -> str:
    """Why an order was not understood; empty if it was. Any other exception is a fault of ours."""
    try:
        order = read(said)
    except BadOrder as fault:
        return str(fault) or "x" * 999
    assert order.verb in VERBS
    return ""


@given(st.binary(max_size=2000))
def test_any_bytes_are_an_order_or_say_why_not(payload: bytes) -> None:
    assert len(refusal(read_payload, payload)) < 300


@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.text(max_size=5),
        lambda inner: (
            st.lists(inner, max_size=3)
            | st.dictionaries(
                st.sampled_from(["turn", "damp", "draught", "place", "amount", "from_m", "for_s", "x"]),
                inner,
                max_size=3,
            )
        ),
        max_leaves=8,
    )
)
def test_any_json_is_an_order_or_says_why_not(value: Any) -> None:
    assert len(refusal(read_order, value)) < 300


def test_a_long_order_is_refused_unread() -> None:
    with pytest.raises(BadOrder, match="at most 1024"):
        read_payload(b'{"turn":"' + b"x" * 1100 + b'"}')


@pytest.mark.parametrize(
    ("table", "key", "value"),
    [
        ("probe", "unit", "bar"),
        ("probe", "place", "attic"),
        ("probe", "every_s", 0),
        ("probe", "payload", "morse"),
        ("probe", "range", [5, 1]),
        ("probe", "topic", 5),
        ("place", "kind", "barn"),
        ("place", "to_m", -1),
        ("floor", "volume_m3", "big"),
    ],
)
def test_a_faulty_site_names_table_key_and_value(table: str, key: str, value: object) -> None:
    faulty = site()
    faulty[table][0][key] = value
    with pytest.raises(SiteFault, match=key) as caught:
        read_plan(faulty)
    assert table in str(caught.value)


def test_a_kiln_follows_the_programme_of_its_site() -> None:
    hot = site()
    stages = [{"from_h": 0, "target_c": 50}, {"from_h": 24, "target_c": 58}]
    hot["programme"] = {"gentle": {"stage": stages}}
    hot["place"][5]["programme"] = "gentle"
    kiln = World(hot, 1, start_s=START_S, starts={"kiln-1": {"lit_h": 23.0}}).kilns["kiln-1"]
    assert kiln.wanted_c() == 50.0
    assert kiln.air_on_c == pytest.approx(50.0, abs=0.2)
    kiln.lit_h = 24.0
    assert kiln.wanted_c() == 58.0


def test_two_probes_at_one_topic_and_pointer_are_a_fault() -> None:
    faulty = site()
    for probe in faulty["probe"][:2]:
        probe["topic"] = "same"
    with pytest.raises(SiteFault, match="pointer twice"):
        World(faulty, 1)


@pytest.mark.parametrize(
    "starts", [{"bed-a": {"age": 1}}, {"bed-a": {"age_h": -1}}, {"kiln-1": {"lit_h": "x"}}]
)
def test_a_faulty_start_names_place_and_key(starts: dict[str, Any]) -> None:
    with pytest.raises(SiteFault, match=r"bed-a|kiln-1"):
        World(site(), 1, starts=starts)


def test_a_night_takes_seconds() -> None:
    """12 h, four beds, 20 probes, in steps of a minute: less than 3 s of processor time."""
    whole = site()
    whole["probe"] += [{**whole["probe"][4], "id": f"x{k}", "at_m": 29 + k} for k in range(5)]
    world = World(whole, 1, start_s=START_S)
    began_s = time.process_time()
    sent = hours(world, 12.0)
    assert len(whole["probe"]) == 20
    assert len(sent) > 12 * 60 * 17
    assert time.process_time() - began_s < 3.0
