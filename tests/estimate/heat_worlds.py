"""Beds to forecast, drawn anew for each seed: layered ones of the simulated floor, and others of our own.

The lumped bed knows nothing of the layered one: each probe's place is a first-order body (or two, a heart
in a shell), with its own heating, pull, closing after a turn, day of growth and warmth law. The wandering one
has no balance at all. All are read by the same crude instruments, which lag, waver, round, drift, drop and
delay, are out of the grain about a turn, and are now and then pulled, or burst.
"""

import math
from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass, field
from random import Random
from typing import NamedTuple

from simulators.bed import Bed
from simulators.floor import Floor
from simulators.grain import Grain, Lie
from simulators.room import Room
from simulators.weather import Weather

START_MS = 1_764_007_200_000
MINUTE_MS = 60_000


class Heard(NamedTuple):
    """One reading as it arrives; an empty probe is the room's thermometer."""

    at_ms: int
    probe: str
    measured_ms: int
    value: float


class Told(NamedTuple):
    """A turn as it is told: when that became known, and when the turn ended."""

    known_ms: int
    ended_ms: int


@dataclass
class BedStory:
    """What was heard of one bed, and what was so: true temperature by probe, minute by minute."""

    name: str
    cast_ms: int
    heights_cm: dict[str, float]
    heard: list[Heard] = field(default_factory=list)
    turns: list[tuple[int, int]] = field(default_factory=list)
    told: list[Told] = field(default_factory=list)
    true_c: dict[str, list[float]] = field(default_factory=dict)
    air_c: list[float] = field(default_factory=list)

    def hottest_c(self, at_ms: int) -> float | None:
        """The highest true temperature at a probe's place; None outside the story."""
        i = round((at_ms - START_MS) / MINUTE_MS)
        rows = list(self.true_c.values())
        return max(row[i] for row in rows) if 0 <= i < len(rows[0]) else None

    def quiet(self, from_ms: int, to_ms: int) -> bool:
        """Whether nobody turned in between."""
        return not any(began <= to_ms and ended >= from_ms for began, ended in self.turns)


def story(seed: int, hours: float = 30.0) -> BedStory:
    """One bed for some hours; two of five are layered, two lumped, one wanders."""
    rng = Random(f"heat {seed}")
    kinds = (_layered, _lumped, _layered, _lumped, _wandering)
    return _live(kinds[seed % 5](rng, seed), rng, hours)


@dataclass
class _Physics:
    """A bed as the story sees it: a step of a minute (from a time in hours), truths by probe, turn, air."""

    name: str
    age_h: float
    heights_cm: dict[str, float]
    step: Callable[[float], None]
    true_c: Callable[[], list[float]]
    air_c: Callable[[], float]
    turn: Callable[[], None]


