"""Where a probe hangs, and what is true there: grain, the air over it, a kiln, the open."""

from collections.abc import Iterable, Mapping

from simulators.air import DRY_AIR_KG_PER_M3
from simulators.bed import Bed
from simulators.floor import Floor
from simulators.kiln import Kiln
from simulators.plan import PlacePlan, ProbePlan
from simulators.weather import Weather

STEEP_WATER_C = 12.0


class Senses:
    """Looks up what is true at a probe's place now, in C, %RH, ppm, Pa or m3/s."""

    def __init__(
        self,
        beds: Mapping[str, Bed],
        kilns: Mapping[str, Kiln],
        floor_of: Mapping[str, Floor],
        weather: Weather,
        places: Iterable[PlacePlan],
    ) -> None:
        self._beds, self._kilns, self._floor_of = beds, kilns, floor_of
        self._weather = weather
        self._kind = {place.id: place.kind for place in places}

    def at_m(self, plan: ProbePlan) -> float:
        """Where along its bed a probe hangs; the middle if the site does not say."""
        bed = self._beds[plan.place]
        wanted = (bed.from_m + bed.to_m) / 2 if plan.at_m is None else plan.at_m
        return min(bed.to_m, max(bed.from_m, wanted))

    def in_grain(self, plan: ProbePlan) -> bool:
        """Whether a probe of a bed reaches its grain when it hangs in its place."""
        bed = self._beds.get(plan.place)
        return bed is not None and self._height_m(plan, bed) <= bed.lie.depth_m

    def true_of(self, plan: ProbePlan) -> float:
        """What is true at the probe's own place."""
        return self.felt_by(plan, False)[0]

    def felt_by(self, plan: ProbePlan, on_hook: bool) -> tuple[float, str]:
        """What is true where the probe is, and the medium it is in."""
        kind = self._kind[plan.place]
        if kind == "bed" and not on_hook and self.in_grain(plan):
            return self._in_bed(plan, self._beds[plan.place]), "grain"
        if kind == "kiln" and not on_hook:
            return self._in_kiln(plan, self._kilns[plan.place])
        if kind == "outdoors":
            return self._outdoors(plan.quantity), "air"
        if kind == "steep" and plan.quantity == "temperature":
            return STEEP_WATER_C, "water"
        return self._in_room(plan, self._floor_of[plan.place]), "air"

    def _height_m(self, plan: ProbePlan, bed: Bed) -> float:
        return bed.lie.depth_m / 2 if plan.height_m is None else plan.height_m

    def _in_bed(self, plan: ProbePlan, bed: Bed) -> float:
        if plan.quantity == "temperature":
            return bed.warm_at(self.at_m(plan), self._height_m(plan, bed))
        if plan.quantity == "co2":
            return bed.co2_ppm_at(self.at_m(plan), self._height_m(plan, bed))
        return 99.0 if plan.quantity == "humidity" else 0.0

    def _in_kiln(self, plan: ProbePlan, kiln: Kiln) -> tuple[float, str]:
        height_m = _kiln_height_m(plan, kiln)
        if plan.quantity == "temperature":
            return kiln.warm_at(height_m), "grain" if 0.0 < height_m <= kiln.depth_m else "air"
        if plan.quantity == "humidity":
            return 100.0 * (kiln.on_rh() if height_m <= 0.0 else kiln.off_rh_at_probe()), "air"
        by_quantity = {
            "co2": kiln.co2_ppm(self._weather.co2_ppm),
            "co": kiln.co_ppm(),
            "pressure_difference": 12.0 * kiln.draught,
            "air_flow": kiln.air_kg_s(self._weather.temperature_c) / DRY_AIR_KG_PER_M3,
        }
        return by_quantity[plan.quantity], "air"

    def _outdoors(self, quantity: str) -> float:
        by_quantity = {
            "temperature": self._weather.temperature_c,
            "humidity": 100.0 * self._weather.rh,
            "co2": self._weather.co2_ppm,
        }
        return by_quantity.get(quantity, 0.0)

    def _in_room(self, plan: ProbePlan, floor: Floor) -> float:
        if plan.quantity == "temperature":
            return floor.room.temperature_c
        if plan.quantity == "humidity":
            return 100.0 * floor.room.rh
        by_quantity = {"co2": floor.room.co2_ppm(), "co": floor.room.co_ppm()}
        return by_quantity.get(plan.quantity, 0.0)


def _kiln_height_m(plan: ProbePlan, kiln: Kiln) -> float:
    """Above the wire floor; without a height a humidity probe hangs in the air-off, others in the air-on."""
    if plan.height_m is not None:
        return plan.height_m
    over_load = plan.quantity == "humidity" or "off" in plan.id
    return kiln.depth_m + 0.1 if over_load else 0.0
