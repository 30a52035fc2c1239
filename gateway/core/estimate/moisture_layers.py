"""A load in layers, and air through them from below: each minute's heat and water, both kept.

Air takes on each layer's temperature. A layer gives water as fast as the drying law lets it, and no more
than the air can take; air that is over full leaves water behind. Constants come from outside.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

from gateway.core.science.grain import Isotherm, ThinLayer, latent_kj_per_kg
from gateway.core.science.psychrometrics import humidity_ratio, relative_humidity

#: In one step no more air than this share of a layer's dry matter: explicit steps would swing beyond it.
_AIR_SHARE = 0.3
#: Steps of one call at most; a longer silence is told in longer steps, with less air than went through.
_STEPS_MOST = 2000
#: A step is no longer than this.
_LONGEST_S = 120.0
_HOTTEST_C, _COLDEST_C = 130.0, -20.0


class Physics(NamedTuple):
    """The drying law, the equilibrium, dry malt's heat (kJ/(kg K)) and how full air leaves a wet layer.

    `eager` and `holds` are how this barley differs from the book's: how fast it dries, what it holds at rest.
    """

    isotherm: Isotherm
    thin: ThinLayer
    dry_kj_per_kg_k: float
    full_rh: float
    eager: float = 1.0
    holds: float = 1.0


@dataclass(slots=True)
class Stack:
    """Layers from below: moisture in kg per kg of dry matter, temperature in C; `dry_kg` is of one layer."""

    moisture: list[float]
    warm_c: list[float]
    dry_kg: float

    def mean_db(self) -> float:
        """Moisture of the whole, kg per kg of dry matter."""
        return math.fsum(self.moisture) / len(self.moisture)

    def mix(self, share: float) -> None:
        """Every layer comes so much nearer (0 to 1) to the mean."""
        for values in (self.moisture, self.warm_c):
            mean = math.fsum(values) / len(values)
            values[:] = [value + share * (mean - value) for value in values]


class Draught(NamedTuple):
    """Dry air that goes through (kg), air-on (C, kg/kg), what by mass balance it carries off (kg/kg).

    With `carried` None the drying law says it all; `trust` (0 to 1) gives the law that much say beside the
    balance.
    """

    air_kg: float
    on_c: float
    ratio_on: float
    carried: float | None = None
    trust: float = 0.0


def flow_through(stack: Stack, physics: Physics, seconds: float, draught: Draught) -> float:
    """Let so much air through in so many seconds; returns kg of water that left.

    By mass balance that leaves, as far as there is water, shared among the layers as the law has it.
    """
    by_air = math.ceil(draught.air_kg / (_AIR_SHARE * stack.dry_kg))
    steps = min(_STEPS_MOST, max(1, by_air, math.ceil(seconds / _LONGEST_S)))
    part = draught._replace(air_kg=min(draught.air_kg / steps, _AIR_SHARE * stack.dry_kg))
    before_db = stack.mean_db()
    for _ in range(steps):
        _step(stack, physics, seconds / steps, part)
    return (before_db - stack.mean_db()) * stack.dry_kg * len(stack.moisture)


def _step(stack: Stack, physics: Physics, seconds: float, draught: Draught) -> None:
    air_kg, on_c, ratio, carried, trust = draught
    given: list[float] = []
    heat: list[float] = []
    for moist, warm_c in zip(stack.moisture, stack.warm_c, strict=True):
        water_kg = _gives(stack.dry_kg, physics, moist, warm_c, ratio, air_kg, seconds)
        given.append(water_kg)
        heat.append(air_kg * (1.006 + 1.86 * ratio) * (on_c - warm_c))
        if air_kg > 0.0:
            ratio += water_kg / air_kg
        on_c = warm_c
    if carried is not None:
        given = _shared(stack, given, (1.0 - trust) * carried * air_kg + trust * math.fsum(given))
    for i, (water_kg, heat_kj) in enumerate(zip(given, heat, strict=True)):
        moist, warm_c = stack.moisture[i], stack.warm_c[i]
        capacity = stack.dry_kg * (physics.dry_kj_per_kg_k + 4.186 * moist)
        warmer_c = warm_c + (heat_kj - water_kg * latent_kj_per_kg(warm_c)) / capacity
        stack.warm_c[i] = min(_HOTTEST_C, max(_COLDEST_C, warmer_c))
        stack.moisture[i] = moist - water_kg / stack.dry_kg


def _gives(
    dry_kg: float, physics: Physics, moist: float, warm_c: float, ratio: float, air_kg: float, seconds: float
) -> float:
    """kg of water one layer gives; below 0 where over-full air leaves some."""
    room_kg = air_kg * (humidity_ratio(warm_c, physics.full_rh) - ratio)
    if room_kg <= 0.0:
        return room_kg
    rest = physics.holds * physics.isotherm.moisture_db(warm_c, relative_humidity(warm_c, ratio))
    if rest >= moist:
        return 0.0
    dried = physics.thin.dried_db(moist, rest, warm_c, physics.eager * seconds)
    return min(dry_kg * (moist - dried), room_kg)


def _shared(stack: Stack, given: list[float], owed_kg: float) -> list[float]:
    """What left, shared as the layers would have given; none gives more than nine tenths of its own."""
    total = math.fsum(max(0.0, water_kg) for water_kg in given)
    if total <= 0.0:
        return given
    wanted = [max(0.0, water_kg) * owed_kg / total for water_kg in given]
    most = [0.9 * max(0.0, moist) * stack.dry_kg for moist in stack.moisture]
    return [min(want, can) for want, can in zip(wanted, most, strict=True)]
