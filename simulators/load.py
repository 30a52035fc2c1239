"""A load of green malt on a kiln's floor: layers that air passes from below, drying and warming them.

A fixed deep bed with quasi-steady air. In each step and layer, from the floor upward, the air leaves as
warm as the grain, and heat and water balance together: what the grain loses the air carries, and the heat
that takes is the air's and the grain's. How fast water leaves is the thin-layer law of Lewis, towards the
equilibrium moisture of Modified Henderson; near saturation the air takes less, above it water condenses.
Wet living grain breathes, and so a load without draught warms by itself; what is too hot while wet dies.

Psychrometrics: ASHRAE Fundamentals 2017, ch. 1. Barley's constants are from memory: O'Callaghan et al.
1971 (k), ASAE D245 (equilibrium). Specific heats, breathing and dying: grade C or ours; not a measured kiln.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, field

from simulators.air import DRY_AIR_KG_PER_M3, PRESSURE_PA, saturation_pa

LATENT_J_KG = 2_501_000.0
WATER_J_KG_K = 4186.0
AIR_J_KG_K = 1006.0
VAPOUR_J_KG_K = 1860.0
VAPOUR_GAS_J_KG_K = 461.5
NEAR_RH = 0.97
"""From here to saturation the drying falls to nothing: wet grain and full air exchange no more."""
CO2_J_KG = 10.65e6
WATER_PER_CO2 = 0.556 / 1.629
STARCH_PER_CO2 = 1.0 / 1.629
"""kg of water formed, and of starch lost, per kg of CO2 (C6H10O5)."""


@dataclass(frozen=True)
class Malt:
    """How this malt takes heat and gives water: defaults are grade C unless said."""

    dry_j_kg_k: float = 1550.0
    k_per_s: float = 139.3
    k_kelvin: float = 4426.0
    henderson_k: float = 2.2919e-5
    henderson_n: float = 2.0123
    henderson_c: float = 195.267
    breath_mg_kg_h: float = 600.0
    """CO2 per kg of dry matter and hour at 16 C, wet (mean of five days is 679; it eases at the end)."""
    q10: float = 2.0
    conductivity_w_mk: float = 0.2
    bed_m3_per_t: float = 2.3
    dry_kg_per_t: float = 836.0

    def equilibrium_db(self, temperature_c: float, rh: float) -> float:
        """Equilibrium moisture, kg of water per kg of dry matter (Modified Henderson)."""
        drive = -math.log(1.0 - rh) / (self.henderson_k * (temperature_c + self.henderson_c))
        return 0.01 * math.pow(drive, 1.0 / self.henderson_n)

    def binding_j_kg(self, temperature_c: float, moisture_db: float) -> float:
        """Heat to free a kg of the grain's water beyond that of plain water (Clausius-Clapeyron on it)."""
        bound = self.henderson_k * math.pow(100.0 * moisture_db, self.henderson_n)
        x = bound * (temperature_c + self.henderson_c)
        if x > 30.0 or x <= 0.0:
            return 0.0
        kelvin = temperature_c + 273.15
        return VAPOUR_GAS_J_KG_K * kelvin * kelvin * bound / math.expm1(x)

    def breath_kg_s(self, temperature_c: float, moisture_db: float) -> float:
        """kg of CO2 per kg of living dry matter and second."""
        wet = min(1.0, max(0.0, (moisture_db - 0.16) / 0.24))
        warmth: float = self.q10 ** ((min(temperature_c, 38.0) - 16.0) / 10.0)
        failing = max(0.0, 1.0 - max(0.0, temperature_c - 38.0) / 20.0)
        return self.breath_mg_kg_h * 1e-6 / 3600.0 * wet * warmth * failing

    def dying_per_h(self, temperature_c: float, moisture_db: float) -> float:
        """Share of the living grain that dies per hour: hot and wet; ours."""
        heat: float = 2.0 ** ((min(temperature_c, 80.0) - 50.0) / 3.0)
        return min(10.0, 0.2 * min(1.0, moisture_db / 0.4) * heat)


@dataclass
class Layer:
    """One layer; water and heat follow from its dry matter, moisture and temperature."""

    dry_kg: float
    moisture_db: float
    warm_c: float
    alive: float = 1.0


@dataclass
class Ledger:
    """Where water (kg), CO2 (kg) and heat (J) came from and went since loading."""

    carried_kg: float = 0.0
    made_kg: float = 0.0
    co2_kg: float = 0.0
    starch_kg: float = 0.0
    brought_j: float = 0.0
    made_j: float = 0.0
    freed_j: float = 0.0
    lost_j: float = 0.0


