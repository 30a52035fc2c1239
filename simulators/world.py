"""The whole simulated maltings: a site, a seed and a start make one history, without clock or socket.

`step` lets time pass, `readings` gives what the probes sent meanwhile, `command` is somebody acting on
the floor, `truth` what was really so.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from random import Random
from typing import Any, NamedTuple

from simulators import truth
from simulators.bed import Bed
from simulators.doings import AIR_ORDERS, KILN_ORDERS, to_floors, to_kilns
from simulators.floor import Floor
from simulators.grain import Grain, Lie
from simulators.kiln import PROGRAMME, Kiln
from simulators.orders import BadOrder, Order, read_order
from simulators.plan import PlacePlan, SitePlan, read_plan
from simulators.post import Post, posts
from simulators.probe import BACK_AFTER_S, OUT_BEFORE_S, Probe
from simulators.room import Room
from simulators.senses import Senses
from simulators.start import bed_start, kiln_start
from simulators.weather import Weather

TICK_S = 10.0
"""Probes are felt and turns walk in steps of at most this."""
PHYSICS_S = 30.0
"""Heat, CO2, air and kilns step by this: bed layers change over many minutes."""
TRUTH_S = 60.0
LAYERS_S = 600.0
"""A load's layers are told every so often: they are many and slow."""
DEFAULT_VOLUME_M3 = 2000.0


class Reading(NamedTuple):
    """One message of a probe. `value` is in the probe's unit; `measured_at_s` by its own clock."""

    topic: str
    payload: bytes
    measured_at_s: float
    probe: str
    value: float


