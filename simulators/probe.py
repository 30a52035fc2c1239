"""The instrument: it lags, wavers, rounds, drifts, tires, and has its own idea of the time.

Lag: a bare probe in stirred water reaches 63 % of a step in 11 to 23 s (measured by others; see
the tests); in grain and in still air slower, by how much is ours (grade D).
"""

import math
from dataclasses import dataclass
from random import Random

from simulators.plan import ProbePlan

LAG_S = {"water": 16.0, "grain": 150.0, "air": 90.0}
"""Time constants of a thermometer by what it stands in."""
SLOWER = {"temperature": 1.0, "humidity": 1.0, "co2": 0.6, "co": 0.6}
NOISE = {"temperature": 0.03, "humidity": 0.6, "co": 0.5, "pressure_difference": 0.4, "air_flow": 0.02}
STEP = {
    "temperature": 0.1,
    "humidity": 0.5,
    "co2": 10.0,
    "co": 1.0,
    "pressure_difference": 0.1,
    "air_flow": 0.01,
}
BIAS = {"temperature": 0.03, "humidity": 1.5, "co2": 20.0}
DRIFT_PER_DAY = {"temperature": 0.01, "humidity": 0.1, "co2": 2.0}
BATTERY_PER_DAY = 0.3
OUT_BEFORE_S = 240.0
BACK_AFTER_S = 300.0
"""A probe comes out this long before a turn passes its place, and goes back this long after."""


@dataclass(frozen=True)
class Sample:
    """What a probe says once: value in its own unit, and what its clock showed."""

    value: float
    clock_s: float
    sequence: int
    battery: float


class Probe:
    """One probe: `feel` moves it on, `sample` reads it."""

    def __init__(self, plan: ProbePlan, seed: int, now_s: float, clock_error_s: float | None = None) -> None:
        self.plan = plan
        rng = self._rng = Random(f"probe {seed} {plan.id}")
        quantity = plan.quantity
        self._felt: float | None = None
        self._bias = max(-2.0, min(2.0, rng.gauss(0.0, 1.0))) * BIAS.get(quantity, 0.0)
        self._drift_per_day = rng.gauss(0.0, 1.0) * DRIFT_PER_DAY.get(quantity, 0.0)
        self._began_s = now_s
        self._battery = rng.uniform(70.0, 100.0)
        own_error_s = rng.gauss(0.0, 1.0)
        self._clock_error_s = own_error_s if clock_error_s is None else clock_error_s
        self._clock_rate = rng.gauss(0.0, 10e-6)
        self._sequence = 0
        self._stuck_until_s = self._silent_until_s = -math.inf
        self._stuck_at = 0.0
        self.next_s = now_s + rng.uniform(0.0, plan.every_s)
        self.on_hook = False
        self.left_on_hook = False
        self.back_s: float | None = None
        """When it is put back after the turn that takes it out."""

    def feel(self, dt_s: float, true: float, medium: str) -> None:
        """Let `dt_s` pass in a medium ("grain", "air" or "water") whose true value is given."""
        if self._felt is None:
            self._felt = true
            return
        lag_s = LAG_S[medium] * SLOWER.get(self.plan.quantity, 0.3)
        self._felt += (true - self._felt) * (1.0 - math.exp(-dt_s / lag_s))

    def felt(self) -> float:
        """What the element itself is at, in our unit, before noise and rounding."""
        return self._felt if self._felt is not None else math.nan

    def hold_stuck(self, until_s: float) -> None:
        """Go on saying what it says now."""
        self._stuck_at, self._stuck_until_s = self.felt(), until_s

    def hold_silent(self, until_s: float) -> None:
        """Say nothing."""
        self._silent_until_s = until_s

    def sample(self, at_s: float) -> Sample | None:
        """Read the probe once at a true moment; None while it is silent or has felt nothing yet."""
        self._sequence += 1
        if at_s < self._silent_until_s or self._felt is None:
            return None
        days = (at_s - self._began_s) / 86_400.0
        value = self._stuck_at if at_s < self._stuck_until_s else self._wavering(self._felt, days)
        step = STEP[self.plan.quantity]
        gain, offset = self.plan.to_unit
        # The site's calibration is gain times value plus offset: the probe errs by its inverse.
        raw = (value * gain + offset - self.plan.offset) / self.plan.gain
        shown = round(raw / (step * gain)) * step * gain
        low, high = self.plan.ends
        clock_s = at_s + self._clock_error_s + self._clock_rate * (at_s - self._began_s)
        battery = max(0.0, self._battery - BATTERY_PER_DAY * days)
        return Sample(min(high, max(low, shown)), round(clock_s, 3), self._sequence, round(battery, 1))

    def _wavering(self, felt: float, days: float) -> float:
        noise = NOISE.get(self.plan.quantity, 0.005 * abs(felt) + 10.0)
        said = felt + self._bias + self._drift_per_day * days + self._rng.gauss(0.0, noise)
        if self.plan.quantity == "humidity":
            return min(100.0, max(0.0, said))
        return said if self.plan.quantity in ("temperature", "pressure_difference") else max(0.0, said)
