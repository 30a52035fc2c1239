"""Moist air: what it holds, how cool it gets by evaporating, and how much water it carries off.

Formulas of ASHRAE Handbook - Fundamentals 2017 (SI), chapter 1, where not said otherwise; their numbers are
given there. Ideal gas: no enhancement factor, which the handbook's tables have (0.4 % of the humidity ratio).
Temperatures in C, relative humidity as a fraction 0 to 1, ratios in kg of water per kg of dry air, pressures
in Pa. Good from -40 to 200 C. Out of it, or where no air can be so: ValueError.
"""

from __future__ import annotations

import math
from collections.abc import Callable

STANDARD_PA = 101_325.0
ZERO_C_IN_K = 273.15
#: Molar mass of water over that of dry air, as the handbook has it.
WATER_TO_AIR = 0.621945
_COLDEST_C, _HOTTEST_C = -40.0, 200.0
#: No wet bulb lies where the vapour alone has nearly the whole pressure.
_NEAR_BOILING = 0.999
#: A root is looked for to this.
_FINE_K = 1e-9


def standard_pressure_pa(altitude_m: float) -> float:
    """Pressure of the standard atmosphere at an altitude (eq. 3), Pa; -5,000 to 11,000 m, else ValueError."""
    if not -5_000.0 <= altitude_m <= 11_000.0:
        raise ValueError(f"altitude {altitude_m} m: expected -5000 to 11000")
    pressure_pa: float = STANDARD_PA * (1.0 - 2.25577e-5 * altitude_m) ** 5.2559
    return pressure_pa


def saturation_pa(temperature_c: float) -> float:
    """Vapour pressure over ice below 0 C (eq. 5), over water from 0 C (eq. 6), Pa."""
    if not _COLDEST_C <= temperature_c <= _HOTTEST_C:
        raise ValueError(f"temperature {temperature_c} C: expected -40 to 200")
    t = temperature_c + ZERO_C_IN_K
    if temperature_c < 0.0:
        warm = -9.677843e-3 + t * (6.2215701e-7 + t * (2.0747825e-9 - 9.484024e-13 * t))
        return math.exp(-5.6745359e3 / t + 6.3925247 + t * warm + 4.1635019 * math.log(t))
    warm = -4.8640239e-2 + t * (4.1764768e-5 - 1.4452093e-8 * t)
    return math.exp(-5.8002206e3 / t + 1.3914993 + t * warm + 6.5459673 * math.log(t))


def ratio_of_vapour(vapour_pa: float, pressure_pa: float = STANDARD_PA) -> float:
    """Humidity ratio of air with that vapour pressure (eq. 20)."""
    if not 0.0 <= vapour_pa < pressure_pa:
        raise ValueError(f"vapour pressure {vapour_pa} Pa: expected 0 to below {pressure_pa}")
    return WATER_TO_AIR * vapour_pa / (pressure_pa - vapour_pa)


def vapour_of_ratio(ratio: float, pressure_pa: float = STANDARD_PA) -> float:
    """Vapour pressure of air of that humidity ratio (eq. 20 turned round), Pa."""
    if ratio < 0.0:
        raise ValueError(f"humidity ratio {ratio}: expected 0 or more")
    return pressure_pa * ratio / (WATER_TO_AIR + ratio)


def humidity_ratio(temperature_c: float, rh: float, pressure_pa: float = STANDARD_PA) -> float:
    """Humidity ratio of air at a relative humidity of 0 to 1 (eq. 12 and 20)."""
    if not 0.0 <= rh <= 1.0:
        raise ValueError(f"relative humidity {rh}: expected 0 to 1")
    return ratio_of_vapour(rh * saturation_pa(temperature_c), pressure_pa)


def relative_humidity(temperature_c: float, ratio: float, pressure_pa: float = STANDARD_PA) -> float:
    """Relative humidity as a fraction (eq. 12 and 20); above 1 for more water than the air can hold."""
    return vapour_of_ratio(ratio, pressure_pa) / saturation_pa(temperature_c)


def enthalpy_kj_per_kg(temperature_c: float, ratio: float) -> float:
    """Enthalpy in kJ per kg of dry air, from dry air and liquid water at 0 C (eq. 30)."""
    return 1.006 * temperature_c + ratio * (2501.0 + 1.86 * temperature_c)


def volume_m3_per_kg(temperature_c: float, ratio: float, pressure_pa: float = STANDARD_PA) -> float:
    """Volume in m3 of moist air that holds 1 kg of dry air (eq. 26)."""
    return 287.042 * (temperature_c + ZERO_C_IN_K) * (1.0 + 1.607858 * ratio) / pressure_pa


