"""A made-up kiln of layers, to try what is thought of a kiln on: written for the tests, and crude.

Air passes the layers from below. Each takes on the grain's temperature, and at most 98 % of the water it can
hold, as fast as thin-layer drying gives it (constants of barley, grade C). Heat and water are kept. The
weather has days; the fire wanders, fails or runs hot; the draught is halved; the load is turned. Probes are
biased and noisy. The truth of the break is of the air, not of the temperature: air-off under 85 % of
saturation for good.
"""

from __future__ import annotations

import math
import random
import tomllib
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

from gateway.core.science import psychrometrics as air
from gateway.core.science.grain import Isotherm, ThinLayer, db_of_wb, latent_kj_per_kg

CONFIG = tomllib.loads((Path(__file__).resolve().parents[2] / "config" / "kiln-physics.toml").read_text())
BARLEY, LAYER = Isotherm(**CONFIG["isotherm"]), ThinLayer(**CONFIG["thin_layer"])
MIN_MS = 60_000
T0 = 1_764_028_800_000
DRY_KG = 836.0  # of one tonne of barley
LAYERS = 12
DRY_RH = 0.85
PROGRAMME = ((0.0, 45.0), (24.0, 45.0), (36.0, 55.0), (48.0, 60.0), (72.0, 60.0))


@dataclass(frozen=True)
class Minute:
    """What a minute of the kiln was like; `on_c`, `off_c` and the outdoors as the probes told it."""

    at_ms: int
    on_c: float
    off_c: float
    outdoor_c: float
    outdoor_rh: float
    air_m3_h: float
    true_rh: float
    true_off_c: float
    moisture_db: tuple[float, ...]
    removed_kg: float
    act: str = ""


@dataclass
class Load:
    """One tonne of barley's green malt, in layers from below: moistures db and temperatures."""

    moisture: list[float]
    warm_c: list[float]
    removed_kg: float = 0.0
    eager: float = 1.0
    rest_share: float = 1.0

    def pass_air(self, on_c: float, ratio: float, air_kg: float, seconds: float) -> tuple[float, float]:
        """Let so much dry air through; returns air-off's temperature and humidity ratio."""
        dry_kg = DRY_KG / len(self.moisture)
        came = ratio
        for i, (moist, warm_c) in enumerate(zip(self.moisture, self.warm_c, strict=True)):
            full = air.humidity_ratio(warm_c, 0.98)
            rest = BARLEY.moisture_db(warm_c, min(1.0, max(0.0, air.relative_humidity(warm_c, ratio))))
            rest = min(self.rest_share * rest, moist)
            given = dry_kg * (moist - LAYER.dried_db(moist, rest, warm_c, self.eager * seconds))
            water_kg = min(given, air_kg * (full - ratio))
            heat_kj = air_kg * (1.006 + 1.86 * ratio) * (on_c - warm_c) - water_kg * latent_kj_per_kg(warm_c)
            self.warm_c[i] = warm_c + heat_kj / (dry_kg * (1.65 + 4.186 * moist))
            self.moisture[i] = moist - water_kg / dry_kg
            ratio += water_kg / air_kg
            on_c = warm_c
        self.removed_kg += (ratio - came) * air_kg
        return on_c, ratio

    def turn(self, share: float) -> None:
        """Kiln-turning: every layer comes nearer to the mean."""
        for values in (self.moisture, self.warm_c):
            mean = sum(values) / len(values)
            values[:] = [value + share * (mean - value) for value in values]


