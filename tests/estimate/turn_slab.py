"""A third bed for turns: heat conducted through a slab of grain, turned by a front that walks along it.

Nothing of it is shared with the other two: slices through the depth exchange heat with each other, with the
room above and the floor below; grain heats more the warmer it is and the tighter it lies. A turn mixes the
slices where its front is, cools them towards the room and leaves part of their differences; probes have
coarse steps as often as fine ones. Figures are drawn anew for each seed; diffusivity and heating from memory.
"""

import math
from dataclasses import dataclass, field
from random import Random

import numpy as np

from gateway.core.estimate.turn_seen.detect import Bed, Wire
from tests.estimate.turn_scene import Arrival, Scene, TrueTurn, scene_of

STEP_S = 10
START_MS = 1_766_000_000_000
SLICES, COLUMNS = 8, 9
TROUBLES = ("door", "sun", "watered", "pulled", "stuck", "noise", "hot burst", "jump", "silent", "late")


@dataclass
class _Hung:
    """A probe: where it hangs, how it reads, when it is out of the grain and what is wrong with it."""

    wire: Wire
    column: int
    slice: int
    lag_s: float
    bias: float
    noise: float
    step: float
    stays_in: bool
    felt: float = math.nan
    out: list[tuple[float, float]] = field(default_factory=list)
    forgot_s: float = math.inf
    wrong: list[tuple[str, float, float, float]] = field(default_factory=list)
    held: float = 0.0
    next_s: float = 0.0


@dataclass
class _Slab:
    """One bed: temperatures by column and slice (floor upward), CO2 by column, heating in K/h at 17 C."""

    bed: Bed
    probes: list[_Hung]
    warm: np.ndarray
    gas: np.ndarray
    depth_m: float
    heat: float
    fronts: list[tuple[float, int]] = field(default_factory=list)
    watered: list[float] = field(default_factory=list)


