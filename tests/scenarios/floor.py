"""Nights on the simulated floor as plain lists: what each probe sent, what people did, what was true."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from gateway.core.inputs import Cast, Event, KilnWorked, Turned
from simulators.mishaps import Link, Mishaps, Timed
from simulators.run import read_site
from simulators.world import World

CONFIG = Path(__file__).resolve().parents[2] / "config" / "quern-hill.toml"
SECOND, MINUTE, HOUR = 1000, 60_000, 3_600_000
STEP_S = 10.0
#: The example's phones, by person; all on one loopback port nobody listens on.
PEOPLE = ("ada", "ben", "cleo", "dan")


def ms(text: str) -> int:
    """Unix ms of an RFC 3339 time."""
    return round(datetime.fromisoformat(text).timestamp() * 1000)


def site(**probes: Mapping[str, Any]) -> dict[str, Any]:
    """The example site as its tables; keys of a probe (`_` for `-`) changed."""
    tables = read_site(CONFIG)
    for probe in tables["probe"]:
        probe.update(probes.get(probe["id"].replace("-", "_"), {}))
    return tables


@dataclass
class Night:
    """`messages` in the order the probes sent them; `done` by whom and when, as the journal will hold it."""

    start_ms: int
    hours: float
    messages: list[Timed] = field(default_factory=list)
    done: list[tuple[int, Event]] = field(default_factory=list)
    truth: list[dict[str, Any]] = field(default_factory=list)

    def true_c(self, probe: str) -> list[tuple[int, float]]:
        """What was true at a thermometer's place, each minute: (Unix ms, C)."""
        return [
            (ms(str(line["at"])), float(line["value_c"]))
            for line in self.truth
            if line["kind"] == "temperature" and line["probe"] == probe
        ]


def before(start_ms: int) -> list[Event]:
    """What was recorded before the night began: the built-in start of the simulators, as people saw it."""
    beds = {"bed-a": (20.0, 3.0, "15"), "bed-b": (60.0, 2.0, "13"), "bed-c": (84.0, 11.0, "14"),
            "bed-d": (120.0, 3.0, "11")}  # fmt: skip
    found: list[Event] = []
    for bed, (age_h, turned_h, piece) in beds.items():
        found.append(Cast(bed, piece, when_ms=start_ms - round(age_h * HOUR)))
        found.append(Turned(bed, by="ada", when_ms=start_ms - round(turned_h * HOUR)))
    found.append(KilnWorked("lit", "kiln", when_ms=start_ms - 6 * HOUR))
    return found


def live(
    start: str, hours: float, *, seed: int = 1, turns: Sequence[tuple[float, str]] = (),
    orders: Sequence[tuple[float, Mapping[str, Any]]] = (), tables: Mapping[str, Any] | None = None,
    **world: Any,
) -> Night:  # fmt: skip
    """Live a night: `turns` are (hours from the start, bed), done on the floor and recorded when begun."""
    night = Night(ms(start), hours)
    floor = World(tables or site(), seed, start_s=night.start_ms / 1000, **world)
    plan = sorted([*[(at, {"turn": bed}) for at, bed in turns], *orders], key=lambda one: one[0])
    night.done = [(night.start_ms + round(at * HOUR), Turned(bed, by="cleo")) for at, bed in sorted(turns)]
    for step in range(1, round(hours * 3600 / STEP_S) + 1):
        while plan and plan[0][0] * 3600 <= (step - 1) * STEP_S:
            refused = floor.command(plan.pop(0)[1])
            assert refused is None, refused
        floor.step(STEP_S)
        night.messages += [Timed(floor.now_s, one.topic, one.payload) for one in floor.readings()]
        night.truth += floor.truth()
    return night


def spoilt(night: Night, mishaps: Mishaps, seed: int) -> tuple[list[Timed], dict[str, int]]:
    """The night's messages through a bad link, and how often each mishap happened."""
    link = Link(mishaps, seed)
    for message in night.messages:
        link.send(message)
    happened: dict[str, int] = {}
    for fault in link.faults:
        happened[fault.kind] = happened.get(fault.kind, 0) + 1
    return link.drain(), happened


def sent_by(messages: Sequence[Timed], topic: str) -> list[tuple[int, float]]:
    """What one topic's JSON messages say: (measured at in Unix ms, value), by time."""
    found = [json.loads(one.payload) for one in messages if one.topic == topic]
    return sorted((round(one["t"] * 1000), float(one["v"])) for one in found)


def held_from(readings: Sequence[tuple[int, float]], limit: float, hold_ms: int) -> int | None:
    """The measured time at which a run at or over the limit, of two readings or more, spans the hold."""
    began: int | None = None
    for at_ms, value in readings:
        if value < limit:
            began = None
        elif began is None:
            began = at_ms
        elif at_ms - began >= hold_ms:
            return at_ms
    return None