def _layered(rng: Random, seed: int) -> _Physics:
    depth_cm = rng.uniform(9.0, 25.0)
    lie = Lie(
        depth_m=depth_cm / 100.0,
        conductivity_w_mk=rng.uniform(0.12, 0.4),
        top_w_m2_k=rng.uniform(5.0, 18.0),
        base_w_m2_k=rng.uniform(2.0, 10.0),
        open_per_h=rng.uniform(120.0, 400.0),
        matted_per_h=rng.uniform(8.0, 40.0),
        matting_h=rng.uniform(3.0, 10.0),
        turn_cools_share=rng.uniform(0.2, 0.6),
        unevenness=rng.uniform(0.0, 0.08),
        columns=3,
    )
    grain = Grain(q10=rng.uniform(1.7, 2.6), loss_share=rng.uniform(0.025, 0.055))
    weather = Weather(Random(f"air {seed}"), mean_c=rng.uniform(3.0, 13.0), swing_k=rng.uniform(1.0, 6.0))
    weather.begin(START_MS / 1000.0)
    floor = Floor("f", Room(rng.choice((1500.0, 2200.0, 4000.0))))
    floor.room.begin(weather.mean_c + 5.0, 1400.0)
    bed = floor.beds["b"] = Bed(0.0, 12.0, rng.uniform(5.0, 12.0), grain, lie, rng)
    floor.settle(bed.barley_t)
    age_h = rng.uniform(14.0, 140.0)
    bed.lay(age_h, rng.uniform(13.0, 19.0), rng.uniform(0.0, 5.0), floor.surroundings())
    hung = [(rng.choice((2.0, 6.0, 10.0)), depth_cm * share) for share in _shares(rng)]

    now_s = START_MS / 1000.0

    def step(_: float) -> None:
        nonlocal now_s
        now_s += 60.0
        weather.step(60.0, now_s)
        floor.step(60.0, weather)
        if rng.random() < 0.001:
            floor.room.shutters = rng.choice((0.5, 1.0, 1.0, 2.5))

    def turn() -> None:
        bed.begin_turn(0.0, 12.0, now_s)
        bed.walk(now_s - 1.0, now_s + 1e9, floor.surroundings())

    return _Physics(
        f"layered {seed}", age_h, {f"p{i}": height for i, (_, height) in enumerate(hung)}, step,
        lambda: [bed.warm_at(at_m, height / 100.0) for at_m, height in hung],
        lambda: floor.room.temperature_c, turn,
    )  # fmt: skip


def _shares(rng: Random) -> list[float]:
    return rng.sample((0.2, 0.35, 0.5, 0.65, 0.8), rng.choice((1, 2, 2, 3, 4)))


@dataclass
class _Lump:
    """One place: a heart at `warm`, a shell round it; everything in K and hours."""

    warm: float
    shell: float
    q: float
    pull: float
    shell_pull: float
    height_cm: float


def _lumped(rng: Random, seed: int) -> _Physics:
    age_h, peak_h, wide_h = rng.uniform(14.0, 140.0), rng.uniform(50.0, 100.0), rng.uniform(35.0, 80.0)
    q10, q = rng.uniform(1.5, 3.0), rng.uniform(0.4, 1.6)
    pull, shelled = rng.uniform(0.02, 0.16), rng.random() < 0.5
    opened, closing_h = rng.choice((0.0, rng.uniform(0.0, 0.25))), rng.uniform(1.0, 8.0)
    keep, layered = rng.uniform(0.4, 0.85), rng.choice((0.0, 0.1))
    mean, swing, lag = rng.uniform(8.0, 16.0), rng.uniform(0.2, 2.5), rng.uniform(0.0, 24.0)
    sun = rng.choice((0.0, rng.uniform(0.5, 2.5)))
    start = rng.uniform(13.0, 18.5)
    lumps = [
        _Lump(start - rng.uniform(0.0, 1.0), start - 0.5, q * rng.uniform(0.85, 1.15),
              pull * rng.uniform(0.6, 1.8), rng.uniform(0.15, 0.8), 25.0 * share)
        for share in _shares(rng)
    ]  # fmt: skip
    air, since_h, drift, now = mean, 2.0, 0.0, 0.0

    def step(now_h: float) -> None:
        nonlocal air, since_h, drift, now
        now = now_h
        dt = 1.0 / 60.0
        since_h += dt
        drift += rng.gauss(0.0, 0.02) - 0.002 * drift
        wanted = mean + swing * math.sin((now_h + lag) / 24.0 * 2.0 * math.pi) + drift
        wanted += sun if 11.0 < (now_h + lag) % 24.0 < 13.0 else 0.0
        air += (wanted - air) * dt / 1.5
        growth = 0.3 + math.exp(-(((age_h + now_h - peak_h) / wide_h) ** 2))
        for lump in lumps:
            loose = opened * math.exp(-since_h / closing_h)
            made = lump.q * growth * q10 ** ((min(lump.warm, 30.0) - 16.0) / 10.0)
            if shelled:
                lump.shell += dt * (
                    0.8 * made - lump.shell_pull * (lump.shell - air) + 0.5 * (lump.warm - lump.shell)
                )
                lump.warm += dt * (
                    made - 2.0 * lump.pull * (lump.warm - lump.shell) - loose * (lump.warm - air)
                )
            else:
                lump.warm += dt * (made - (lump.pull + loose) * (lump.warm - air))

    def turn() -> None:
        nonlocal since_h
        since_h = 0.0
        mixed = sum(lump.warm + lump.shell for lump in lumps) / 2.0 / len(lumps) if shelled else sum(
            lump.warm for lump in lumps) / len(lumps)  # fmt: skip
        for lump in lumps:
            lump.warm = air + keep * (mixed + layered * (lump.warm - mixed) - air)
            lump.shell = lump.warm

    return _Physics(
        f"lumped {seed}", age_h, {f"p{i}": lump.height_cm for i, lump in enumerate(lumps)}, step,
        lambda: [lump.warm for lump in lumps], lambda: air, turn,
    )  # fmt: skip


