"""Moisture left, as reckoned, against kilnings whose barley, meter and probes are not the book's."""

from __future__ import annotations

import math
import random
from typing import NamedTuple

from gateway.core.estimate.moisture import Air, Left, Load, MoistureSettings, left, loaded, pass_air, turned
from gateway.core.estimate.moisture_layers import Physics
from gateway.core.science.grain import wb_of_db
from gateway.core.science.psychrometrics import humidity_ratio, relative_humidity
from tests.estimate.kiln_worlds import BARLEY, CONFIG, DRY_KG, LAYER, Kilning, Minute

SETTINGS = MoistureSettings(**CONFIG["moisture"])
PHYSICS = Physics(BARLEY, LAYER, SETTINGS.dry_kj_per_kg_k, SETTINGS.full_rh)


class Reckoned(NamedTuple):
    """At an hour: the true moisture (share of the whole) and what is reckoned."""

    hour: int
    true_wb: float
    left: Left


def begin(moisture_wb: float | None = None, sd: float | None = None) -> Load:
    """A load of one tonne of barley, at 16 C."""
    return loaded(SETTINGS, DRY_KG, 1.0, 16.0, moisture_wb, sd)


def air_of(minute: Minute, flow_share: float | None) -> Air:
    """What the probes say of a minute's air; None: no flow meter."""
    ratio = humidity_ratio(minute.outdoor_c, minute.outdoor_rh)
    flow = None if flow_share is None else minute.air_m3_h * flow_share
    return Air(minute.on_c, ratio, minute.off_c, flow, minute.outdoor_c)


def reckon(seed: int, metered: bool, each_h: int = 6) -> list[Reckoned]:
    """A kilning's moisture every so many hours; the flow meter is out by some 12 %."""
    kilning = Kilning(seed)
    share = math.exp(random.Random(seed).gauss(0.0, 0.12)) if metered else None
    load, found = begin(), []
    for number, minute in enumerate(kilning.minutes(), 1):
        if minute.act == "turned":
            turned(load, SETTINGS.turned_share)
        air = air_of(minute, share)
        pass_air(load, SETTINGS, PHYSICS, 60.0, air)
        if number % (60 * each_h) == 0:
            rest = BARLEY.moisture_db(air.on_c, relative_humidity(air.on_c, air.ratio_on))
            true_wb = wb_of_db(math.fsum(minute.moisture_db) / len(minute.moisture_db))
            found.append(Reckoned(number // 60, true_wb, left(load, SETTINGS, rest)))
    return found
