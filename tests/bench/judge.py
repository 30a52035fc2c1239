"""What one reading costs the whole judge, and how large a bed's state is.

    python -m tests.bench judge [--beds 6] [--hours 30] [--every-s 30]

Each bed has four thermometers and a CO2 probe in its grain, a piece on it, a room over it with a thermometer
and a hygrometer, and is turned each seven hours. The first 26 hours fill every memory and are not timed. The
bare loop adds the same values up; the ratio says what the judging costs beside that.
"""

import argparse
import json
import statistics
import time
from collections.abc import Iterator
from random import Random
from typing import Any

from gateway.core import codec, engine
from gateway.core.inputs import Cast, Entry, Input, SiteChanged, Started, Turned
from gateway.core.reading import OWN_TIME, Reading
from gateway.core.site import Day, Floor, Person, Phone, Place, Probe, Programme, Shift, Site

HOUR_MS, MINUTE_MS = 3_600_000, 60_000
#: 2026-03-02 20:00 UTC.
START_MS = 1_772_481_600_000
FILLS_H, TURN_EACH_H = 26, 7
#: Readings judged in one step and timed together: as many as a busy daemon takes at once.
TOGETHER = 50
HEIGHTS_CM = (3.0, 6.0, 9.0, 12.0)
_ROOM = ("room", "lower", "r-t", "r-h")


def options(parser: argparse.ArgumentParser) -> None:
    """How many beds, for how long, how often a probe speaks."""
    parser.add_argument("--beds", type=int, default=6)
    parser.add_argument("--hours", type=float, default=30.0)
    parser.add_argument("--every-s", type=float, default=30.0)


def site(beds: int, every_s: float) -> Site:
    """The beds on one floor, and the room over them."""
    days = tuple(Day(float(d), 15.0, 18.0, 22.0, 25.0, 8.0, 8.0, 12.0) for d in range(6))
    places = [
        Place(f"bed-{i}", "bed", f"Bed {i}", "lower", 10.0 * i, 10.0 * i + 10.0, programme="floor")
        for i in range(beds)
    ]
    probes = [
        Probe(f"b{i}-{name}", f"bed-{i}", "temperature", "Cel", f"qh/b{i}/{name}", every_s,
              silent_after_s=1800.0, height_cm=HEIGHTS_CM[name], at_m=10.0 * i + 2.5 * (name + 0.5))
        for i in range(beds) for name in range(4)
    ]  # fmt: skip
    probes += [
        Probe(f"b{i}-co2", f"bed-{i}", "co2", "ppm", f"qh/b{i}/co2", every_s, silent_after_s=1800.0)
        for i in range(beds)
    ]
    probes.append(Probe("r-t", "room", "temperature", "Cel", "qh/room/t", every_s, silent_after_s=1800.0))
    probes.append(Probe("r-h", "room", "humidity", "%RH", "qh/room/h", every_s, silent_after_s=1800.0))
    return Site(
        "bench", "Quern Hill Maltings", "UTC",
        floors=(Floor("lower", 10.0 * beds),),
        places=(*places, Place("room", "room", "Lower room", "lower")),
        probes=tuple(probes),
        people=(Person("ada", "Ada", "maltster"),),
        phones=(Phone("ada-1", "ada", "webhook"),),
        shifts=(Shift(("ada",), tuple(range(7)), 0, 1440),),
        programmes=(Programme("floor", days=days),),
    )  # fmt: skip


def inputs(here: Site, hours: float, every_s: float) -> Iterator[tuple[int, Input]]:
    """All that happens, in order: casts, turns, and every probe in turn."""
    rng, step_ms = Random("judge"), round(every_s * 1000)
    beds = [place.id for place in here.places if place.kind == "bed"]
    yield START_MS, Started("bench")
    yield START_MS, SiteChanged(here)
    for bed in beds:
        yield START_MS, Cast(bed, bed[4:], when_ms=START_MS - 40 * HOUR_MS)
    turned_h = dict.fromkeys(beds, 0.0)
    for at_ms in range(START_MS, START_MS + round(hours * HOUR_MS), step_ms):
        gone_h = (at_ms - START_MS) / HOUR_MS
        for i, bed in enumerate(beds):
            if gone_h - turned_h[bed] >= TURN_EACH_H + i / 10:
                turned_h[bed] = gone_h
                yield at_ms, Turned(bed, by="ada")
        for probe in here.probes:
            since_h = gone_h - turned_h.get(probe.place, 0.0)
            yield at_ms, Reading(probe.id, at_ms, _value(probe, since_h, rng), OWN_TIME)


def _value(probe: Probe, since_h: float, rng: Random) -> float:
    if probe.place == "room":
        return round((12.0 if probe.quantity == "temperature" else 80.0) + rng.gauss(0.0, 0.05), 2)
    if probe.quantity == "co2":
        return round(8000.0 + 20_000.0 * min(1.0, since_h) + rng.gauss(0.0, 150.0))
    return round(14.0 + 0.5 * since_h + 0.05 * (probe.height_cm or 0.0) + rng.gauss(0.0, 0.05), 2)


def bytes_by_part(state: engine.State) -> dict[str, int]:
    """The stored form of the state by its parts, bytes of JSON as the store keeps it, without the room's."""
    whole = _without_room(codec.plain(state))
    return {name: len(json.dumps(part, separators=(",", ":"))) for name, part in whole.items()}


def _without_room(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _without_room(item) for key, item in value.items() if key not in _ROOM}
    return value


def run(chosen: argparse.Namespace) -> dict[str, Any]:
    """Judge it all; median and 99th percentile of microseconds a reading, and bytes a bed."""
    here = site(chosen.beds, chosen.every_s)
    state, judged, bare, waiting, total = engine.new(), [], [], [], 0.0
    readings = 0
    for n, (at_ms, what) in enumerate(inputs(here, chosen.hours, chosen.every_s), 1):
        waiting.append(Entry(n, at_ms, at_ms, what))
        if len(waiting) < TOGETHER:
            continue
        began = time.perf_counter()
        engine.advance(state, waiting, at_ms)
        middle = time.perf_counter()
        for entry in waiting:
            if isinstance(entry.what, Reading):
                total += entry.what.value
        ended = time.perf_counter()
        if at_ms - START_MS >= FILLS_H * HOUR_MS:
            judged.append((middle - began) / len(waiting) * 1e6)
            bare.append((ended - middle) / len(waiting) * 1e6)
            readings += len(waiting)
        waiting.clear()
    parts = bytes_by_part(state)
    without = bytes_by_part(engine.new())
    of_beds = {name: (parts[name] - without.get(name, 0)) // chosen.beds for name in parts if name != "site"}
    return {
        "beds": chosen.beds,
        "readings": readings,
        "judge_us": round(statistics.median(judged), 2),
        "judge_mean_us": round(statistics.fmean(judged), 2),
        "judge_p99_us": round(sorted(judged)[int(0.99 * len(judged))], 2),
        "bare_us": round(statistics.median(bare), 3),
        "ratio": round(statistics.median(judged) / statistics.median(bare), 1),
        "bytes_a_bed": sum(of_beds.values()),
        "bytes_a_bed_by_part": dict(sorted(of_beds.items(), key=lambda one: -one[1])[:6]),
    }
