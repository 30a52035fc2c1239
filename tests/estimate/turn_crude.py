"""A second, crude bed, so that nothing is fitted to one simulation: layers on random walks.

No physics: each place along the bed has a few layers whose heating wanders; a turn sets them to nearly one
temperature between their mean and the room's, in one of several manners: probes left in, taken out for
each pass, or out for the whole turn; the bed at once or walked along. Then everything that only looks like
a turn is thrown in, each by its name.
"""

import math
from dataclasses import dataclass, field
from random import Random

from gateway.core.estimate.turn_seen.detect import Bed, Wire
from tests.estimate.turn_scene import Arrival, Scene, TrueTurn, scene_of

STEP_S = 10
START_MS = 1_764_000_000_000
TROUBLES = (
    "door", "sun", "pulled", "pulled all", "noise burst", "hot burst", "sprinkled", "ploughed", "site fell",
    "jump", "stuck", "zeros", "garbage", "clock", "hot bed burst",
)  # fmt: skip


@dataclass
class _Probe:
    """Where it hangs, how it lags and errs, and what is being done to it."""

    wire: Wire
    column: int
    layer: int
    lag_s: float
    bias: float
    noise: float
    step: float
    left_in: bool
    clock_s: float
    felt: float = 0.0
    out: list[tuple[float, float]] = field(default_factory=list)
    forgot_s: float = math.inf
    stuck: tuple[float, float, float] = (math.inf, 0.0, 0.0)
    jump: tuple[float, float, float] = (math.inf, 0.0, 0.0)
    noisy: tuple[float, float] = (math.inf, 0.0)
    next_s: float = 0.0


@dataclass
class _Bed:
    """Layers by column, floor upward, and CO2 by column."""

    bed: Bed
    probes: list[_Probe]
    warm: list[list[float]]
    gas: list[float]
    heat: list[float]
    walks: list[tuple[float, int]] = field(default_factory=list)