class World:
    """See the module. Times are Unix seconds; the same arguments and steps give the same history."""

    def __init__(
        self,
        site: Mapping[str, Any],
        seed: int,
        *,
        start_s: float = 1_763_935_200.0,
        starts: Mapping[str, Any] | None = None,
        turn_every_h: float | None = None,
        forget: float = 0.0,
        clock_errors_s: Mapping[str, float] | None = None,
        grain: Grain | None = None,
        lie: Lie | None = None,
    ) -> None:
        self.plan: SitePlan = read_plan(site)
        self.now_s = start_s
        self._seed, self._starts = seed, starts or {}
        self._grain, self._lie = grain or Grain(), lie or Lie()
        self._turn_every_h, self._forget = turn_every_h, forget
        self._rng = Random(f"world {seed}")
        self._lines: list[truth.Line] = []
        self._readings: list[Reading] = []
        self._owed_s = 0.0
        self._next_truth_s = (start_s // TRUTH_S + 1) * TRUTH_S
        self.weather = Weather(Random(f"weather {seed}"))
        self.weather.begin(start_s)
        self.floors = {name: self._floor(name, volume) for name, volume in self._volumes().items()}
        self.beds: dict[str, Bed] = {}
        self.kilns: dict[str, Kiln] = {}
        self._floor_of: dict[str, Floor] = {}
        for place in self.plan.places:
            self._lay_out(place)
        self.probes = {
            plan.id: Probe(plan, seed, start_s, (clock_errors_s or {}).get(plan.id))
            for plan in self.plan.probes
        }
        self.senses = Senses(self.beds, self.kilns, self._floor_of, self.weather, self.plan.places)
        for floor in self.floors.values():
            floor.settle(sum(bed.barley_t for bed in floor.beds.values()))
        for order, bed in enumerate(self.beds):
            self._settle(bed, order)
        self._posts: list[Post] = posts(self.probes.values())
        self._feel(0.0)

    def step(self, dt_s: float) -> None:
        """Let `dt_s` pass."""
        end_s = self.now_s + max(0.0, dt_s)
        while self.now_s < end_s - 1e-9:
            self._tick(min(TICK_S, end_s - self.now_s))

    def readings(self) -> list[Reading]:
        """What the probes sent since this was last asked, in the order they measured it."""
        found, self._readings = self._readings, []
        return found

    def truth(self) -> list[truth.Line]:
        """What was really so since this was last asked."""
        found, self._lines = self._lines, []
        return found

    def finish(self) -> None:
        """The end of a history: a turn still going on is noted without an end."""
        for name, bed in self.beds.items():
            if bed.turn is not None:
                self._lines.append(truth.turn(name, bed.turn) | {"ended_at": None})

    def command(self, order: Mapping[str, Any]) -> str | None:
        """Somebody acts on the floor; None if it was done, else why not."""
        try:
            read = read_order(order)
        except BadOrder as fault:
            return str(fault)
        return self.do(read)

    def do(self, order: Order) -> str | None:
        """Carry out an order; None if it was done, else why not."""
        doings: dict[str, Callable[[Order], str | None]] = {
            "turn": self._turn,
            "draught": self._draught,
            **dict.fromkeys(KILN_ORDERS, lambda given: to_kilns(given, self.kilns)),
            **dict.fromkeys(AIR_ORDERS, lambda given: to_floors(given, self.floors, self._floor_of)),
        }
        why_not = doings.get(order.verb, self._to_probe)(order)
        if why_not is None and order.verb in doings:
            self._lines.append(truth.order(self.now_s, order))
        return why_not

    def _volumes(self) -> dict[str, float]:
        """Volume of each floor, and of the air of places on none."""
        found = {name: volume or 0.0 for name, volume in self.plan.floors.items()}
        for place in self.plan.places:
            if place.kind == "room" and not found.get(place.floor):
                found[place.floor] = place.volume_m3 or 0.0
            found.setdefault(place.floor, 0.0)
        return {name: volume or DEFAULT_VOLUME_M3 for name, volume in found.items()}

    def _floor(self, name: str, volume_m3: float) -> Floor:
        room = Room(volume_m3)
        room.begin(self.weather.mean_c + 5.0, 1400.0)
        return Floor(name, room)

    def _lay_out(self, place: PlacePlan) -> None:
        floor = self._floor_of[place.id] = self.floors[place.floor]
        if place.kind == "bed":
            start = bed_start(self._starts, place.id, len(self.beds))
            lie = replace(self._lie, depth_m=start.depth_cm / 100.0)
            rng = Random(f"bed {self._seed} {place.id}")
            bed = Bed(place.from_m, place.to_m, start.barley_t, self._grain, lie, rng)
            self.beds[place.id] = floor.beds[place.id] = bed
        elif place.kind == "kiln":
            begun = kiln_start(self._starts, place.id)
            kiln = Kiln(begun.barley_t, programme=place.air_on or PROGRAMME)
            kiln.begin(begun.lit_h, self.weather.temperature_c, self.weather.rh)
            self.kilns[place.id] = kiln

    def _settle(self, name: str, order: int) -> None:
        """Lay a bed so that its warmest probe, or its warmest grain, stands where the start says."""
        bed, around = self.beds[name], self._floor_of[name].surroundings()
        start = bed_start(self._starts, name, order)
        bed.lay(start.age_h, start.temperature_c, start.since_turn_h, around)
        felt = [
            self.senses.true_of(probe.plan)
            for probe in self.probes.values()
            if probe.plan.place == name
            and probe.plan.quantity == "temperature"
            and self.senses.in_grain(probe.plan)
        ]
        bed.shift(start.temperature_c - max(felt or bed.temperatures()))

    def _tick(self, dt_s: float) -> None:
        since_s, self.now_s = self.now_s, self.now_s + dt_s
        self._walk(since_s)
        self._owed_s += dt_s
        if self._owed_s >= PHYSICS_S - 1e-9:
            self._physics(self._owed_s)
            self._owed_s = 0.0
        self._feel(dt_s)
        self._send()
        if self.now_s >= self._next_truth_s:
            self._next_truth_s += TRUTH_S * (1 + (self.now_s - self._next_truth_s) // TRUTH_S)
            self._lines += truth.minute(self.now_s, self.beds, self.floors, self.kilns)
            if self.now_s % LAYERS_S < TRUTH_S:
                self._lines += truth.layers(self.now_s, self.kilns)
            self._lines += truth.probes(self.now_s, self.probes.values(), self.senses)

    def _physics(self, dt_s: float) -> None:
        self.weather.step(dt_s, self.now_s)
        fumes_m3 = dt_s * sum(kiln.fumes_m3_s() for kiln in self.kilns.values())
        growing = next((floor for floor in self.floors.values() if floor.beds), None)
        for floor in self.floors.values():
            floor.step(dt_s, self.weather, fumes_m3 if floor is growing else 0.0)
        for name, kiln in self.kilns.items():
            broke = kiln.broke
            kiln.step(dt_s, self.weather.temperature_c, self.weather.rh)
            if kiln.broke != broke:
                self._lines.append(truth.kiln_break(self.now_s, name, kiln))

    def _walk(self, since_s: float) -> None:
        for name, bed in self.beds.items():
            if bed.turn is None and self._is_due(bed):
                self._begin_turn(name, bed, bed.from_m, bed.to_m)
        walking = {name: bed.turn for name, bed in self.beds.items() if bed.turn is not None}
        for floor in self.floors.values():
            floor.walk(since_s, self.now_s)
        for name, turn in walking.items():
            if self.beds[name].turn is None:
                self._lines.append(truth.turn(name, turn))

    def _is_due(self, bed: Bed) -> bool:
        longest_h = max(column.since_turn_h for column in bed.columns)
        return self._turn_every_h is not None and longest_h >= self._turn_every_h

    def _feel(self, dt_s: float) -> None:
        for probe in self.probes.values():
            self._take_out_or_put_back(probe)
            true, medium = self.senses.felt_by(probe.plan, probe.on_hook)
            probe.feel(dt_s, true, medium)

    def _take_out_or_put_back(self, probe: Probe) -> None:
        if probe.back_s is None:
            return
        out_s = probe.back_s - BACK_AFTER_S - OUT_BEFORE_S
        if not probe.on_hook and out_s <= self.now_s < probe.back_s:
            probe.on_hook = True
        elif self.now_s >= probe.back_s:
            probe.on_hook, probe.back_s = probe.left_on_hook, None
            if probe.left_on_hook:
                self._fault("left_on_hook", probe, None)

    def _send(self) -> None:
        found: list[Reading] = []
        for post in self._posts:
            for sent in post.due(self.now_s):
                found.append(Reading(post.topic, *sent))
        self._readings += sorted(found, key=lambda reading: reading.measured_at_s)

    def _begin_turn(self, name: str, bed: Bed, from_m: float, to_m: float) -> None:
        turn = bed.begin_turn(from_m, to_m, self.now_s)
        for probe in self.probes.values():
            passes_s = turn.passes_s(self.senses.at_m(probe.plan)) if probe.plan.place == name else None
            if passes_s is not None:
                probe.back_s = passes_s + BACK_AFTER_S
                probe.left_on_hook = probe.left_on_hook or self._rng.random() < self._forget

    def _turn(self, order: Order) -> str | None:
        name = order.target or ""
        bed = self.beds.get(name)
        if bed is None:
            return f"turn: {name!r} is no bed: expected one of {', '.join(self.beds) or 'none'}"
        if bed.turn is not None:
            return f"turn: {name} is being turned already"
        from_m = bed.from_m if order.from_m is None else order.from_m
        to_m = bed.to_m if order.to_m is None else order.to_m
        if from_m == to_m or not all(bed.from_m <= end <= bed.to_m for end in (from_m, to_m)):
            return f"turn: {name} lies from {bed.from_m:g} to {bed.to_m:g} m: expected a stretch of that"
        self._begin_turn(name, bed, from_m, to_m)
        return None

    def _draught(self, order: Order) -> str | None:
        target = order.target
        floor = self.floors.get(target or "-") or self._floor_of.get(target or "-")
        if target is None or target in self.kilns:
            return to_kilns(order, self.kilns)
        if floor is None:
            return f"draught: {target!r} is neither a kiln nor on a floor"
        floor.room.shutters = order.amount
        return None

    def _to_probe(self, order: Order) -> str | None:
        probe = self.probes.get(order.target or "")
        if probe is None:
            return f"{order.verb}: {order.target!r} is no probe"
        until_s = self.now_s + order.for_s
        if order.verb in ("hook", "back"):
            probe.on_hook = probe.left_on_hook = order.verb == "hook"
            self._fault("left_on_hook" if probe.on_hook else "put_back", probe, None)
        elif order.verb == "stuck":
            probe.hold_stuck(until_s)
            self._fault("stuck", probe, until_s)
        else:
            probe.hold_silent(until_s)
            self._fault("silence", probe, until_s)
        return None

    def _fault(self, kind: str, probe: Probe, until_s: float | None) -> None:
        self._lines.append(truth.fault(self.now_s, kind, probe.plan.id, probe.plan.topic, until_s))
