"""A kiln's load laid before the engine, minute by minute: the simulator's layers, the shipped figures.

The load is `simulators.load` (other equations and another step than the judge reckons with): it breathes, so
it warms by itself when the draught is lost. Probes are biased and noisy, and hang as in the example site. The
weather has days. What people record is told; what happens to the fire by itself is not.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any

from gateway.core import engine
from gateway.core.effects import AlarmChange, Effect, Notice
from gateway.core.inputs import Cast, Entry, Event, Input, KilnWorked, Loaded, SiteChanged, Started
from gateway.core.reading import OWN_TIME, Reading
from gateway.core.site import Floor, Person, Phone, Place, Probe, Shift, Site
from gateway.settings.kiln import shipped as figures
from gateway.settings.programmes import shipped as programmes
from simulators.air import humidity_ratio, relative_humidity
from simulators.load import Load, Malt, fresh_air_kg_s

MINUTE, HOUR = 60_000, 3_600_000
#: 2026-01-12 06:00 UTC, a Monday.
START = 1_768_197_600_000
BARLEY_T = 8.0
#: Air-off truly under this share of saturation for good is the break: of the air, not of a temperature.
BROKEN_RH = 0.85
#: (hours since lit, air-on C) of the stoker's: 45 to 60 C over two days, common practice, no source.
AS_IT_SHOULD = ((0.0, 45.0), (27.0, 45.0), (34.0, 52.0), (42.0, 60.0), (80.0, 60.0))


def _probe(name: str, place: str, quantity: str, unit: str, height_cm: float | None = None) -> Probe:
    return Probe(
        name, place, quantity, unit, f"qh/{place}/{name}", 60.0, height_cm=height_cm, silent_after_s=900.0
    )


def site(second_h: float | None = None, first_c: float | None = None) -> Site:
    """One bed, one kiln with its probes as they hang in the example site, the weather, two people.

    `second_h`: the kiln's second stage from this hour on instead of the shipped programme's. `first_c`: a
    hotter programme, as a file of its own chosen by name would be: its stages as far over the shipped ones
    as its first target.
    """
    known = dict(programmes())
    if second_h is not None:
        first, second, *rest = known["kiln"].stages
        stages = (first, replace(second, from_h=second_h), *rest)
        known["kiln"] = replace(known["kiln"], stages=stages)
    shift = Shift(("ada",), tuple(range(7)), 0, 1440)
    if first_c is not None:
        more_k = max(0.0, first_c - known["kiln"].stages[0].target_c) + 1.0
        stages = tuple(
            replace(one, target_c=one.target_c + more_k, limit_c=one.limit_c + more_k)
            for one in known["kiln"].stages
        )
        known["kiln"] = replace(known["kiln"], stages=stages, cap_c=known["kiln"].cap_c + more_k)
    return Site(
        "quern-hill", "Quern Hill Maltings", "UTC",
        floors=(Floor("lower", 20.0),),
        places=(
            Place("bed-a", "bed", "Bed A", "lower", 0.0, 10.0, programme="floor"),
            Place("kiln", "kiln", "Kiln", programme="kiln"),
            Place("yard", "outdoors", "Yard"),
        ),
        probes=(
            _probe("on", "kiln", "temperature", "Cel", -50.0),
            _probe("grain", "kiln", "temperature", "Cel", 25.0),
            _probe("off", "kiln", "temperature", "Cel", 150.0),
            _probe("damp", "kiln", "humidity", "%RH", 150.0),
            _probe("out", "yard", "temperature", "Cel"),
            _probe("out-damp", "yard", "humidity", "%RH"),
        ),
        people=(Person("ada", "Ada", "shift"), Person("cleo", "Cleo", "maltster")),
        phones=(Phone("ada-1", "ada", "webhook"), Phone("cleo-1", "cleo", "webhook")),
        shifts=(shift,),
        programmes=tuple(known.values()),
        kiln=figures(),
    )  # fmt: skip


@dataclass
class World:
    """The kiln as it truly is. `fire`: 1 as wanted, 0 out; `hotter_k` on top; `draught`: 1 as usual."""

    seed: int = 1
    programme: tuple[tuple[float, float], ...] = AS_IT_SHOULD
    bias_k: float = 0.3
    outdoor_c: float = 7.0
    outdoor_rh: float = 0.8
    air_m3_h_t: float = 2000.0
    moisture_wb: float = 0.44
    malt: Malt = field(default_factory=Malt)
    fire: float = 1.0
    hotter_k: float = 0.0
    draught: float = 1.0
    lit: bool = False
    minute: int = 0
    lit_minute: int = 0

    def __post_init__(self) -> None:
        self.chance = random.Random(self.seed)
        self.load = Load(BARLEY_T, 0.3, self.moisture_wb, 16.0, 12, self.malt)
        self.on_c = self.now_c = self.outdoor_c
        self.now_rh, self.wander_k = self.outdoor_rh, 0.0
        self.bias = {name: self.chance.gauss(0.0, self.bias_k) for name in ("on", "grain", "off")}

    def step(self) -> None:
        """A minute passes."""
        sun = math.sin(2.0 * math.pi * (self.minute / 60.0 - 3.0) / 24.0)
        self.now_c = self.outdoor_c + 3.5 * sun
        self.now_rh = min(0.98, max(0.3, self.outdoor_rh - 0.12 * sun))
        self.wander_k += 0.02 * (self.chance.gauss(0.0, 2.0) - self.wander_k)
        wanted_c = self.now_c
        if self.lit:
            by_plan = _wanted(self.programme, (self.minute - self.lit_minute) / 60.0)
            wanted_c += (by_plan + self.hotter_k + self.wander_k - self.now_c) * self.fire
        self.on_c += (wanted_c - self.on_c) / 20.0
        ratio = humidity_ratio(self.now_c, self.now_rh)
        air_kg_s = fresh_air_kg_s(self.air_m3_h_t * BARLEY_T) * self.draught
        self.load.step(60.0, air_kg_s, self.on_c, ratio, self.now_c)
        self.minute += 1

    def true_rh(self) -> float:
        """Air-off as it truly is, 0 to 1."""
        return relative_humidity(self.load.off_c, self.load.off_ratio)

    def readings(self) -> Iterator[tuple[str, float]]:
        """What the probes say, air-off's humidity stuck in its own water near the top of its range."""
        values = {"on": self.on_c, "grain": self.load.warm_at(0.25), "off": self.load.off_c}
        for name, value in values.items():
            yield name, value + self.bias[name] + self.chance.gauss(0.0, 0.1)
        yield "damp", min(99.5, 100.0 * self.true_rh() + self.chance.gauss(1.0, 0.5))
        yield "out", self.now_c + self.chance.gauss(0.0, 0.1)
        yield "out-damp", min(100.0, 100.0 * self.now_rh + self.chance.gauss(0.0, 1.0))