class Crude:
    """One floor of crude beds; see the module."""

    def __init__(self, seed: int, hours: float) -> None:
        rng = self.rng = Random(f"crude {seed}")
        self.end_s = hours * 3600.0
        self.room = rng.uniform(8.0, 15.0)
        self.room_drift = 0.0
        self.keep = rng.uniform(0.35, 0.85)
        self.layered = rng.choice((0.0, 0.0, 0.15, 0.3))
        self.turn_s = rng.uniform(600.0, 3600.0)
        self.at_once = rng.random() < 0.2
        self.manner = rng.choice(("left in", "each pass", "each pass", "whole turn"))
        self.forget = rng.choice((0.0, 0.0, 0.05))
        self.has_air = rng.random() < 0.7
        self.mishaps = rng.random() < 0.8
        self.air_probe = Wire("air", "temperature", 60.0)
        self.beds = [self._bed(i) for i in range(rng.choice((1, 2, 3)))]
        self.extra: dict[str, list[tuple[float, float, float]]] = {"door": [], "sun": [], "site fell": []}
        self.arrivals: list[Arrival] = []
        self.turns: list[TrueTurn] = []
        self.troubles: list[tuple[str, str, int, int]] = []

    def _bed(self, i: int) -> _Bed:
        rng = self.rng
        from_m, length = 30.0 * i, rng.uniform(5.0, 25.0)
        columns = rng.choice((1, 1, 2, 3))
        layers = rng.choice((2, 2, 3, 4))
        every = float(rng.choice((5, 15, 30, 60, 60, 60)))
        noise, step = rng.choice(((0.02, 0.01), (0.03, 0.06), (0.05, 0.1), (0.1, 0.1)))
        probes = []
        shares = [(c + 0.5) / columns for c in range(columns)]
        air = (self.air_probe,) if self.has_air else ()
        for column, share in enumerate(shares):
            for layer in range(layers):
                if columns > 1 and layers > 2 and rng.random() < 0.3:
                    continue
                wire = Wire(
                    f"b{i}-{column}{layer}", "temperature", every, 3.0 + 4.0 * layer, from_m + share * length
                )
                probes.append(self._probe(wire, column, layer, noise, step))
        if rng.random() < 0.4:
            wire = Wire(f"b{i}-gas", "co2", every, 5.0, from_m + shares[-1] * length)
            probes.append(self._probe(wire, columns - 1, 0, 0.0, 10.0))
        bed = Bed(f"b{i}", from_m, from_m + length, tuple(p.wire for p in probes), air)
        warm = [[self.room + rng.uniform(1.5, 6.0) for _ in range(layers)] for _ in range(columns)]
        return _Bed(bed, probes, warm, [rng.uniform(3000.0, 30000.0) for _ in shares], [0.0] * layers)

    def _probe(self, wire: Wire, column: int, layer: int, noise: float, step: float) -> _Probe:
        rng = self.rng
        return _Probe(
            wire, column, layer, rng.uniform(20.0, 260.0), rng.gauss(0.0, 0.08), noise, step,
            self.manner == "left in" or rng.random() < 0.1,
            rng.choice((0.0, 0.0, 0.0, rng.uniform(-150.0, 150.0))) if self.mishaps else 0.0,
            next_s=rng.uniform(0.0, wire.every_s),
        )  # fmt: skip

    # --- what happens -------------------------------------------------------------------------------

    def plan(self, kinds: tuple[str, ...] = TROUBLES) -> None:
        """Turns every 3 to 5 h in each bed, and between them one thing that looks like a turn."""
        rng = self.rng
        for one in self.beds:
            at_s = rng.uniform(5400.0, 9000.0)
            while at_s + 3600.0 + 4800.0 < self.end_s:
                self._turn(one, at_s)
                quiet_s = at_s + self.turn_s + rng.uniform(4500.0, 6000.0)
                if rng.random() < 0.7:
                    self._trouble(one, quiet_s, rng.choice(kinds))
                at_s += self.turn_s + rng.uniform(12600.0, 18000.0)

    def _ms(self, at_s: float) -> int:
        return START_MS + int(at_s * 1000)

    def _turn(self, one: _Bed, at_s: float) -> None:
        rng = self.rng
        columns = len(one.warm)
        if not self.at_once:
            self.turn_s = rng.uniform(600.0, 3600.0)
        passes = [at_s if self.at_once else at_s + (c + 0.5) / columns * self.turn_s for c in range(columns)]
        if rng.random() < 0.5:
            passes.reverse()
        for column, pass_s in enumerate(passes):
            one.walks.append((pass_s, column))
        ended_s = at_s if self.at_once else at_s + self.turn_s
        for probe in one.probes:
            if probe.left_in:
                continue
            pass_s = passes[probe.column]
            before, after = rng.uniform(60.0, 400.0), rng.uniform(60.0, 500.0)
            out = (pass_s - before, pass_s + after)
            if self.manner == "whole turn":
                out = (at_s - before, ended_s + rng.uniform(0.0, 200.0))
            probe.out.append(out)
            if rng.random() < self.forget:
                probe.forgot_s = min(probe.forgot_s, out[0])
        self.turns.append(TrueTurn(one.bed.id, self._ms(at_s), self._ms(ended_s), full=True))

    def _trouble(self, one: _Bed, at_s: float, kind: str) -> None:
        rng = self.rng
        lasts_s = rng.uniform(300.0, 2400.0)
        thermometers = [p for p in one.probes if p.wire.quantity == "temperature"]
        some = rng.sample(
            thermometers, min(len(thermometers), 1 if kind == "jump" else rng.choice((1, 1, 2)))
        )
        if kind == "site fell" and len(self.beds) == 1 and not self.has_air:
            return  # one bed and nothing beside it: nobody could tell
        if kind in self.extra:
            self.extra[kind].append((at_s, at_s + lasts_s, rng.uniform(1.0, 5.0)))
        elif kind in ("pulled", "pulled all"):
            for probe in one.probes if kind == "pulled all" else some[:1]:
                probe.out.append((at_s + rng.uniform(0.0, 60.0), at_s + lasts_s))
        elif kind in (
            "hot burst",
            "jump",
            "zeros",
            "garbage",
            "noise burst",
            "stuck",
            "clock",
            "hot bed burst",
        ):
            _spoil(rng, kind, thermometers if kind in ("zeros", "hot bed burst") else some, at_s, lasts_s)
        else:
            one.walks.append((at_s, -1 if kind == "sprinkled" else -2))
        where = "" if kind in self.extra else one.bed.id
        self.troubles.append((kind, where, self._ms(at_s), self._ms(at_s + lasts_s)))

    # --- time passes ---------------------------------------------------------------------------------

    def run(self) -> None:
        """Let all the hours pass."""
        now_s, air_next = 0.0, 0.0
        while now_s < self.end_s:
            now_s += STEP_S
            self._step(now_s)
            if self.has_air and now_s >= air_next:
                air_next = now_s + 60.0
                value = self._room(now_s, "") + self.rng.gauss(0.0, 0.05) + self._fell(now_s)
                self._arrive("", "air", now_s, round(value, 1))
        self.arrivals.sort()

    def _step(self, now_s: float) -> None:
        rng = self.rng
        self.room_drift += rng.gauss(0.0, 0.004) - self.room_drift * 0.0005
        for one in self.beds:
            for layer in range(len(one.heat)):
                one.heat[layer] += rng.gauss(0.0, 0.02) - 0.01 * one.heat[layer]
            for column in one.warm:
                for layer, value in enumerate(column):
                    shape = 0.4 + 0.8 * math.sin(math.pi * (layer + 0.7) / (len(column) + 0.6))
                    rate = shape * 1.2 + one.heat[layer] * 0.3 - 0.12 * (value - self.room)
                    column[layer] = value + rate * STEP_S / 3600.0
            one.gas = [g + (15000.0 - g) * STEP_S / 9000.0 for g in one.gas]
            for walk in [w for w in one.walks if w[0] <= now_s]:
                one.walks.remove(walk)
                self._work(one, walk[1])
            for probe in one.probes:
                self._feel(one, probe, now_s)
                if now_s >= probe.next_s:
                    probe.next_s += probe.wire.every_s
                    self._say(one, probe, now_s)

    def _work(self, one: _Bed, column: int) -> None:
        """Turn a column; -1: sprinkle the bed; -2: plough it."""
        if column == -1:
            for layers in one.warm:
                layers[-1] -= self.rng.uniform(0.8, 2.5)
                layers[-2] -= 0.3
            return
        for i, layers in enumerate(one.warm):
            if column not in (-2, i):
                continue
            mean = sum(layers) / len(layers)
            keep, layered, gas = (self.keep, self.layered, 0.1) if column >= 0 else (0.93, 0.65, 0.6)
            new = self.room + keep * (mean - self.room)
            one.warm[i] = [new + layered * (value - mean) for value in layers]
            one.gas[i] = 1000.0 + gas * (one.gas[i] - 1000.0)

    def _room(self, now_s: float, kind: str) -> float:
        value = self.room + self.room_drift
        for from_s, to_s, size in self.extra["door"]:
            value -= _pulse(now_s, from_s, to_s, 300.0) * size
        for from_s, to_s, size in self.extra["sun"]:
            value += _pulse(now_s, from_s, to_s, 1500.0) * size
        return value

    def _fell(self, now_s: float) -> float:
        """All the probes of the site read lower together, for good."""
        return -sum(size * 0.6 for from_s, _, size in self.extra["site fell"] if now_s >= from_s)

    def _feel(self, one: _Bed, probe: _Probe, now_s: float) -> None:
        out = now_s >= probe.forgot_s or any(a <= now_s < b for a, b in probe.out)
        if probe.wire.quantity == "co2":
            true = 1100.0 if out else one.gas[probe.column]
        else:
            true = self._room(now_s, "") if out else one.warm[probe.column][probe.layer]
            if not out:
                # The top layer feels a little of the door and the sun.
                share = 0.15 if probe.layer == len(one.heat) - 1 else 0.03
                true += share * (self._room(now_s, "") - self.room - self.room_drift)
        if not probe.felt:
            probe.felt = true
        probe.felt += (true - probe.felt) * (1.0 - math.exp(-STEP_S / probe.lag_s))

    def _say(self, one: _Bed, probe: _Probe, now_s: float) -> None:
        rng = self.rng
        value = probe.felt
        if probe.wire.quantity == "co2":
            value *= 1.0 + rng.gauss(0.0, 0.01)
        else:
            value += probe.bias + self._fell(now_s) + rng.gauss(0.0, probe.noise)
        from_s, to_s, size = probe.jump
        if from_s <= now_s < to_s:
            value = (
                size if abs(size) > 100.0 or size == 0.0 else value + size * _pulse(now_s, from_s, to_s, 60.0)
            )
        if probe.noisy[0] <= now_s < probe.noisy[1]:
            value += rng.gauss(0.0, 2.0)
        if probe.stuck[0] <= now_s < probe.stuck[1]:
            value = probe.stuck[2]
        elif now_s < probe.stuck[0]:
            probe.stuck = (probe.stuck[0], probe.stuck[1], value)
        shown = round(value / probe.step) * probe.step
        self._arrive(one.bed.id, probe.wire.id, now_s, round(shown, 3), probe.clock_s)

    def _arrive(self, bed: str, probe: str, now_s: float, value: float, clock_s: float = 0.0) -> None:
        rng = self.rng
        late_s = 0.3
        if self.mishaps:
            if rng.random() < 0.03:
                return
            if rng.random() < 0.05:
                late_s = rng.uniform(0.0, 400.0)
        at_ms = self._ms(now_s + late_s)
        for _ in range(2 if self.mishaps and rng.random() < 0.02 else 1):
            self.arrivals.append(Arrival(at_ms, bed, probe, self._ms(now_s + clock_s), value))


