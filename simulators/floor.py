"""One floor: the room's air, the slab, and the beds that lie there, stepped together."""

from dataclasses import dataclass, field

from simulators.bed import Bed, Surroundings
from simulators.room import Room
from simulators.weather import Weather

FRESH_M3_H_T = 200.0
"""Air let in as usual, m3 per hour and tonne of barley lying there (grade D: with 70 a shut floor
settles at 5,000 ppm, with 297 at 1,500)."""
WALLS_W_M3_K = 3.0
SLAB_LAG_H = 48.0


@dataclass
class Floor:
    """A floor with its beds by id. `surroundings` is what the beds feel."""

    id: str
    room: Room
    beds: dict[str, Bed] = field(default_factory=dict)
    slab_c: float = 12.5

    def settle(self, barley_t: float) -> None:
        """Set the usual airing for the load lying there."""
        fresh_m3_h = FRESH_M3_H_T * max(1.0, barley_t)
        self.room.changes_per_h = min(20.0, fresh_m3_h / self.room.volume_m3)
        self.room.wet_per_h = self.room.wet_per_h if barley_t else 0.0
        self.room.watts_per_k = fresh_m3_h * 0.34 + WALLS_W_M3_K * self.room.volume_m3

    def surroundings(self) -> Surroundings:
        """What lies around every bed of this floor now."""
        room = self.room
        return Surroundings(room.temperature_c, room.enthalpy_j_per_kg(), room.co2_kg_m3(), self.slab_c)

    def walk(self, since_s: float, now_s: float) -> None:
        """Turn what is being turned; the CO2 let out goes into the room."""
        around = self.surroundings()
        for bed in self.beds.values():
            let_out_kg = bed.walk(since_s, now_s, around)
            self.room.given_kg += let_out_kg
            self.room.co2_kg += let_out_kg

    def step(self, dt_s: float, weather: Weather, fumes_m3: float = 0.0) -> None:
        """Let `dt_s` pass for the beds, the slab and the air, with CO that came from a furnace."""
        around = self.surroundings()
        co2_kg = joules = 0.0
        for bed in self.beds.values():
            before_j = bed.heat.to_room
            co2_kg += bed.step(dt_s, around)
            joules += bed.heat.to_room - before_j
        self.slab_c += (self.room.temperature_c - self.slab_c) * dt_s / 3600.0 / SLAB_LAG_H
        outdoor_c, ppm = weather.temperature_c, weather.co2_ppm
        self.room.step(dt_s, co2_kg, joules / dt_s, outdoor_c, ppm, weather.rh, fumes_m3)