@dataclass
class Kilning:
    """A kilning drawn from a seed. Of what happens only the turning is recorded (`act`)."""

    seed: int
    mishaps: bool = True
    hours: int = 54
    chance: random.Random = field(init=False)

    def __post_init__(self) -> None:
        draw = self.chance = random.Random(self.seed)
        self.outdoor_c, self.outdoor_rh = draw.uniform(-2.0, 18.0), draw.uniform(0.6, 0.95)
        self.air_m3_h = draw.uniform(1500.0, 2500.0)
        self.wb = draw.uniform(0.42, 0.455)
        self.knows_weather = draw.random() < 0.8
        self.off_bias, self.on_bias = draw.gauss(0.0, 0.4), draw.gauss(0.0, 0.4)
        self.fire_water = draw.choice([0.0, 0.0, 0.0006, 0.0012])
        self.events = self._events() if self.mishaps else []
        # The barley is not the book's.
        self.eager, self.rest_share = math.exp(draw.gauss(0.0, 0.25)), math.exp(draw.gauss(0.0, 0.1))

    def _events(self) -> list[tuple[float, float, str, float]]:
        """(hour, hours it lasts, what, how much)."""
        draw = self.chance
        found = []
        if draw.random() < 0.5:
            found.append((draw.uniform(8.0, 30.0), 0.5, "turned", draw.uniform(0.3, 0.9)))
        if draw.random() < 0.35:
            found.append((draw.uniform(2.0, 30.0), draw.uniform(0.5, 4.0), "fire out", 0.0))
        if draw.random() < 0.35:
            found.append((draw.uniform(2.0, 30.0), draw.uniform(1.0, 4.0), "hot", draw.uniform(5.0, 12.0)))
        if draw.random() < 0.3:
            found.append((draw.uniform(2.0, 30.0), draw.uniform(0.5, 5.0), "draught", draw.uniform(0.3, 0.7)))
        return found

    def minutes(self) -> list[Minute]:
        """The kilning minute by minute."""
        draw = self.chance
        load = Load(
            [db_of_wb(self.wb)] * LAYERS, [16.0] * LAYERS, eager=self.eager, rest_share=self.rest_share
        )
        on_c, out, wander = self.outdoor_c, [], 0.0
        for minute in range(self.hours * 60):
            hour = minute / 60.0
            acting = [one for one in self.events if one[0] <= hour < one[0] + one[1]]
            sun = math.sin(2.0 * math.pi * (hour - 9.0) / 24.0)
            outdoor_c = self.outdoor_c + 3.5 * sun
            outdoor_rh = min(0.98, max(0.3, self.outdoor_rh - 0.12 * sun))
            wander += 0.02 * (draw.gauss(0.0, 2.5) - wander)
            wanted_c = _wanted(hour) + wander
            flow = self.air_m3_h
            act = ""
            for began, _, what, much in acting:
                first = hour - began < 1.0 / 60.0
                wanted_c = outdoor_c if what == "fire out" else wanted_c + (much if what == "hot" else 0.0)
                flow *= much if what == "draught" else 1.0
                if what == "turned" and first:
                    load.turn(much)
                    act = what
            on_c += (wanted_c - on_c) / 20.0
            ratio = air.humidity_ratio(outdoor_c, outdoor_rh) + (
                self.fire_water if on_c > outdoor_c + 10 else 0.0
            )
            air_kg = flow / 60.0 / air.volume_m3_per_kg(outdoor_c, ratio)
            off_c, off_ratio = load.pass_air(on_c, ratio, air_kg, 60.0)
            out.append(
                Minute(
                    T0 + minute * MIN_MS,
                    on_c + self.on_bias + draw.gauss(0.0, 0.1),
                    off_c + self.off_bias + draw.gauss(0.0, 0.1),
                    outdoor_c,
                    outdoor_rh,
                    flow,
                    air.relative_humidity(off_c, off_ratio),
                    off_c,
                    tuple(load.moisture),
                    load.removed_kg,
                    act,
                )
            )
        return out


def true_break_ms(minutes: list[Minute]) -> int | None:
    """When air-off, as it truly was, went under 85 %, not to come back for an hour and a half of fire."""
    found, back = None, 0
    for one in minutes:
        if one.on_c - one.outdoor_c < 20.0:
            continue
        back = back + 1 if one.true_rh >= DRY_RH else 0
        if back >= 90:
            found = None
        elif found is None and not back:
            found = one.at_ms
    return found


def _wanted(hour: float) -> float:
    for (h0, c0), (h1, c1) in pairwise(PROGRAMME):
        if hour < h1:
            return c0 + (c1 - c0) * max(0.0, hour - h0) / (h1 - h0)
    return PROGRAMME[-1][1]