@dataclass
class Load:
    """Layers from the floor upward, and the air that leaves the top of them."""

    barley_t: float = 1.0
    depth_m: float = 0.5
    moisture_wb: float = 0.44
    warm_c: float = 16.0
    count: int = 15
    malt: Malt = field(default_factory=Malt)
    layers: list[Layer] = field(init=False)
    ledger: Ledger = field(default_factory=Ledger)
    off_c: float = field(init=False)
    off_ratio: float = 0.0
    began_kg: float = field(init=False)
    began_j: float = field(init=False)
    area_m2: float = field(init=False)

    def __post_init__(self) -> None:
        each_kg = self.barley_t * self.malt.dry_kg_per_t / self.count
        moisture = self.moisture_wb / (1.0 - self.moisture_wb)
        self.layers = [Layer(each_kg, moisture, self.warm_c) for _ in range(self.count)]
        self.off_c = self.warm_c
        self.area_m2 = self.barley_t * self.malt.bed_m3_per_t / self.depth_m
        self.began_kg, self.began_j = self.water_kg(), self.heat_j()

    def water_kg(self) -> float:
        """Water in the grain now."""
        return sum(layer.dry_kg * layer.moisture_db for layer in self.layers)

    def dry_kg(self) -> float:
        """Dry matter now."""
        return sum(layer.dry_kg for layer in self.layers)

    def heat_j(self) -> float:
        """Heat in the grain and its water above 0 C."""
        return sum(self._heat_j_k(layer) * layer.warm_c for layer in self.layers)

    def moisture_wb_mean(self) -> float:
        """Moisture of the whole load, share of its weight."""
        return self.water_kg() / (self.water_kg() + self.dry_kg())

    def water_gap_kg(self) -> float:
        """What the water ledger cannot account for."""
        return self.began_kg + self.ledger.made_kg - self.ledger.carried_kg - self.water_kg()

    def heat_gap_j(self) -> float:
        """What the heat ledger cannot account for."""
        book = self.ledger
        return self.began_j + book.brought_j + book.made_j - book.freed_j - book.lost_j - self.heat_j()

    def warm_at(self, height_m: float) -> float:
        """Temperature in the grain at a height above the floor."""
        place = min(max(height_m / self.depth_m * self.count - 0.5, 0.0), self.count - 1.0)
        i = min(int(place), self.count - 2)
        low, high = self.layers[i].warm_c, self.layers[i + 1].warm_c
        return low + (place - i) * (high - low)

    def step(self, dt_s: float, air_kg_s: float, on_c: float, on_ratio: float, around_c: float) -> None:
        """Let `dt_s` pass with dry air from below at a temperature and kg of water per kg."""
        air_kg = air_kg_s * dt_s
        warm_c, ratio = on_c, on_ratio
        self._conduct(dt_s, around_c)
        for layer in self.layers:
            made_j = self._breathe(layer, dt_s)
            if air_kg / layer.dry_kg < 1e-6 * dt_s:
                layer.warm_c += made_j / self._heat_j_k(layer)
                warm_c = layer.warm_c
                continue
            gone_kg = self._dry(layer, dt_s, air_kg, warm_c, ratio, made_j)
            ratio += gone_kg / air_kg
            warm_c = layer.warm_c
            self.ledger.carried_kg += gone_kg
        if air_kg / self.layers[0].dry_kg >= 1e-6 * dt_s:
            self.ledger.brought_j += air_kg * (_enthalpy(on_c, on_ratio) - _enthalpy(warm_c, ratio))
            self.off_ratio = ratio
        self.off_c = warm_c

    def mix(self, share: float) -> None:
        """Turn the load: every layer goes a share of the way to the mean of all. Keeps water and heat."""
        dry_kg, water_kg, heat_j = self.dry_kg(), self.water_kg(), self.heat_j()
        moisture, alive = water_kg / dry_kg, sum(layer.alive for layer in self.layers) / self.count
        each_j = heat_j / dry_kg
        for layer in self.layers:
            own_j = self._heat_j_k(layer) * layer.warm_c / layer.dry_kg
            layer.moisture_db += share * (moisture - layer.moisture_db)
            layer.alive += share * (alive - layer.alive)
            now_j = own_j + share * (each_j - own_j)
            layer.warm_c = now_j * layer.dry_kg / self._heat_j_k(layer)

    def _heat_j_k(self, layer: Layer) -> float:
        return layer.dry_kg * (self.malt.dry_j_kg_k + WATER_J_KG_K * layer.moisture_db)

    def _conduct(self, dt_s: float, around_c: float) -> None:
        """Heat between neighbours, and from the top to what is above it."""
        g = self.malt.conductivity_w_mk * self.area_m2 / (self.depth_m / self.count) * dt_s
        flows = [g * (a.warm_c - b.warm_c) for a, b in zip(self.layers, self.layers[1:], strict=False)]
        lost_j = self.area_m2 * dt_s * (self.layers[-1].warm_c - around_c)
        self.ledger.lost_j += lost_j
        for layer, came_j, went_j in zip(self.layers, [0.0, *flows], [*flows, lost_j], strict=True):
            layer.warm_c += (came_j - went_j) / self._heat_j_k(layer)

    def _breathe(self, layer: Layer, dt_s: float) -> float:
        """Turn starch into CO2, water and heat; the heat above 0 C that it leaves, beyond the grain's own."""
        malt, heat_j = self.malt, self._heat_j_k(layer) * layer.warm_c
        co2_kg = layer.dry_kg * layer.alive * malt.breath_kg_s(layer.warm_c, layer.moisture_db) * dt_s
        layer.alive *= math.exp(-malt.dying_per_h(layer.warm_c, layer.moisture_db) * dt_s / 3600.0)
        water_kg = layer.dry_kg * layer.moisture_db + co2_kg * WATER_PER_CO2
        layer.dry_kg -= co2_kg * STARCH_PER_CO2
        layer.moisture_db = water_kg / layer.dry_kg
        book = self.ledger
        book.made_kg += co2_kg * WATER_PER_CO2
        book.co2_kg += co2_kg
        book.starch_kg += co2_kg * STARCH_PER_CO2
        book.made_j += co2_kg * CO2_J_KG
        return co2_kg * CO2_J_KG + heat_j - self._heat_j_k(layer) * layer.warm_c

    def _dry(
        self, layer: Layer, dt_s: float, air_kg: float, in_c: float, in_ratio: float, made_j: float
    ) -> float:
        """Find the water that leaves a layer in a step and set what is left; kg, below 0 if it condenses."""
        malt, dry_kg, was = self.malt, layer.dry_kg, layer.moisture_db
        binding = malt.binding_j_kg(layer.warm_c, was)
        k = malt.k_per_s * math.exp(-malt.k_kelvin / (layer.warm_c + 273.15))
        share = 1.0 - math.exp(-k * dt_s)
        base_j = self._heat_j_k(layer) * layer.warm_c + made_j + air_kg * _enthalpy(in_c, in_ratio)
        own_j_k = self._heat_j_k(layer) + air_kg * (AIR_J_KG_K + VAPOUR_J_KG_K * in_ratio)
        base_j -= LATENT_J_KG * air_kg * in_ratio
        slope_j_k = VAPOUR_J_KG_K - WATER_J_KG_K

        def after_c(gone_kg: float) -> float:
            return (base_j - gone_kg * (LATENT_J_KG + binding)) / (own_j_k + slope_j_k * gone_kg)

        def excess(gone_kg: float) -> float:
            """How much more would leave by the law than is thought to: falls as more is thought to."""
            c = after_c(gone_kg)
            out = in_ratio + gone_kg / air_kg
            rh = PRESSURE_PA * out / (0.621945 + out) / saturation_pa(max(c, -80.0))
            return dry_kg * share * _drive(malt, was, c, rh) - gone_kg

        low = max(-in_ratio * air_kg * 0.999, -0.05 * dry_kg)
        gone_kg = _root(excess, low, dry_kg * was * share, 1e-7 * dry_kg)
        layer.moisture_db = was - gone_kg / dry_kg
        layer.warm_c = after_c(gone_kg)
        self.ledger.freed_j += gone_kg * binding
        return gone_kg


