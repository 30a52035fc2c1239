"""A natural-draught kiln: a fire that follows its programme, and a front that dries upward.

Air is heated by the fire, leaves along the line of constant wet bulb, and gives the heat to water.
Below the front the load is nearly dry and as warm as the air-on; above it, it is wet and as cool
as the wet bulb. When the front nears the top the air-off leaves its plateau: the kiln break.
The programme is common practice, no source; airflow is natural draught's (grade D).
Water conserves: what was loaded is what the air carried off and what is still there.
"""

import math
from dataclasses import dataclass, field

from simulators.air import enthalpy_j_per_kg, humidity_ratio, relative_humidity, wet_bulb_c

PROGRAMME = ((0.0, 45.0), (20.0, 45.0), (34.0, 55.0), (44.0, 60.0), (48.0, 60.0))
"""(hours since lighting, air-on C): 45 to 60 C over two days; common practice, no source."""


@dataclass
class Kiln:
    """One kiln, lit at some time before or after the start."""

    barley_t: float = 8.0
    depth_m: float = 0.4
    lit_h: float = 0.0
    """Hours since the fire was lit."""
    programme: tuple[tuple[float, float], ...] = PROGRAMME
    air_m3_h_t: float = 2000.0
    fire_lag_s: float = 1200.0
    front_share: float = 0.06
    """Half-thickness of the drying front, as a share of the depth."""
    draught: float = 1.0
    fire: float = 1.0
    """1 as the programme wants, 0 damped right down."""
    air_on_c: float = 10.0
    plateau_c: float = 10.0
    inlet_ratio: float = 0.006
    broke: bool = False
    removed_kg: float = 0.0
    water_kg: float = field(init=False)
    """Free water at loading: from 44 % to 5 % wet basis."""

    def __post_init__(self) -> None:
        dm_kg = self.barley_t * 836.0
        self.water_kg = dm_kg * (0.44 / 0.56 - 0.05 / 0.95)

    def wanted_c(self) -> float:
        """Air-on by the programme at this hour."""
        for (h0, c0), (h1, c1) in zip(self.programme, self.programme[1:], strict=False):
            if self.lit_h < h1:
                return c0 + (c1 - c0) * max(0.0, self.lit_h - h0) / (h1 - h0)
        return self.programme[-1][1]

    def begin(self, lit_h: float, outdoor_c: float, outdoor_rh: float) -> None:
        """Set the kiln as it is `lit_h` hours into its programme."""
        self.air_on_c = outdoor_c
        for _ in range(int(max(0.0, lit_h) * 30)):
            self.step(120.0, outdoor_c, outdoor_rh)
        self.lit_h = lit_h

    def step(self, dt_s: float, outdoor_c: float, outdoor_rh: float) -> bool:
        """Let `dt_s` pass; True at the moment of the break."""
        ends_h = self.programme[-1][0]
        lit = 0.0 <= self.lit_h <= ends_h
        wanted = outdoor_c + (self.wanted_c() - outdoor_c) * (self.fire if lit else 0.0)
        self.air_on_c += (wanted - self.air_on_c) * (1.0 - math.exp(-dt_s / self.fire_lag_s))
        self.lit_h += dt_s / 3600.0
        self.inlet_ratio = humidity_ratio(outdoor_c, outdoor_rh)
        self.plateau_c = wet_bulb_c(self.air_on_c, self.inlet_ratio)
        air_kg_s = self.air_m3_h_t * self.barley_t * self.draught * 1.2 / 3600.0
        carried = max(0.0, self.off_ratio() - self.inlet_ratio) * air_kg_s * dt_s
        self.removed_kg += min(carried, self.water_kg - self.removed_kg)
        if not self.broke and self.dried(1.0) > 0.15:
            self.broke = True
            return True
        return False

    def dried(self, height_share: float) -> float:
        """How far the grain at a height has dried, 0 wet to 1 dry."""
        front = self.removed_kg / self.water_kg
        return 0.5 * (1.0 + math.tanh((front * 1.1 - height_share) / (2.0 * self.front_share)))

    def warm_at(self, height_m: float) -> float:
        """Temperature at a height above the wire floor; at or under it air-on, over the load air-off."""
        if height_m <= 0.0:
            return self.air_on_c
        share = self.dried(min(1.0, height_m / self.depth_m))
        return self.plateau_c + (self.air_on_c - self.plateau_c) * share

    def off_ratio(self) -> float:
        """kg of water per kg of dry air leaving the load: the wet-bulb line from the air-on."""
        off_c = self.warm_at(self.depth_m)
        heat = enthalpy_j_per_kg(self.air_on_c, self.inlet_ratio)
        ratio = (heat - 1006.0 * off_c) / (2_501_000.0 + 1860.0 * off_c)
        return min(ratio, humidity_ratio(off_c, 1.0))

    def off_rh(self) -> float:
        """Relative humidity of the air-off, 0 to 1."""
        return relative_humidity(self.warm_at(self.depth_m), self.off_ratio())

    def on_rh(self) -> float:
        """Relative humidity of the air-on, 0 to 1."""
        return relative_humidity(self.air_on_c, self.inlet_ratio)
