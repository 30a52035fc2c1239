"""Moist air, as far as the simulated bed, room and kiln need it.

Formulas: ASHRAE Handbook - Fundamentals 2017, chapter 1 (from memory, checked in the tests
against the handbook's table as quoted by PsychroLib's test file).
"""

import math

PRESSURE_PA = 101_325.0
GAS_CONSTANT = 8.314_462_618
"""J/(mol K), exact by the SI of 2019."""
CO2_KG_PER_MOL = 0.044_009_5
ZERO_C_IN_K = 273.15
DRY_AIR_KG_PER_M3 = 1.22


def saturation_pa(temperature_c: float) -> float:
    """Saturation pressure over water, Pa, for 0 to 200 C (used a little below 0 as well)."""
    t = temperature_c + ZERO_C_IN_K
    return math.exp(
        -5.8002206e3 / t
        + 1.3914993
        - 4.8640239e-2 * t
        + 4.1764768e-5 * t * t
        - 1.4452093e-8 * t**3
        + 6.5459673 * math.log(t)
    )


def humidity_ratio(temperature_c: float, rh: float) -> float:
    """kg of water per kg of dry air at a relative humidity of 0 to 1."""
    vapour = min(rh * saturation_pa(temperature_c), 0.99 * PRESSURE_PA)
    return 0.621945 * vapour / (PRESSURE_PA - vapour)


def relative_humidity(temperature_c: float, ratio: float) -> float:
    """Relative humidity, 0 to 1, of air holding `ratio` kg of water per kg of dry air."""
    vapour = PRESSURE_PA * ratio / (0.621945 + ratio)
    return min(1.0, vapour / saturation_pa(temperature_c))


def enthalpy_j_per_kg(temperature_c: float, ratio: float) -> float:
    """J per kg of dry air, from dry air and liquid water at 0 C."""
    return 1006.0 * temperature_c + ratio * (2_501_000.0 + 1860.0 * temperature_c)


def wet_bulb_c(temperature_c: float, ratio: float) -> float:
    """Wet-bulb temperature, by halving: the wet-bulb equation rises with the wet bulb."""
    low, high = -20.0, temperature_c
    for _ in range(40):
        middle = 0.5 * (low + high)
        saturated = humidity_ratio(middle, 1.0)
        found = (2501.0 - 2.326 * middle) * saturated - 1.006 * (temperature_c - middle)
        if found / (2501.0 + 1.86 * temperature_c - 4.186 * middle) > ratio:
            high = middle
        else:
            low = middle
    return 0.5 * (low + high)


_TABLE_FROM_C = -20
_SATURATED = tuple(enthalpy_j_per_kg(c, humidity_ratio(c, 1.0)) for c in map(float, range(_TABLE_FROM_C, 92)))


def saturated_enthalpy_j_per_kg(temperature_c: float) -> float:
    """Enthalpy of saturated air from a table of whole degrees: a bed asks for it in every cell."""
    place = min(max(temperature_c - _TABLE_FROM_C, 0.0), len(_SATURATED) - 1.001)
    i = int(place)
    return _SATURATED[i] + (place - i) * (_SATURATED[i + 1] - _SATURATED[i])


def co2_kg_per_m3(ppm: float, temperature_c: float) -> float:
    """kg of CO2 per m3 of air for a share by volume in ppm (ideal gas, sea level)."""
    kelvin = temperature_c + ZERO_C_IN_K
    return ppm * 1e-6 * PRESSURE_PA / (GAS_CONSTANT * kelvin) * CO2_KG_PER_MOL


def co2_ppm(kg_per_m3: float, temperature_c: float) -> float:
    """Share by volume in ppm for kg of CO2 per m3 of air (ideal gas, sea level)."""
    kelvin = temperature_c + ZERO_C_IN_K
    return kg_per_m3 / CO2_KG_PER_MOL * GAS_CONSTANT * kelvin / PRESSURE_PA * 1e6
