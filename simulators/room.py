"""The air over a floor: it gathers CO2, CO and water, breathes, and follows the outdoors.

Fully mixed. Air is let in as usual through shutters, through an open door and by a fan; people breathe in it.
Each gas conserves: what was there and was given is what was carried out, was condensed and is there now.
Airings, walls and the wet floor's giving are ours (grade D); a person's 0.03 m3/h of CO2 and 0.1 kg/h of
water are of somebody at light work, from memory (grade C).
"""

import math
from dataclasses import dataclass

from simulators.air import (
    DRY_AIR_KG_PER_M3,
    co2_kg_per_m3,
    co2_ppm,
    enthalpy_j_per_kg,
    humidity_ratio,
    relative_humidity,
)

PERSON_CO2_M3_H = 0.03
PERSON_WATER_KG_H = 0.1
PERSON_W = 150.0
WET_RH = 0.9
"""Wet grain and a wet floor give water to the air up to about this, quickly."""


@dataclass
class Room:
    """One floor's air. `shutters` scales its air changes: 1 as usual, 0 shut, more is wide open."""

    volume_m3: float
    changes_per_h: float = 0.5
    lag_h: float = 8.0
    watts_per_k: float = 8000.0
    """Heat the walls and the air let out per K above the outdoors."""
    shutters: float = 1.0
    door_open: bool = False
    door_m3_h: float = 600.0
    fan_on: bool = False
    fan_m3_h: float = 3000.0
    people: float = 0.0
    wet_per_h: float = 12.0
    """How fast wet surfaces bring the air to `WET_RH`, shares of the lack per hour."""
    temperature_c: float = 13.0
    co2_kg: float = 0.0
    given_kg: float = 0.0
    breathed_kg: float = 0.0
    began_kg: float = 0.0
    co_m3: float = 0.0
    co_given_m3: float = 0.0
    co_out_m3: float = 0.0
    water_kg: float = -1.0
    water_given_kg: float = 0.0
    water_out_kg: float = 0.0
    condensed_kg: float = 0.0
    water_began_kg: float = 0.0

    def __post_init__(self) -> None:
        if self.water_kg < 0.0:
            self._wet(0.82)

    def begin(self, temperature_c: float, ppm: float, rh: float = 0.82) -> None:
        """Set the air before the first step."""
        self.temperature_c = temperature_c
        self.co2_kg = self.began_kg = co2_kg_per_m3(ppm, temperature_c) * self.volume_m3
        self._wet(rh)

    def step(
        self,
        dt_s: float,
        co2_in_kg: float,
        heat_w: float,
        outdoor_c: float,
        outdoor_ppm: float,
        outdoor_rh: float = 0.8,
        co_in_m3: float = 0.0,
    ) -> None:
        """Let `dt_s` pass with CO2, heat and CO from the load and the furnace, and the weather."""
        kept = math.exp(-self.air_m3_h() / self.volume_m3 / 3600.0 * dt_s)
        self._gases(dt_s, kept, co2_in_kg, co_in_m3, outdoor_ppm)
        heat_w += self.people * PERSON_W
        aired = max(self.shutters, self.air_m3_h() / max(1e-9, self.changes_per_h * self.volume_m3))
        aim_c = outdoor_c + min(8.0, heat_w / self.watts_per_k) / max(1.0, math.sqrt(aired))
        rate = (0.5 + 0.5 * aired) / self.lag_h / 3600.0
        self.temperature_c += (aim_c - self.temperature_c) * (1.0 - math.exp(-rate * dt_s))
        self._water(dt_s, kept, humidity_ratio(outdoor_c, outdoor_rh))

    def air_m3_h(self) -> float:
        """Outdoor air coming in: as usual, by the door, by the fan."""
        usual = self.changes_per_h * self.volume_m3 * self.shutters
        return usual + self.door_open * self.door_m3_h + self.fan_on * self.fan_m3_h

    @property
    def rh(self) -> float:
        """Relative humidity, 0 to 1."""
        return relative_humidity(self.temperature_c, self.water_kg / self._dry_kg())

    def co2_ppm(self) -> float:
        """Share of CO2 in the room, ppm by volume."""
        return co2_ppm(self.co2_kg_m3(), self.temperature_c)

    def co2_kg_m3(self) -> float:
        """kg of CO2 per m3 of room air."""
        return self.co2_kg / self.volume_m3

    def co_ppm(self) -> float:
        """Share of CO in the room, ppm by volume."""
        return 1e6 * self.co_m3 / self.volume_m3

    def enthalpy_j_per_kg(self) -> float:
        """Enthalpy of the room's air, J per kg of dry air."""
        return enthalpy_j_per_kg(self.temperature_c, humidity_ratio(self.temperature_c, self.rh))

    def co2_gap_kg(self) -> float:
        """What the room's CO2 ledger cannot account for."""
        return self.began_kg + self.given_kg - self.breathed_kg - self.co2_kg

    def co_gap_m3(self) -> float:
        """What the room's CO ledger cannot account for."""
        return self.co_given_m3 - self.co_out_m3 - self.co_m3

    def water_gap_kg(self) -> float:
        """What the room's water ledger cannot account for."""
        given = self.water_began_kg + self.water_given_kg
        return given - self.water_out_kg - self.condensed_kg - self.water_kg

    def _dry_kg(self) -> float:
        return self.volume_m3 * DRY_AIR_KG_PER_M3

    def _wet(self, rh: float) -> None:
        self.water_kg = self.water_began_kg = humidity_ratio(self.temperature_c, rh) * self._dry_kg()

    def _gases(self, dt_s: float, kept: float, co2_in_kg: float, co_in_m3: float, outdoor_ppm: float) -> None:
        outside_kg = co2_kg_per_m3(outdoor_ppm, self.temperature_c) * self.volume_m3
        person_m3 = self.people * PERSON_CO2_M3_H * dt_s / 3600.0
        given_kg = co2_in_kg + person_m3 * co2_kg_per_m3(1e6, self.temperature_c)
        self.given_kg += given_kg
        before_kg = self.co2_kg + given_kg
        self.co2_kg = outside_kg + (before_kg - outside_kg) * kept
        self.breathed_kg += before_kg - self.co2_kg
        self.co_given_m3 += co_in_m3
        before_m3 = self.co_m3 + co_in_m3
        self.co_m3 = before_m3 * kept
        self.co_out_m3 += before_m3 - self.co_m3

    def _water(self, dt_s: float, kept: float, outdoor_ratio: float) -> None:
        """Water that comes in, is given by people and what is wet, goes out, and condenses."""
        outside_kg = outdoor_ratio * self._dry_kg()
        lack_kg = humidity_ratio(self.temperature_c, WET_RH) * self._dry_kg() - self.water_kg
        wet_kg = max(0.0, lack_kg) * (1.0 - math.exp(-self.wet_per_h * dt_s / 3600.0))
        given_kg = wet_kg + self.people * PERSON_WATER_KG_H * dt_s / 3600.0
        self.water_given_kg += given_kg
        before_kg = self.water_kg + given_kg
        self.water_kg = outside_kg + (before_kg - outside_kg) * kept
        self.water_out_kg += before_kg - self.water_kg
        most_kg = humidity_ratio(self.temperature_c, 1.0) * self._dry_kg()
        if self.water_kg > most_kg:
            self.condensed_kg += self.water_kg - most_kg
            self.water_kg = most_kg
