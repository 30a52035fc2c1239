"""Respiration of growing barley: heat, CO2 and starch in proportion, and CO2 in a bed that lies still.

Sources: C6H12O6 + 6 O2 -> 6 CO2 + 6 H2O, respiratory quotient 1 (stoichiometry); heat of combustion of
glucose 2803 to 2816 kJ per mol (handbooks of chemistry, and of the cold storage of produce, from memory);
molar masses 44.0095 (CO2), 162.14 (C6H10O5). Not for judging air to breathe: a bed's CO2 is no room's.
"""

from __future__ import annotations

import math

CO2_G_PER_MOL = 44.0095
STARCH_G_PER_MOL = 162.14
GLUCOSE_KJ_PER_MOL = 2816.0
CO2_PER_STARCH = 6.0 * CO2_G_PER_MOL / STARCH_G_PER_MOL
J_PER_MG_CO2 = GLUCOSE_KJ_PER_MOL / (6.0 * CO2_G_PER_MOL)
_GAS_J_PER_MOL_K, _ZERO_K = 8.314462618, 273.15
STANDARD_PA = 101_325.0


def watts_per_tonne(mg_co2_per_kg_h: float) -> float:
    """Heat of respiration, W per tonne, of a rate in mg of CO2 per kg and hour, on the same mass."""
    return mg_co2_per_kg_h * J_PER_MG_CO2 * 1000.0 / 3600.0


def co2_rate_mg_per_kg_h(loss_share: float, hours: float) -> float:
    """Mean rate, mg of CO2 per kg of dry matter and hour, when a share of it is breathed away as starch."""
    return loss_share * CO2_PER_STARCH * 1e6 / hours


def warming_k_per_h(watts_per_kg: float, heat_capacity_j_per_kg_k: float) -> float:
    """How fast grain warms that loses nothing, K per hour; both on the same mass."""
    return watts_per_kg * 3600.0 / heat_capacity_j_per_kg_k


def moles_per_m3(warm_c: float, pressure_pa: float = STANDARD_PA) -> float:
    """Moles of gas in a cubic metre (ideal gas law)."""
    return pressure_pa / (_GAS_J_PER_MOL_K * (warm_c + _ZERO_K))


def diffusivity_in_bed(free_m2_s: float, porosity: float) -> float:
    """Diffusivity of a gas through a packed bed, m2/s: the free one times porosity to 1.5 (Bruggeman)."""
    return free_m2_s * math.pow(porosity, 1.5)


def still_bed_rate_mg_per_kg_h(
    over_ppm: float, height_m: float, depth_m: float, warm_c: float, dry_kg_per_m3: float, through_m2_s: float
) -> float:
    """The rate that keeps CO2 at a height (m above a sealed floor) by `over_ppm` above the room's.

    mg of CO2 per kg of dry matter and hour, where nothing but diffusion carries it off: the steady parabola
    rise(z) = S (L^2 - z^2) / (2 D). Raises ValueError for a height at or above the bed's top, or no bed.
    """
    span_m2 = depth_m**2 - max(0.0, height_m) ** 2
    if depth_m <= 0.0 or span_m2 <= 0.0 or dry_kg_per_m3 <= 0.0:
        raise ValueError(f"height {height_m:g} m in a bed of {depth_m:g} m: expected below its top")
    moles_m3_s = over_ppm * 1e-6 * moles_per_m3(warm_c) * 2.0 * through_m2_s / span_m2
    return moles_m3_s * CO2_G_PER_MOL * 1000.0 * 3600.0 / dry_kg_per_m3


def co2_kg_per_m3(ppm: float, warm_c: float) -> float:
    """Density of CO2 at a share of the air (ppm by volume) and a temperature, kg per m3 (ideal gas law)."""
    return ppm * 1e-6 * moles_per_m3(warm_c) * CO2_G_PER_MOL / 1000.0


def aired_rate_mg_per_kg_h(
    kept_w_per_kg: float, air_j_per_m3: float, co2_kg_m3: float, still_mg_per_kg_h: float = 0.0
) -> float:
    """The rate of a bed whose CO2 leaves with air that carries heat off too: two balances, one flow of air.

    `kept_w_per_kg`: heat made as far as the temperatures show it (it warms the grain or leaves otherwise than
    by that air), W per kg; `air_j_per_m3` and `co2_kg_m3`: how much more heat and CO2 a cubic metre has when
    it leaves the bed than when it came; `still_mg_per_kg_h`: the part that goes by diffusion. mg of CO2 per
    kg and hour. Raises ValueError where the air would carry off all the heat there is.
    """
    made_j = J_PER_MG_CO2 * 1e6
    carried_j = air_j_per_m3 / co2_kg_m3 if co2_kg_m3 > 0.0 else made_j
    if carried_j >= made_j:
        raise ValueError(f"{carried_j:.3g} J leave with each kg of CO2: expected < {made_j:.3g}")
    still_w = still_mg_per_kg_h / 3600.0 * 1e-6 * carried_j
    return (kept_w_per_kg - still_w) / (made_j - carried_j) * 1e6 * 3600.0
