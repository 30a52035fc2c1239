"""Scenes out of the simulated maltings, its physics, probes and people drawn anew for each seed."""

import json
from collections.abc import Mapping
from datetime import datetime
from random import Random
from typing import Any

from gateway.core.estimate.turn_seen.detect import Bed, Wire
from simulators.grain import Grain, Lie
from simulators.mishaps import Mishaps, Timed, spoil
from simulators.orders import Order
from simulators.world import World
from tests.estimate.turn_scene import Arrival, Scene, TrueTurn, watched

START_S = 1_764_007_200.0
EVERY_MISHAP = Mishaps(
    drop=0.02, double=0.02, delay=0.05, delay_s=300.0, reorder=0.02, stuck=0.0001, stuck_s=7200.0,
    silence=0.0003, silence_s=2700.0, garbage=0.005,
)  # fmt: skip
BEDS = ("bed-a", "bed-b", "bed-c", "bed-d")


def world_scene(seed: int, hours: float = 10.0, mishaps: Mishaps = EVERY_MISHAP) -> Scene:
    """Four beds for some hours, each turned every 3 to 6 h, with people who pull probes and open shutters."""
    rng = Random(f"turns {seed}")
    depth_cm = rng.uniform(9.0, 25.0)
    site = _site(rng, depth_cm)
    left_in = {p["id"] for p in site["probe"] if rng.random() < rng.choice((0.0, 0.0, 0.3, 1.0))}
    errors = {p["id"]: rng.choice((0.0, 0.0, 0.0, rng.uniform(-180.0, 180.0))) for p in site["probe"]}
    world = World(
        site, seed, start_s=START_S, starts=_starts(rng, depth_cm), forget=rng.choice((0.0, 0.02, 0.05)),
        clock_errors_s=errors, grain=_grain(rng), lie=_lie(rng),
    )  # fmt: skip
    troubles = _live(world, rng, hours, left_in)
    sent = [Timed(r.measured_at_s, r.topic, r.payload) for r in world.readings()]
    # The link takes messages in the order they are sent; a probe's own clock may be off.
    sent = [Timed(_sent_s(one, errors), one.topic, one.payload) for one in sent]
    arrived, _ = spoil(sorted(sent), mishaps, seed)
    place = {p["id"]: p["place"] for p in site["probe"]}
    arrivals = [a for one in arrived if (a := _arrival(one, place)) is not None]
    beds = _beds(site)
    truth = world.truth()
    in_place: dict[str, list[tuple[int, bool]]] = {}
    for line in truth:
        if line["kind"] == "temperature":
            in_place.setdefault(str(line["probe"]), []).append((_ms(str(line["at"])), bool(line["in_place"])))

    def out(probe: str, at_ms: int) -> bool:
        return not next((there for when, there in in_place[probe] if when >= at_ms), True)

    turns = []
    for line in truth:
        if line["kind"] == "turn":
            bed = next(one for one in beds if one.id == line["bed"])
            span = _ms(str(line["began_at"])), _ms(str(line["ended_at"]))
            turns.append(TrueTurn(bed.id, *span, _full(world, line), watched(bed, arrivals, out, *span)))
    return Scene(f"world {seed}", beds, arrivals, turns, troubles)


def _site(rng: Random, depth_cm: float) -> dict[str, Any]:
    probes, places = [], []
    for i, bed in enumerate(BEDS):
        length = rng.uniform(6.0, 20.0)
        from_m = 22.0 * i
        places.append({"id": bed, "kind": "bed", "floor": "f", "from_m": from_m, "to_m": from_m + length})
        probes += _probes(rng, bed, from_m, length, depth_cm)
    places.append({"id": "room", "kind": "room", "floor": "f"})
    if rng.random() < 0.75:
        probes.append(
            {"id": "air", "place": "room", "quantity": "temperature", "every_s": 60, "payload": "json"}
        )
    volume = rng.choice((1500.0, 2200.0, 4000.0))
    return {
        "broker": {"root": "q"},
        "floor": [{"id": "f", "volume_m3": volume}],
        "place": places,
        "probe": probes,
    }


def _probes(rng: Random, bed: str, from_m: float, length: float, depth_cm: float) -> list[dict[str, Any]]:
    """Two to six thermometers at two or more heights, in one to three places; CO2 in two beds of five."""
    every = rng.choice((10, 20, 30, 60, 60, 60))
    stacked = rng.random() < 0.5
    spots = rng.choice(((0.5,), (0.25, 0.75), (0.2, 0.5, 0.8), (0.3, 0.6)))
    heights = sorted(
        {round(depth_cm * share, 1) for share in rng.sample((0.15, 0.3, 0.45, 0.6, 0.8), 2 if stacked else 3)}
    )
    found = []
    if stacked or len(spots) == 1:
        hung = [(spot, height) for spot in spots for height in heights]
    else:
        hung = [(spot, heights[k % len(heights)]) for k, spot in enumerate(spots)]
    for k, (spot, height) in enumerate(hung):
        found.append(
            {"id": f"{bed}-{k}", "place": bed, "quantity": "temperature", "every_s": every,
             "height_cm": height, "at_m": round(from_m + spot * length, 2), "payload": "json"}
        )  # fmt: skip
    if rng.random() < 0.4:
        found.append(
            {"id": f"{bed}-gas", "place": bed, "quantity": "co2", "unit": "ppm", "every_s": every,
             "height_cm": round(depth_cm * 0.4, 1), "at_m": round(from_m + 0.5 * length, 2),
             "payload": "json"}
        )  # fmt: skip
    return found


def _starts(rng: Random, depth_cm: float) -> dict[str, Any]:
    return {
        bed: {
            "age_h": rng.uniform(16.0, 150.0),
            "temperature_c": rng.uniform(14.5, 22.0),
            "since_turn_h": rng.uniform(0.5, 8.0),
            "depth_cm": round(depth_cm, 1),
        }
        for bed in BEDS
    }


