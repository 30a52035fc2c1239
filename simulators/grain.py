"""Growing grain: how fast it breathes, and what a bed of it is like.

Every number here is a default that a site may replace. Grades: A read in a source, B standard
formula, C from memory, D derived or set by us. None of the C and D values is a fact about any
one floor.
"""

from bisect import bisect_right
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Grain:
    """Respiration and heat of growing barley, per kg of dry matter (DM)."""

    loss_share: float = 0.035
    """Share of DM breathed away in `loss_h` (C: 3 to 6 %, usually 5; an 1840s floor account 3 %, A)."""
    loss_h: float = 120.0
    co2_per_starch: float = 1.629
    """kg of CO2 per kg of starch, C6H10O5 (D, stoichiometry)."""
    heat_j_per_mg: float = 10.65
    """J per mg of CO2 (B: 2803 to 2816 kJ per mol of glucose)."""
    heat_capacity_j_per_kg_k: float = 2736.2 * 1600.0 / 880.0
    """Per kg of DM, with its water at 45 % wet basis (C: mixture rule)."""
    q10: float = 2.0
    """C, 1.8 to 2.5 between 5 and 25 C."""
    reference_c: float = 16.0
    tired_c: float = 30.0
    """From here respiration grows no more and falls to nothing at `dead_c` (D)."""
    dead_c: float = 50.0
    shape: tuple[tuple[float, float], ...] = field(
        default=(
            (0.0, 0.3),
            (12.0, 0.4),
            (36.0, 0.9),
            (60.0, 1.3),
            (84.0, 1.3),
            (108.0, 1.1),
            (132.0, 0.9),
            (156.0, 0.8),
        )
    )
    """(hours since casting, relative rate) at mid-day of each day on the floor (C)."""

    def mean_mg_per_kg_h(self) -> float:
        """Mean rate over `loss_h`, mg of CO2 per kg of DM and hour, at the reference."""
        return self.loss_share * self.co2_per_starch * 1e6 / self.loss_h

    def relative(self, age_h: float) -> float:
        """Relative rate at an age, straight between the knots and level outside them."""
        ages = [age for age, _ in self.shape]
        i = bisect_right(ages, age_h)
        if i == 0:
            return self.shape[0][1]
        if i == len(ages):
            return self.shape[-1][1]
        (a0, r0), (a1, r1) = self.shape[i - 1], self.shape[i]
        return r0 + (r1 - r0) * (age_h - a0) / (a1 - a0)

    def shape_mean(self) -> float:
        """Mean of the shape over `loss_h`, so that the whole loss comes out as configured."""
        minutes = int(self.loss_h * 60)
        return sum(self.relative((m + 0.5) / 60) for m in range(minutes)) / minutes

    def warmth(self, temperature_c: float) -> float:
        """Factor on the rate at a temperature, 1 at the reference."""
        top = min(temperature_c, self.tired_c)
        factor = float(self.q10 ** ((top - self.reference_c) / 10.0))
        if temperature_c > self.tired_c:
            left = (self.dead_c - temperature_c) / (self.dead_c - self.tired_c)
            factor *= max(0.0, left)
        return factor


@dataclass(frozen=True)
class Lie:
    """How a bed lies: depth, what goes through it, and what a turn does to it."""

    depth_m: float = 0.15
    cells: int = 10
    columns: int = 5
    dm_kg_per_m3: float = 380.0
    porosity: float = 0.45
    conductivity_w_mk: float = 0.25
    """C: 0.18 to 0.25 moist."""
    diffusivity_m2_s: float = 4.83e-6
    """CO2 through the bed (D: 1.6e-5 times porosity to the power 1.5)."""
    top_w_m2_k: float = 12.0
    """Convection, radiation and the evaporating surface together (D, set by us)."""
    base_w_m2_k: float = 6.0
    """Into a stone or tiled floor (D, set by us)."""
    open_per_h: float = 300.0
    """Changes of the air in the pores just after a turn (D, set by us so that beds warm by
    1 to 4 K between turns and carry 0.1 to 0.5 % CO2 after one)."""
    matted_per_h: float = 16.0
    """The same once rootlets have matted the bed (D, set by us: 0.5 to 5 % CO2 before a turn)."""
    matting_h: float = 6.0
    """Time constant of the closing (D, set by us)."""
    turn_cools_share: float = 0.35
    """Share of the gap to the room's temperature lost in the throw (D, set by us)."""
    turn_keeps_co2: float = 0.1
    turn_s: float = 1500.0
    """Time to turn a whole bed from end to end."""
    unevenness: float = 0.03
    """Spread of the rate between columns, as one standard deviation."""