def _wandering(rng: Random, seed: int) -> _Physics:
    """No balance at all: the rate strays about a mean that eases between turns, and each place about it."""
    start, air = rng.uniform(13.0, 18.0), rng.uniform(8.0, 15.0)
    first, easing_h = rng.uniform(0.2, 1.2), rng.uniform(4.0, 30.0)
    strays, memory_h = rng.uniform(0.02, 0.15), rng.uniform(1.0, 6.0)
    shares = _shares(rng)
    warm, stray = [start - rng.uniform(0.0, 1.0) for _ in shares], [0.0 for _ in shares]
    keep, since_h = rng.uniform(0.4, 0.85), 2.0

    def step(_: float) -> None:
        nonlocal since_h
        since_h += 1.0 / 60.0
        for i in range(len(warm)):
            push = strays * math.sqrt(2.0 / 60.0 / memory_h) * rng.gauss(0.0, 1.0)
            stray[i] += push - stray[i] / memory_h / 60.0
            warm[i] += (first * math.exp(-since_h / easing_h) + stray[i]) / 60.0

    def turn() -> None:
        nonlocal since_h
        since_h = 0.0
        mixed = sum(warm) / len(warm)
        for i in range(len(warm)):
            warm[i] = air + keep * (mixed - air)

    heights = {f"p{i}": 20.0 * share for i, share in enumerate(shares)}
    age_h = rng.uniform(20.0, 120.0)
    return _Physics(f"wandering {seed}", age_h, heights, step, lambda: list(warm), lambda: air, turn)


@dataclass
class _Instrument:
    """A thermometer with its faults. `out` are the minutes it is out of the grain, from and to."""

    every_min: int
    noise: float
    step: float
    bias: float
    drift_per_h: float
    drop: float
    out: list[tuple[float, float]]
    felt: float = math.nan
    next_min: int = 0

    def feel(self, true: float, air: float, minute: int) -> None:
        """One minute goes by."""
        outside = any(a <= minute < b for a, b in self.out)
        target = air if outside else true
        self.felt = target if math.isnan(self.felt) else self.felt + (target - self.felt) * 0.33

    def say(self, minute: int, rng: Random) -> float | None:
        """What it says in this minute, if anything."""
        if minute < self.next_min:
            return None
        self.next_min = minute + self.every_min
        if rng.random() < self.drop:
            return None
        value = self.felt + self.bias + self.drift_per_h * minute / 60.0 + rng.gauss(0.0, self.noise)
        if rng.random() < 0.0005:
            value += rng.choice((-4.0, 3.0, 8.0))
        return round(round(value / self.step) * self.step, 3)


