"""A natural-draught kiln: a furnace that follows its programme, a load that dries, and what can go wrong.

The load is `simulators.load`'s: layers, evaporative cooling, a front that dries upward. The furnace lags
behind its programme, goes out, is damped, or runs wild. The draught is the warm shaft's own, so it falls
with the fire; lost with the fire burning, fumes come back into the maltings. A fire in the load heats on
without the furnace and gives CO.

The true kiln break is when the drying front reaches the top: the moment the air that leaves the top layer
is no longer near saturation, under 85 %RH, and stays so for ten minutes. Turning the load brings wet grain
up: the break is lost when that air is over 92 %RH for ten minutes, and comes again.

The programme is common practice, no source; airflow grade D; furnace, fumes and fire are ours, to try things
out on: no measured kiln, and nothing to set an instrument by. Water and heat balance: see the ledger.
"""

import math
from dataclasses import dataclass, field

from simulators.air import humidity_ratio, relative_humidity, wet_bulb_c
from simulators.load import Load, fresh_air_kg_s

PROGRAMME = ((0.0, 45.0), (20.0, 45.0), (34.0, 55.0), (44.0, 60.0), (48.0, 60.0))
"""(hours since lighting, air-on C): 45 to 60 C over two days; common practice, no source."""
BREAK_RH, LOST_RH = 0.85, 0.92
SURE_S = 600.0
WETS_RH, STUCK_RH = 0.97, 0.99
FILM_S = 3600.0
"""How long the water settled on a probe over the load takes to dry at `BREAK_RH`; ours."""
WILD_K = 22.0
TURN_S = 2400.0
FUMES_M3_H_T = 0.02
"""CO of a lit furnace without draught, m3 per hour and tonne; ours."""
SHAFT_K = 24.0
"""Mean excess of the shaft at which `air_m3_h_t` flows."""