class Slabs:
    """One floor of them; see the module."""

    def __init__(self, seed: int, hours: float) -> None:
        rng = self.rng = Random(f"slab {seed}")
        self.end_s = hours * 3600.0
        self.room_c, self.swing = rng.uniform(9.0, 15.0), rng.uniform(0.0, 2.0)
        self.diffusivity = rng.uniform(0.9e-7, 4.0e-7)
        self.top, self.below = rng.uniform(3.0, 10.0), rng.uniform(1.0, 4.0)
        self.cools, self.leaves = rng.uniform(0.2, 0.65), rng.choice((0.0, 0.1, 0.2, 0.3))
        self.length_s = rng.uniform(900.0, 3600.0)
        self.manner = rng.choice(("in", "pass", "pass", "whole"))
        self.forget = rng.choice((0.0, 0.0, 0.03))
        self.airs = [Wire(f"air-{k}", "temperature", 60.0) for k in range(rng.choice((0, 1, 1, 2)))]
        self.air_off = [rng.gauss(0.0, 0.3) for _ in self.airs]
        self.weather: list[tuple[float, float, float]] = []
        self.slabs = [self._slab(i) for i in range(rng.choice((1, 2, 3)))]
        self.arrivals: list[Arrival] = []
        self.turns: list[TrueTurn] = []
        self.troubles: list[tuple[str, str, int, int]] = []

    def _slab(self, i: int) -> _Slab:
        rng = self.rng
        from_m, length_m, depth_cm = 40.0 * i, rng.uniform(6.0, 30.0), rng.uniform(10.0, 22.0)
        places = rng.choice(((rng.uniform(0.2, 0.8),), (0.3, 0.7), (0.15, 0.5, 0.85)))
        every = float(rng.choice((10, 20, 60, 60)))
        step = rng.choice((0.01, 0.0625, 0.1, 0.1, 0.25, 0.5))
        heights = sorted(rng.sample(range(1, SLICES - 1), rng.choice((2, 2, 3))))
        probes = [
            self._hung(
                f"s{i}-{k}{n}", "temperature", every, from_m + share * length_m, share, height, depth_cm, step
            )
            for k, share in enumerate(places)
            for n, height in enumerate(heights)
        ]
        if rng.random() < 0.4:
            share = rng.choice(places)
            probes.append(
                self._hung(f"s{i}-gas", "co2", every, from_m + share * length_m, share, 3, depth_cm, 50.0)
            )
        bed = Bed(f"s{i}", from_m, from_m + length_m, tuple(one.wire for one in probes), tuple(self.airs))
        warm = np.full((COLUMNS, SLICES), self.room_c + rng.uniform(2.0, 6.0))
        gas = np.full(COLUMNS, rng.uniform(4000.0, 20000.0))
        return _Slab(bed, probes, warm, gas, depth_cm / 100.0, rng.uniform(0.7, 1.8))

    def _hung(
        self,
        name: str,
        quantity: str,
        every: float,
        at_m: float,
        share: float,
        height: int,
        depth_cm: float,
        step: float,
    ) -> _Hung:
        rng = self.rng
        wire = Wire(name, quantity, every, round((height + 0.5) / SLICES * depth_cm, 1), round(at_m, 2))
        return _Hung(
            wire, min(COLUMNS - 1, int(share * COLUMNS)), height, rng.uniform(20.0, 300.0),
            rng.gauss(0.0, 0.15),
            rng.choice((0.01, 0.03, 0.08)), step, self.manner == "in" or rng.random() < 0.1,
            next_s=rng.uniform(0.0, every),
        )  # fmt: skip

    # --- what people and the weather do --------------------------------------------------------------

    def plan(self) -> None:
        """Turns every 4 to 7 h in each bed, and between them what only looks like one."""
        rng = self.rng
        for one in self.slabs:
            at_s = rng.uniform(5400.0, 10800.0)
            while at_s + 9000.0 < self.end_s:
                took_s = self._turn(one, at_s)
                if rng.random() < 0.7:
                    self._trouble(one, at_s + took_s + rng.uniform(4800.0, 7200.0), rng.choice(TROUBLES))
                at_s += took_s + rng.uniform(14400.0, 25200.0)

    def _ms(self, at_s: float) -> int:
        return START_MS + int(at_s * 1000)

    def _turn(self, one: _Slab, at_s: float) -> float:
        rng = self.rng
        took_s = self.length_s * rng.uniform(0.85, 1.15)
        passes = [at_s + (c + 0.5) / COLUMNS * took_s for c in range(COLUMNS)]
        if rng.random() < 0.5:
            passes.reverse()
        one.fronts += [(pass_s, column) for column, pass_s in enumerate(passes)]
        for probe in one.probes:
            if probe.stays_in:
                continue
            by_s = passes[probe.column]
            out = (by_s - rng.uniform(60.0, 480.0), by_s + rng.uniform(60.0, 480.0))
            if self.manner == "whole":
                out = (at_s - rng.uniform(30.0, 600.0), at_s + took_s + rng.uniform(30.0, 400.0))
            probe.out.append(out)
            if rng.random() < self.forget:
                probe.forgot_s = min(probe.forgot_s, out[0])
        self.turns.append(TrueTurn(one.bed.id, self._ms(at_s), self._ms(at_s + took_s), full=True))
        return took_s

    def _trouble(self, one: _Slab, at_s: float, kind: str) -> None:
        rng = self.rng
        until_s = at_s + rng.uniform(300.0, 2400.0)
        grain = [probe for probe in one.probes if probe.wire.quantity == "temperature"]
        probe = rng.choice(grain)
        if kind == "pulled":
            probe.out.append((at_s, until_s))
        elif kind == "watered":
            one.watered.append(at_s)
        elif kind in ("door", "sun"):
            self.weather.append((at_s, until_s, rng.uniform(1.0, 5.0) * (-1.0 if kind == "door" else 1.0)))
        elif kind in ("silent", "late"):
            until_s = at_s + rng.uniform(600.0, 3600.0)
            for other in one.probes:
                other.wrong.append((kind, at_s, until_s, 0.0))
        else:
            if kind in ("stuck", "jump"):
                until_s = at_s + 7200.0
            probe.wrong.append(
                (kind, at_s, until_s, rng.uniform(-4.0, -1.0) if kind == "jump" else rng.uniform(3.0, 15.0))
            )
        where = "" if kind in ("door", "sun") else one.bed.id
        self.troubles.append((kind, where, self._ms(at_s), self._ms(until_s)))

    # --- time passes ----------------------------------------------------------------------------------

    def run(self) -> None:
        """Let all the hours pass."""
        air_next = 0.0
        for now_s in range(STEP_S, int(self.end_s), STEP_S):
            air = self._air(now_s)
            for one in self.slabs:
                self._grow(one, air, now_s)
                for probe in one.probes:
                    self._read(one, probe, air, now_s)
            if now_s >= air_next:
                air_next = now_s + 60.0
                for wire, off in zip(self.airs, self.air_off, strict=True):
                    self._send("", wire.id, now_s, round(air + off + self.rng.gauss(0.0, 0.05), 1), 0.3)
        self.arrivals.sort()

    def _air(self, now_s: float) -> float:
        air = self.room_c + self.swing * math.sin(2.0 * math.pi * now_s / 86400.0)
        for from_s, until_s, size in self.weather:
            if now_s > from_s:
                rose = 1.0 - math.exp(-(min(now_s, until_s) - from_s) / 400.0)
                air += size * rose * math.exp(-max(0.0, now_s - until_s) / 600.0)
        return air

    def _grow(self, one: _Slab, air: float, now_s: float) -> None:
        warm, deep_m = one.warm, one.depth_m / SLICES
        flow = np.zeros((COLUMNS, SLICES))
        between = self.diffusivity / deep_m**2 * np.diff(warm, axis=1)
        flow[:, :-1] += between
        flow[:, 1:] -= between
        stored = 1.1e6 * deep_m
        flow[:, -1] -= self.top / stored * (warm[:, -1] - air)
        flow[:, 0] -= self.below / stored * (warm[:, 0] - self.room_c + 1.0)
        flow += one.heat / 3600.0 * 2.0 ** ((np.minimum(warm, 23.0) - 17.0) / 10.0)
        warm += flow * STEP_S
        one.gas += (18000.0 - one.gas) * STEP_S / 7200.0
        for front in [front for front in one.fronts if front[0] <= now_s]:
            one.fronts.remove(front)
            mean = float(warm[front[1]].mean())
            new = air + (1.0 - self.cools) * (mean - air)
            warm[front[1]] = new + self.leaves * (warm[front[1]] - mean)
            one.gas[front[1]] = 900.0 + 0.15 * (one.gas[front[1]] - 900.0)
        for at_s in [at_s for at_s in one.watered if at_s <= now_s]:
            one.watered.remove(at_s)
            warm[:, -1] -= self.rng.uniform(0.8, 2.5)
            warm[:, -2] -= 0.4

    def _read(self, one: _Slab, probe: _Hung, air: float, now_s: float) -> None:
        rng, gas = self.rng, probe.wire.quantity == "co2"
        out = now_s >= probe.forgot_s or any(a <= now_s < b for a, b in probe.out)
        true = float(one.gas[probe.column] if gas else one.warm[probe.column, probe.slice])
        if out:
            true = 900.0 if gas else air
        if math.isnan(probe.felt):
            probe.felt = true
        probe.felt += (true - probe.felt) * (1.0 - math.exp(-STEP_S / probe.lag_s))
        if now_s < probe.next_s:
            return
        probe.next_s += probe.wire.every_s
        value = (
            probe.felt * (1.0 + rng.gauss(0.0, 0.01))
            if gas
            else probe.felt + probe.bias + rng.gauss(0.0, probe.noise)
        )
        late_s = 0.3 if rng.random() > 0.04 else rng.uniform(0.0, 300.0)
        for kind, from_s, until_s, size in probe.wrong:
            if not from_s <= now_s < until_s:
                continue
            if kind == "silent":
                return
            if kind == "late":
                late_s = until_s - now_s + rng.uniform(0.0, 60.0)
            value = self._spoilt(kind, value, probe.held, size, now_s - from_s)
        probe.held = value
        shown = round(round(value / probe.step) * probe.step, 4)
        for _ in range(0 if rng.random() < 0.03 else 2 if rng.random() < 0.02 else 1):
            self._send(one.bed.id, probe.wire.id, now_s, shown, late_s)

    def _spoilt(self, kind: str, value: float, held: float, size: float, for_s: float) -> float:
        """What a probe says that is wrong in this way for so long."""
        if kind == "stuck":
            return held
        if kind == "noise":
            return value + self.rng.gauss(0.0, 2.0)
        if kind == "jump":
            return value + size
        return value + size * (1.0 - math.exp(-for_s / 60.0)) if kind == "hot burst" else value

    def _send(self, bed: str, probe: str, now_s: float, value: float, late_s: float) -> None:
        self.arrivals.append(Arrival(self._ms(now_s + late_s), bed, probe, self._ms(now_s), value))


def slab_scene(seed: int, hours: float = 14.0) -> Scene:
    """One floor of slabs for some hours."""
    slabs = Slabs(seed, hours)
    slabs.plan()
    slabs.run()
    beds = [one.bed for one in slabs.slabs]
    forgot = {probe.wire.id: START_MS + probe.forgot_s * 1000 for one in slabs.slabs for probe in one.probes}
    return scene_of(f"slab {seed}", beds, slabs.arrivals, slabs.turns, slabs.troubles, forgot)