def _grain(rng: Random) -> Grain:
    return Grain(q10=rng.uniform(1.7, 2.6))


def _lie(rng: Random) -> Lie:
    return Lie(
        conductivity_w_mk=rng.uniform(0.12, 0.4),
        top_w_m2_k=rng.uniform(5.0, 18.0),
        base_w_m2_k=rng.uniform(2.0, 10.0),
        open_per_h=rng.uniform(120.0, 400.0),
        matted_per_h=rng.uniform(8.0, 40.0),
        turn_cools_share=rng.uniform(0.2, 0.7),
        turn_keeps_co2=rng.uniform(0.05, 0.3),
        turn_s=rng.uniform(600.0, 3600.0),
        unevenness=rng.uniform(0.0, 0.08),
        columns=rng.choice((3, 5, 8)),
    )


def _live(world: World, rng: Random, hours: float, left_in: set[str]) -> list[tuple[str, str, int, int]]:
    """Let the hours pass: people turn, pull a probe and put it back, open the shutters and shut them."""
    due = {bed: world.now_s + 3600.0 * rng.uniform(1.2, 4.0) for bed in BEDS}
    free = dict.fromkeys(BEDS, world.now_s)
    later: list[tuple[float, Order]] = []
    troubles: list[tuple[str, str, int, int]] = []
    end_s = world.now_s + hours * 3600.0
    while world.now_s < end_s:
        world.step(10.0)
        for probe in world.probes.values():
            if probe.plan.id in left_in:
                probe.back_s = None
        for bed, at_s in due.items():
            if world.now_s >= at_s and world.now_s < end_s - 4500.0 - world._lie.turn_s:
                lies = world.beds[bed]
                from_m, to_m = lies.from_m, lies.to_m
                if rng.random() < 0.1:
                    # As far as a column of the bed reaches: one that it ends in is turned whole.
                    columns = world._lie.columns
                    to_m = from_m + (columns + 1) // 2 * (to_m - from_m) / columns
                elif rng.random() < 0.5:
                    from_m, to_m = to_m, from_m
                _do(world, Order("turn", bed, from_m=from_m, to_m=to_m))
                due[bed] = world.now_s + world._lie.turn_s + 3600.0 * rng.uniform(3.0, 6.0)
                free[bed] = world.now_s + world._lie.turn_s + 4200.0
        for when_s, order in [one for one in later if world.now_s >= one[0]]:
            _do(world, order)
            later.remove((when_s, order))
        if rng.random() < 10.0 / 3600.0 / 2.0:
            _trouble(world, rng, due, free, later, troubles)
    return troubles


def _trouble(
    world: World,
    rng: Random,
    due: Mapping[str, float],
    free: Mapping[str, float],
    later: list[tuple[float, Order]],
    troubles: list[tuple[str, str, int, int]],
) -> None:
    now_s, now_ms = world.now_s, int(world.now_s * 1000)
    if rng.random() < 0.4:
        for_s = rng.uniform(600.0, 3600.0)
        _do(world, Order("draught", "f", rng.uniform(1.5, 3.0)))
        later.append((now_s + for_s, Order("draught", "f", 1.0)))
        troubles.append(("shutters", "", now_ms, now_ms + int(for_s * 1000)))
        return
    bed = rng.choice(BEDS)
    if now_s < free[bed] or due[bed] - now_s < 4200.0:
        return
    ids = [name for name, probe in world.probes.items() if probe.plan.place == bed]
    name = rng.choice(ids)
    for_s = rng.uniform(240.0, 2400.0)
    kind = rng.choice(("hook", "stuck"))
    _do(world, Order(kind, name, for_s=for_s))
    if kind == "hook":
        later.append((now_s + for_s, Order("back", name)))
    troubles.append((f"one probe {kind}", bed, now_ms, now_ms + int(for_s * 1000)))


def _do(world: World, order: Order) -> None:
    why_not = world.do(order)
    assert why_not is None, why_not


def _sent_s(one: Timed, errors: Mapping[str, float]) -> float:
    return one.at_s - errors.get(one.topic.rsplit("/", 1)[-1], 0.0)


def _arrival(one: Timed, place: Mapping[str, str]) -> Arrival | None:
    try:
        said = json.loads(one.payload)
        value, t = said["v"], said["t"]
    except (ValueError, KeyError, TypeError):
        return None
    if not isinstance(value, int | float) or not isinstance(t, int | float | str):
        return None
    measured_ms = _ms(t) if isinstance(t, str) else int(t * 1000 if t < 1e11 else t)
    probe = one.topic.rsplit("/", 1)[-1]
    bed = place[probe]
    return Arrival(int(one.at_s * 1000), "" if bed == "room" else bed, probe, measured_ms, float(value))


def _ms(text: str) -> int:
    return int(datetime.fromisoformat(text).timestamp() * 1000)


def _full(world: World, line: Mapping[str, Any]) -> bool:
    bed = world.beds[line["bed"]]
    return abs(line["to_m"] - line["from_m"]) >= 0.99 * (bed.to_m - bed.from_m)


def _beds(site: Mapping[str, Any]) -> list[Bed]:
    air = tuple(Wire(p["id"], "temperature", p["every_s"]) for p in site["probe"] if p["place"] == "room")
    return [
        Bed(
            place["id"], place["from_m"], place["to_m"],
            tuple(
                Wire(p["id"], p["quantity"], p["every_s"], p["height_cm"], p["at_m"])
                for p in site["probe"] if p["place"] == place["id"]
            ),
            air,
        )
        for place in site["place"] if place["kind"] == "bed"
    ]  # fmt: skip