def fresh_air_kg_s(m3_h: float) -> float:
    """kg of dry air per second of so many m3 per hour at about 10 C."""
    return m3_h * DRY_AIR_KG_PER_M3 / 3600.0


def _enthalpy(temperature_c: float, ratio: float) -> float:
    return AIR_J_KG_K * temperature_c + ratio * (LATENT_J_KG + VAPOUR_J_KG_K * temperature_c)


def _drive(malt: Malt, moisture_db: float, temperature_c: float, rh: float) -> float:
    """Moisture still to lose towards this air; below 0 the grain gains."""
    if rh <= NEAR_RH:
        return moisture_db - malt.equilibrium_db(temperature_c, max(0.0, rh))
    free = moisture_db - malt.equilibrium_db(temperature_c, NEAR_RH)
    full = (rh - NEAR_RH) / (1.0 - NEAR_RH)
    return free - full * max(free, 0.1) - 20.0 * max(0.0, rh - 1.0)


def _root(falling: Callable[[float], float], low: float, high: float, close: float) -> float:
    """Where a falling function passes nought between two ends (regula falsi, Illinois' way)."""
    at_low, at_high = falling(low), falling(high)
    if at_low <= 0.0:
        return low
    if at_high >= 0.0:
        return high
    side = 0
    middle = low
    for _ in range(40):
        before, middle = middle, (low * at_high - high * at_low) / (at_high - at_low)
        if abs(middle - before) < close:
            break
        at_middle = falling(middle)
        if at_middle > 0.0:
            low, at_low = middle, at_middle
            at_high = at_high / 2.0 if side == 1 else at_high
            side = 1
        else:
            high, at_high = middle, at_middle
            at_low = at_low / 2.0 if side == -1 else at_low
            side = -1
    return middle
