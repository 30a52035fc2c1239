"""Outdoor air: a daily course with fronts that come and go, seeded.

Stepped, not looked up: the fronts are a first-order memory of random pushes, so two seeds have
different nights. The figures are a cool malting season by our choosing, no recorded place.
"""

import math
from dataclasses import dataclass
from random import Random

from simulators.air import humidity_ratio, relative_humidity


@dataclass
class Weather:
    """Outdoor temperature and humidity; `step` moves it on."""

    rng: Random
    mean_c: float = 8.0
    swing_k: float = 3.0
    front_k: float = 2.0
    front_memory_h: float = 30.0
    co2_ppm: float = 420.0
    temperature_c: float = 8.0
    rh: float = 0.8
    _front: float = 0.0

    def begin(self, now_s: float) -> None:
        """Set the air for a moment, before the first step."""
        self._front = self.rng.gauss(0.0, 0.5)
        self.step(0.0, now_s)

    def step(self, dt_s: float, now_s: float) -> None:
        """Let `dt_s` pass up to `now_s` (Unix seconds; the day is UTC's)."""
        keep = math.exp(-dt_s / 3600.0 / self.front_memory_h)
        push = math.sqrt(max(0.0, 1.0 - keep * keep))
        self._front = self._front * keep + self.front_k * push * self.rng.gauss(0.0, 1.0)
        hour = now_s / 3600.0 % 24.0
        daily = self.swing_k * math.cos((hour - 15.0) / 24.0 * 2.0 * math.pi)
        self.temperature_c = self.mean_c + daily + self._front
        dew = humidity_ratio(self.mean_c + 0.6 * self._front - 3.0, 1.0)
        self.rh = max(0.3, relative_humidity(self.temperature_c, dew))