@dataclass
class Kiln:
    """One kiln, lit at some time before or after the start."""

    barley_t: float = 8.0
    depth_m: float = 0.5
    lit_h: float = 0.0
    """Hours since the fire was lit; relighting does not set it back."""
    programme: tuple[tuple[float, float], ...] = PROGRAMME
    air_m3_h_t: float = 2000.0
    natural: bool = True
    """Whether the flow follows the shaft's warmth; without, it is as told."""
    fire_lag_s: float = 1200.0
    draught: float = 1.0
    fire: float = 1.0
    """1 as the programme wants, 0 damped right down."""
    fuel: bool = True
    """False when the fire is out, whatever was wanted of it."""
    wild: bool = False
    burning_kg_s: float = 0.0
    """Stuff of the load or under its floor that burns, kg/s; 0 without a fire in the kiln."""
    air_on_c: float = 10.0
    plateau_c: float = 10.0
    inlet_ratio: float = 0.006
    broke: bool = False
    broke_lit_h: float | None = None
    turn_left_s: float = 0.0
    load: Load = field(init=False)
    water_kg: float = field(init=False)
    """Water to be removed at loading: from 44 % to 5 % wet basis."""
    film_s: float = 0.0
    _other_s: float = 0.0

    def __post_init__(self) -> None:
        self.load = Load(self.barley_t, self.depth_m)
        self.water_kg = self.load.began_kg - self.load.dry_kg() * 0.05 / 0.95

    @property
    def removed_kg(self) -> float:
        """Water that the air has carried off since loading."""
        return self.load.ledger.carried_kg

    @property
    def water_left_kg(self) -> float:
        """Water still to go to 5 % wet basis of what was loaded; what the grain's breath makes counts."""
        return self.water_kg + self.load.ledger.made_kg - self.removed_kg

    def wanted_c(self) -> float:
        """Air-on by the programme at this hour."""
        for (h0, c0), (h1, c1) in zip(self.programme, self.programme[1:], strict=False):
            if self.lit_h < h1:
                return c0 + (c1 - c0) * max(0.0, self.lit_h - h0) / (h1 - h0)
        return self.programme[-1][1]

    def lit(self) -> bool:
        """Whether the furnace burns."""
        return self.fuel and 0.0 <= self.lit_h <= self.programme[-1][0]

    def light(self) -> None:
        """Light the fire; a fire that was lit before goes on in its programme."""
        self.lit_h = max(0.0, self.lit_h)
        self.fuel, self.wild, self.fire = True, False, 1.0

    def begin(self, lit_h: float, outdoor_c: float, outdoor_rh: float) -> None:
        """Set the kiln as it is `lit_h` hours into its programme."""
        self.air_on_c = outdoor_c
        for _ in range(int(max(0.0, lit_h) * 30)):
            self.step(120.0, outdoor_c, outdoor_rh)
        self.lit_h = lit_h

    def step(self, dt_s: float, outdoor_c: float, outdoor_rh: float) -> bool:
        """Let `dt_s` pass; True at the moment the break is sure (it began `SURE_S` before)."""
        heat = (self.fire * (self.wanted_c() - outdoor_c) + self.wild * WILD_K) if self.lit() else 0.0
        if self.burning_kg_s:
            self.burning_kg_s = min(0.01 * self.barley_t, self.burning_kg_s * math.exp(dt_s / 1200.0))
            heat += min(90.0, 15e6 * self.burning_kg_s / (1006.0 * max(0.05, self.air_kg_s(outdoor_c))))
        self.air_on_c += (outdoor_c + heat - self.air_on_c) * (1.0 - math.exp(-dt_s / self.fire_lag_s))
        self.lit_h += dt_s / 3600.0
        self.inlet_ratio = humidity_ratio(outdoor_c, outdoor_rh)
        self.plateau_c = wet_bulb_c(self.air_on_c, self.inlet_ratio)
        self.load.step(dt_s, self.air_kg_s(outdoor_c), self.air_on_c, self.inlet_ratio, outdoor_c)
        if self.turn_left_s > 0.0:
            self.load.mix(min(1.0, 2.5 * dt_s / TURN_S))
            self.turn_left_s -= dt_s
        return self._judge(dt_s, outdoor_c)

    def air_kg_s(self, outdoor_c: float) -> float:
        """kg of dry air per second through the load."""
        warmth = 0.5 * (self.air_on_c + self.load.off_c) - outdoor_c
        shaft = min(1.15, max(0.15, math.sqrt(max(0.0, warmth) / SHAFT_K))) if self.natural else 1.0
        return fresh_air_kg_s(self.air_m3_h_t * self.barley_t * self.draught * shaft)

    def warm_at(self, height_m: float) -> float:
        """Temperature at a height above the wire floor; at or under it air-on, over the load air-off."""
        if height_m <= 0.0:
            return self.air_on_c
        return self.load.off_c if height_m > self.depth_m else self.load.warm_at(height_m)

    def off_ratio(self) -> float:
        """kg of water per kg of dry air leaving the load."""
        return self.load.off_ratio

    def off_rh(self) -> float:
        """Relative humidity of the air-off, 0 to 1."""
        return relative_humidity(self.load.off_c, self.load.off_ratio)

    def off_rh_at_probe(self) -> float:
        """What a humidity probe over the load stands in, 0 to 1: settled water holds it high for a while."""
        return max(STUCK_RH, self.off_rh()) if self.film_s else self.off_rh()

    def on_rh(self) -> float:
        """Relative humidity of the air-on, 0 to 1."""
        return relative_humidity(self.air_on_c, self.inlet_ratio)

    def fumes_m3_s(self) -> float:
        """CO that the furnace sends back into the maltings, m3/s: burning without draught."""
        burns = max(self.fire, 0.2) if self.lit() else 0.0
        return burns * max(0.0, 1.0 - self.draught / 0.2) * FUMES_M3_H_T * self.barley_t / 3600.0

    def co_ppm(self) -> float:
        """CO in the kiln, ppm: a little of a good fire, more of a choked one, much of a burning load."""
        choked = max(0.0, 1.0 - self.draught / 0.4) + max(0.0, 0.6 - self.fire) * 0.3
        furnace = 4.0 * max(self.fire, 0.2) + 150.0 * choked if self.lit() else 0.0
        return furnace + min(10_000.0, 4e5 * self.burning_kg_s / self.barley_t)

    def co2_ppm(self, outdoor_ppm: float) -> float:
        """CO2 in the kiln, ppm: a direct fire's, the breathing load's, a burning load's."""
        furnace = 1500.0 * max(self.fire, 0.2) if self.lit() else 0.0
        return outdoor_ppm + furnace + min(50_000.0, 2e6 * self.burning_kg_s / self.barley_t)

    def _judge(self, dt_s: float, outdoor_c: float) -> bool:
        """Follow the break; True when it is newly sure."""
        rh = self.off_rh()
        dries_s = dt_s * (1.0 - rh) / (1.0 - BREAK_RH)
        self.film_s = FILM_S if rh > WETS_RH else max(0.0, self.film_s - dries_s)
        flows = self.air_kg_s(outdoor_c) > 0.02 * fresh_air_kg_s(self.air_m3_h_t * self.barley_t)
        other = flows and (rh > LOST_RH if self.broke else rh < BREAK_RH and self.air_on_c > outdoor_c + 5.0)
        self._other_s = self._other_s + dt_s if other else 0.0
        if self._other_s < SURE_S:
            return False
        self._other_s = 0.0
        self.broke = not self.broke
        self.broke_lit_h = self.lit_h - SURE_S / 3600.0 if self.broke else None
        return self.broke
