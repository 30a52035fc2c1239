"""Water in grain: how it is told, how much air leaves in it, how fast it goes, what heat that takes.

Moisture is a fraction: `wb` of the whole (the trade's "moisture"), `db` kg of water per kg of dry matter.
The constants of barley are of grade B and C and come from outside (`Isotherm`, `ThinLayer`); none is here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from gateway.core.science.psychrometrics import ZERO_C_IN_K, saturation_pa

#: The isotherm has no end at saturated air: a wet film is no equilibrium. It is asked no wetter than this.
_WETTEST_RH = 0.999


@dataclass(frozen=True, slots=True)
class Isotherm:
    """Modified Henderson: 1 - RH = exp(-k (T + c) M^n), T in C, M in per cent dry basis (form of ASAE D245).

    Chung-Pfost in its newer form goes below 0 in hot dry air (-2.0 % at 85 C, 1.7 % RH); this one cannot.
    """

    k: float
    c_c: float
    n: float

    def moisture_db(self, temperature_c: float, rh: float) -> float:
        """What grain dries to in that air, kg/kg; 0 or more. Air over 0.999 counts as 0.999; under 0 as 0."""
        dryness = -math.log(1.0 - min(max(rh, 0.0), _WETTEST_RH))
        percent: float = (dryness / (self.k * self._warmth(temperature_c))) ** (1.0 / self.n)
        return percent / 100.0

    def rh(self, temperature_c: float, moisture_db: float) -> float:
        """Relative humidity, 0 to 1, of air at rest with grain of that moisture."""
        if moisture_db < 0.0:
            raise ValueError(f"moisture {moisture_db}: expected 0 or more")
        return -math.expm1(-self._pull(temperature_c, moisture_db))

    def latent_ratio(self, temperature_c: float, moisture_db: float) -> float:
        """Heat to dry water out of grain of that moisture over that of free water, 1 or more.

        Clausius-Clapeyron on the isotherm: d ln p(grain)/dT over d ln p(water)/dT at one moisture.
        """
        pull = self._pull(temperature_c, moisture_db)
        if pull <= 0.0:
            raise ValueError(f"moisture {moisture_db}: expected above 0")
        of_grain = pull / self._warmth(temperature_c) / math.expm1(pull)
        step_k = 0.05
        rise = math.log(saturation_pa(temperature_c + step_k) / saturation_pa(temperature_c - step_k))
        return 1.0 + of_grain / (rise / (2.0 * step_k))

    def _warmth(self, temperature_c: float) -> float:
        if temperature_c + self.c_c <= 0.0:
            raise ValueError(f"temperature {temperature_c} C: expected above {-self.c_c:g}")
        return temperature_c + self.c_c

    def _pull(self, temperature_c: float, moisture_db: float) -> float:
        raised: float = (100.0 * moisture_db) ** self.n
        return self.k * self._warmth(temperature_c) * raised


@dataclass(frozen=True, slots=True)
class ThinLayer:
    """Newton's law of drying: moisture over equilibrium falls by k = k0 exp(-e/T) of itself each second."""

    k0_per_s: float
    e_k: float

    def rate_per_s(self, temperature_c: float) -> float:
        """k at a grain temperature in C, 1/s."""
        return self.k0_per_s * math.exp(-self.e_k / (temperature_c + ZERO_C_IN_K))

    def dried_db(self, moisture_db: float, rest_db: float, temperature_c: float, seconds: float) -> float:
        """Moisture after some seconds in steady air, whose equilibrium is `rest_db`; it may wet as well."""
        return rest_db + (moisture_db - rest_db) * math.exp(-self.rate_per_s(temperature_c) * seconds)


def db_of_wb(moisture_wb: float) -> float:
    """kg of water per kg of dry matter from the share of the whole; 0 to below 1, else ValueError."""
    if not 0.0 <= moisture_wb < 1.0:
        raise ValueError(f"moisture {moisture_wb} of the whole: expected 0 to below 1")
    return moisture_wb / (1.0 - moisture_wb)


def wb_of_db(moisture_db: float) -> float:
    """Share of the whole from kg of water per kg of dry matter; 0 or more, else ValueError."""
    if moisture_db < 0.0:
        raise ValueError(f"moisture {moisture_db} of the dry matter: expected 0 or more")
    return moisture_db / (1.0 + moisture_db)


def water_to_remove_kg(dry_kg: float, from_wb: float, to_wb: float) -> float:
    """Water between two moistures of a load of so much dry matter, kg; below 0 for wetting."""
    return dry_kg * (db_of_wb(from_wb) - db_of_wb(to_wb))


def dry_kg_of(wet_kg: float, moisture_wb: float) -> float:
    """Dry matter in a load weighed at that moisture, kg."""
    return wet_kg / (1.0 + db_of_wb(moisture_wb))


def latent_kj_per_kg(temperature_c: float) -> float:
    """Heat to evaporate free water, kJ/kg, 0 to 110 C: our cubic through CoolProp 8.0.0, within 0.03."""
    t = temperature_c
    return 2500.913 + t * (-2.375643 + t * (5.49213e-4 - 1.244576e-5 * t))
