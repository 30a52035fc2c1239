"""Heat damage (index): what would be left of a heat-sensitive enzyme, were it lost at first order.

An index, to set one kilning beside another; never an assay. The constants are fitted by us to what usually
survives a kilning (grade D, config/kiln-physics.toml) and come from outside; half as much or twice as much
is as likely.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from gateway.core.science.psychrometrics import ZERO_C_IN_K

#: kJ per mol and K (SI 2019).
_GAS = 8.314462618e-3
_AT_K = 65.0 + ZERO_C_IN_K


@dataclass(frozen=True, slots=True)
class DamageSettings:
    """k = k65 exp(-ea/R (1/T - 1/338.15)) exp(-b (1 - M/wet)); M and `wet_wb` as shares of the whole."""

    k65_per_min: float
    ea_kj_mol: float
    b: float
    wet_wb: float

    def rate_per_min(self, grain_c: float, moisture_wb: float) -> float:
        """Share lost of what is left, per minute. Grain wetter than `wet_wb` counts as that."""
        dryness = max(0.0, 1.0 - moisture_wb / self.wet_wb)
        warmth = self.ea_kj_mol / _GAS * (1.0 / _AT_K - 1.0 / (grain_c + ZERO_C_IN_K))
        # Beyond any kiln's heat the exponent would run off; what is left is nothing long before.
        return self.k65_per_min * math.exp(min(60.0, warmth) - self.b * dryness)


@dataclass(slots=True)
class HeatDamage:
    """By layer from below, `lost` is the natural logarithm of what is left, with its sign turned."""

    lost: list[float] = field(default_factory=list)

    def take(self, settings: DamageSettings, minutes: float, layers: list[tuple[float, float]]) -> None:
        """So many minutes at each layer's (grain C, moisture as a share of the whole)."""
        if len(self.lost) != len(layers):
            self.lost = [0.0] * len(layers)
        for i, (grain_c, moisture_wb) in enumerate(layers):
            self.lost[i] += settings.rate_per_min(grain_c, moisture_wb) * minutes

    def turned(self, share: float) -> None:
        """The load was turned: each layer comes so much nearer (0 to 1) to the mean of what is left."""
        if self.lost:
            mean = self.left()
            self.lost = [-math.log(max((1 - share) * math.exp(-x) + share * mean, 1e-300)) for x in self.lost]

    def left(self) -> float:
        """The index over the whole load: 1 nothing lost, 0 all."""
        return math.fsum(math.exp(-one) for one in self.lost) / len(self.lost) if self.lost else 1.0

    def worst(self) -> float:
        """The index of the layer that lost most."""
        return math.exp(-max(self.lost)) if self.lost else 1.0