def ratio_of_wet_bulb(temperature_c: float, wet_c: float, pressure_pa: float = STANDARD_PA) -> float:
    """Humidity ratio of air from its dry and wet bulb (eq. 33; 35 where the wet bulb is of ice).

    Below 0 for a wet bulb no air of that temperature can show.
    """
    saturated = humidity_ratio(wet_c, 1.0, pressure_pa)
    fall = 1.006 * (temperature_c - wet_c)
    if wet_c >= 0.0:
        return ((2501.0 - 2.326 * wet_c) * saturated - fall) / (2501.0 + 1.86 * temperature_c - 4.186 * wet_c)
    return ((2830.0 - 0.24 * wet_c) * saturated - fall) / (2830.0 + 1.86 * temperature_c - 2.1 * wet_c)


def wet_bulb_c(temperature_c: float, ratio: float, pressure_pa: float = STANDARD_PA) -> float:
    """Wet bulb (thermodynamic) of air of that humidity ratio, C: how cool it gets by evaporating water.

    Of air with more water than it can hold: its own temperature. At least -40.
    """
    if ratio < 0.0:
        raise ValueError(f"humidity ratio {ratio}: expected 0 or more")
    high = temperature_c
    if saturation_pa(temperature_c) >= _NEAR_BOILING * pressure_pa:
        high = _root(lambda c: saturation_pa(c) - _NEAR_BOILING * pressure_pa, _COLDEST_C, _HOTTEST_C)
    return _root(lambda wet: ratio_of_wet_bulb(temperature_c, wet, pressure_pa) - ratio, _COLDEST_C, high)


def dew_point_c(ratio: float, pressure_pa: float = STANDARD_PA) -> float:
    """Temperature at which air of that humidity ratio begins to wet what it touches, C; -40 for drier air."""
    vapour = vapour_of_ratio(ratio, pressure_pa)
    if vapour <= 0.0:
        return _COLDEST_C
    # Nearly a straight line in the logarithm.
    return _root(lambda c: math.log(saturation_pa(c) / vapour), _COLDEST_C, _HOTTEST_C)


def heated_wet_bulb_c(
    outdoor_c: float, outdoor_rh: float, air_on_c: float, pressure_pa: float = STANDARD_PA
) -> float:
    """Wet bulb of outdoor air heated to air-on, C: where air-off sits while the load is wet all through.

    Heating adds no water: a direct fire's own water (some 0.1 kg per kWh of gas, none of coke) is not in it.
    """
    return wet_bulb_c(air_on_c, humidity_ratio(outdoor_c, outdoor_rh, pressure_pa), pressure_pa)


def ratio_after_load(
    air_on_c: float, ratio_on: float, air_off_c: float, pressure_pa: float = STANDARD_PA
) -> float:
    """Humidity ratio of air-off from the temperatures alone, with the heat it gave taken up by its own water.

    It went along the line of constant wet bulb, so needs no humidity probe in the wet air-off. At most
    saturated; air-off warmer than air-on took up nothing. Heat kept in the load and lost through the walls is
    left out (a load of 44 % heated by 10 K takes as much as 1 % of its water).
    """
    wet_c = wet_bulb_c(air_on_c, ratio_on, pressure_pa)
    if air_off_c >= air_on_c:
        return ratio_on
    if air_off_c <= wet_c:
        return max(ratio_on, humidity_ratio(air_off_c, 1.0, pressure_pa))
    return max(ratio_on, ratio_of_wet_bulb(air_off_c, wet_c, pressure_pa))


def _root(rising: Callable[[float], float], low: float, high: float) -> float:
    """Where a rising function crosses 0 between the two; the nearer end where it does not.

    False position with the standing end's weight halved (the Illinois rule), to _FINE_K.
    """
    at_low, at_high = rising(low), rising(high)
    if at_low >= 0.0:
        return low
    if at_high <= 0.0:
        return high
    side = 0
    while high - low > _FINE_K:
        middle = (low * at_high - high * at_low) / (at_high - at_low)
        if not low < middle < high:
            # Rounding brought it to an end: one of the two is 0 but for its last bits.
            return low if middle <= low else high
        value = rising(middle)
        if abs(value) < 1e-13:
            return middle
        if value > 0.0:
            high, at_high = middle, value
            at_low *= 0.5 if side > 0 else 1.0
            side = 1
        else:
            low, at_low = middle, value
            at_high *= 0.5 if side < 0 else 1.0
            side = -1
    return 0.5 * (low + high)