def _wanted(programme: tuple[tuple[float, float], ...], hour: float) -> float:
    for (h0, c0), (h1, c1) in pairwise(programme):
        if hour < h1:
            return c0 + (c1 - c0) * max(0.0, hour - h0) / (h1 - h0)
    return programme[-1][1]


Deed = Callable[[World], None]


@dataclass
class Kilning:
    """Plays a world before the engine. `at`: what happens at an hour, unseen; `people`: what is recorded."""

    world: World
    at: dict[float, Deed] = field(default_factory=dict)
    people: dict[float, Any] = field(default_factory=dict)
    restart_h: tuple[float, ...] = ()
    silent: frozenset[str] = frozenset()
    second_h: float | None = None
    state: engine.State = field(default_factory=engine.new)
    effects: list[Effect] = field(default_factory=list)
    damp: list[tuple[int, float, float]] = field(default_factory=list)
    n: int = 0

    def __post_init__(self) -> None:
        for what in (
            Started("kiln"),
            SiteChanged(site(self.second_h)),
            Cast("bed-a", "9"),
            Loaded("bed-a", "kiln"),
        ):
            self._lay(START, what)

    def _lay(self, at_ms: int, what: Input) -> None:
        self.n += 1
        self.effects += engine.advance(self.state, [Entry(self.n, at_ms, at_ms, what)], at_ms)

    def play(self, hours: float) -> Kilning:
        """Let so many hours pass."""
        world = self.world
        for _ in range(round(hours * 60)):
            before_h, now_h = (world.minute - 1) / 60.0, world.minute / 60.0
            at_ms = START + world.minute * MINUTE
            for hour, deed in self.at.items():
                if before_h < hour <= now_h:
                    deed(world)
            for hour, event in self.people.items():
                if before_h < hour <= now_h:
                    _do(world, event)
                    self._lay(at_ms, event)
            if any(before_h < hour <= now_h for hour in self.restart_h):
                self.state = engine.load(engine.dump(self.state))
            world.step()
            self.damp.append((at_ms, world.true_rh(), world.on_c - world.now_c))
            entries = []
            for probe, value in world.readings():
                if probe not in self.silent:
                    self.n += 1
                    entries.append(Entry(self.n, at_ms, at_ms, Reading(probe, at_ms, value, OWN_TIME)))
            self.effects += engine.advance(self.state, entries, at_ms)
        self.effects += engine.advance(self.state, [], START + world.minute * MINUTE)
        return self

    def raised(self, kind: str | None = None) -> list[AlarmChange]:
        """Alarms that began, of one kind or of all."""
        found = [one for one in self.effects if isinstance(one, AlarmChange)]
        return [one for one in found if one.change.signal == "raise" and kind in (None, one.kind)]

    def calls(self) -> list[Notice]:
        """Everything sent to a phone."""
        return [one for one in self.effects if isinstance(one, Notice)]

    def true_break_ms(self) -> int | None:
        """When air-off truly went under 85 % for good, not to come back for an hour and a half of fire."""
        found, back = None, 0
        for at_ms, rh, fire_k in self.damp:
            if fire_k < 20.0:
                continue
            back = back + 1 if rh >= BROKEN_RH else 0
            if back >= 90:
                found = None
            elif found is None and not back:
                found = at_ms
        return found


def _do(world: World, event: Event) -> None:
    """What people record they have done."""
    if not isinstance(event, KilnWorked):
        return
    if event.what in ("lit", "relit"):
        world.lit_minute = world.lit_minute or world.minute
        world.lit, world.fire = True, 1.0
    elif event.what == "damped":
        world.fire = 0.2
    elif event.what == "drawn":
        world.lit = False
    elif event.what == "turned":
        world.load.mix(0.7)
    elif event.what in ("fan-on", "fan-off"):
        world.draught = 1.0 if event.what == "fan-on" else 0.0


def hours(at_ms: int | None) -> float | None:
    """A moment in hours since the start."""
    return None if at_ms is None else round((at_ms - START) / HOUR, 2)