def _spoil(rng: Random, kind: str, probes: list[_Probe], at_s: float, lasts_s: float) -> None:
    for probe in probes:
        if kind == "stuck":
            probe.stuck = (at_s, at_s + 7200.0, 0.0)
        elif kind == "noise burst":
            probe.noisy = (at_s, at_s + lasts_s)
        elif kind == "clock":
            probe.clock_s += rng.choice((-1800.0, 1800.0, -3600.0))
        else:
            size = {"zeros": 0.0, "garbage": rng.choice((-9999.0, 7999.0))}.get(kind, rng.uniform(3.0, 20.0))
            if kind == "jump":
                size = rng.uniform(-4.0, -1.0)
            probe.jump = (at_s, at_s + (lasts_s if kind != "jump" else 7200.0), size)


def _pulse(now_s: float, from_s: float, to_s: float, lag_s: float) -> float:
    """Rises towards 1 while it lasts and falls back after, each with the lag."""
    if now_s < from_s:
        return 0.0
    rise = 1.0 - math.exp(-(min(now_s, to_s) - from_s) / lag_s)
    return rise if now_s <= to_s else rise * math.exp(-(now_s - to_s) / lag_s)


def crude_scene(seed: int, hours: float = 12.0, kinds: tuple[str, ...] = TROUBLES) -> Scene:
    """One floor of crude beds for some hours."""
    crude = Crude(seed, hours)
    crude.plan(kinds)
    crude.run()
    beds = [one.bed for one in crude.beds]
    forgot = {p.wire.id: START_MS + p.forgot_s * 1000 for one in crude.beds for p in one.probes}
    return scene_of(f"crude {seed}", beds, crude.arrivals, crude.turns, crude.troubles, forgot)
