"""The air over a floor: it gathers CO2 from what lies there, breathes, and follows the outdoors.

Fully mixed. CO2 conserves: what the beds gave, what was breathed out and what is there balance.
"""

import math
from dataclasses import dataclass

from simulators.air import co2_kg_per_m3, co2_ppm, enthalpy_j_per_kg, humidity_ratio


@dataclass
class Room:
    """One floor's air. `shutters` scales its air changes: 1 as usual, 0 shut, more is wide open."""

    volume_m3: float
    changes_per_h: float = 0.5
    lag_h: float = 8.0
    watts_per_k: float = 8000.0
    """Heat the walls and the air let out per K above the outdoors."""
    shutters: float = 1.0
    temperature_c: float = 13.0
    rh: float = 0.82
    co2_kg: float = 0.0
    given_kg: float = 0.0
    breathed_kg: float = 0.0
    began_kg: float = 0.0

    def begin(self, temperature_c: float, ppm: float) -> None:
        """Set the air before the first step."""
        self.temperature_c = temperature_c
        self.co2_kg = self.began_kg = co2_kg_per_m3(ppm, temperature_c) * self.volume_m3

    def step(
        self, dt_s: float, co2_in_kg: float, heat_w: float, outdoor_c: float, outdoor_ppm: float
    ) -> None:
        """Let `dt_s` pass with CO2 and heat from the load, and the weather."""
        changes = self.changes_per_h * self.shutters / 3600.0 * dt_s
        outside_kg = co2_kg_per_m3(outdoor_ppm, self.temperature_c) * self.volume_m3
        self.given_kg += co2_in_kg
        before_kg = self.co2_kg + co2_in_kg
        self.co2_kg = outside_kg + (before_kg - outside_kg) * math.exp(-changes)
        self.breathed_kg += before_kg - self.co2_kg
        aim_c = outdoor_c + min(8.0, heat_w / self.watts_per_k) / max(1.0, math.sqrt(self.shutters))
        rate = (0.5 + 0.5 * self.shutters) / self.lag_h / 3600.0
        self.temperature_c += (aim_c - self.temperature_c) * (1.0 - math.exp(-rate * dt_s))
        self.rh = min(0.98, max(0.5, 0.82 - 0.03 * (self.shutters - 1.0)))

    def co2_ppm(self) -> float:
        """Share of CO2 in the room, ppm by volume."""
        return co2_ppm(self.co2_kg_m3(), self.temperature_c)

    def co2_kg_m3(self) -> float:
        """kg of CO2 per m3 of room air."""
        return self.co2_kg / self.volume_m3

    def enthalpy_j_per_kg(self) -> float:
        """Enthalpy of the room's air, J per kg of dry air."""
        return enthalpy_j_per_kg(self.temperature_c, humidity_ratio(self.temperature_c, self.rh))

    def co2_gap_kg(self) -> float:
        """What the room's CO2 ledger cannot account for."""
        return self.began_kg + self.given_kg - self.breathed_kg - self.co2_kg