def _live(physics: _Physics, rng: Random, hours: float) -> BedStory:
    """Somebody turns every so many hours, or when it is too warm for their liking."""
    cast_ms = START_MS - int(physics.age_h * 3_600_000)
    found = BedStory(physics.name, cast_ms, physics.heights_cm)
    names = list(physics.heights_cm)
    minutes = int(hours * 60)
    every_h, too_warm_c = rng.uniform(5.0, 10.0), rng.uniform(17.0, 25.0)
    planned = [(int(rng.uniform(30.0, 60.0 * every_h)), rng.randint(10, 40))]
    every = rng.choice((1, 1, 1, 2, 5))
    noise, step = rng.choice(((0.03, 0.1), (0.1, 0.1), (0.15, 0.1), (0.2, 0.1), (0.05, 0.06)))
    probes = [_instrument(rng, every, noise, step, minutes) for _ in names]
    for probe in probes:
        _take_out(probe, rng, planned[0])
    airing = _Instrument(rng.choice((1, 5)), noise, step, rng.gauss(0.0, 0.2), 0.0, 0.02, [])
    has_air, tells = rng.random() < 0.85, rng.random() < 0.85
    found.true_c = {name: [] for name in names}
    for minute in range(minutes):
        physics.step(minute / 60.0)
        began, length = planned[-1]
        if minute == began + length // 2:
            physics.turn()
            _tell(found, rng, tells, began, length)
            planned.append((minute + int(60.0 * every_h * rng.uniform(0.8, 1.25)), rng.randint(10, 40)))
            for probe in probes:
                _take_out(probe, rng, planned[-1])
        elif began - minute > 60 and minute - planned[-2:][0][0] > 120 and max(physics.true_c()) > too_warm_c:
            planned[-1] = (minute + 30, length)
            for probe in probes:
                probe.out.pop()
                _take_out(probe, rng, planned[-1])
        at_ms = START_MS + minute * MINUTE_MS
        air = physics.air_c()
        found.air_c.append(air)
        for name, probe, true in zip(names, probes, physics.true_c(), strict=True):
            found.true_c[name].append(true)
            probe.feel(true, air, minute)
            _hear(found, rng, probe, name, at_ms, minute)
        airing.feel(air, air, minute)
        if has_air:
            _hear(found, rng, airing, "", at_ms, minute)
    found.heard.sort()
    return found


def _instrument(rng: Random, every: int, noise: float, step: float, minutes: int) -> _Instrument:
    pulled = rng.uniform(0.0, minutes)
    out = [(pulled, pulled + rng.uniform(5.0, 40.0))] if rng.random() < 0.15 else []
    return _Instrument(every, noise, step, rng.gauss(0.0, 0.05), rng.gauss(0.0, 0.0005), 0.03, out)


def _take_out(probe: _Instrument, rng: Random, turn: tuple[int, int]) -> None:
    middle = turn[0] + turn[1] * 0.5
    probe.out.append((middle - rng.uniform(2.0, 15.0), middle + rng.uniform(2.0, 20.0)))


def _tell(found: BedStory, rng: Random, tells: bool, began: int, length: int) -> None:
    began_ms, ended_ms = (START_MS + minute * MINUTE_MS for minute in (began, began + length))
    found.turns.append((began_ms, ended_ms))
    if tells:
        found.told.append(
            Told(ended_ms + rng.randint(0, 6) * MINUTE_MS, ended_ms + rng.randint(-8, 3) * MINUTE_MS)
        )


def _hear(found: BedStory, rng: Random, probe: _Instrument, name: str, at_ms: int, minute: int) -> None:
    value = probe.say(minute, rng)
    if value is not None:
        late_ms = rng.randint(10_000, 600_000) if rng.random() < 0.05 else rng.randint(0, 2_000)
        found.heard.append(Heard(at_ms + late_ms, name, at_ms, value))


def turned_before(found: BedStory, at_ms: int) -> int | None:
    """When the newest turn known by then ended, as told."""
    known = [one.ended_ms for one in sorted(found.told)]
    i = bisect_right([one.known_ms for one in sorted(found.told)], at_ms)
    return known[i - 1] if i else None
