"""The sites and beds that these tests simulate."""

import tomllib
from pathlib import Path
from random import Random
from typing import Any

from simulators.air import co2_kg_per_m3, enthalpy_j_per_kg, humidity_ratio
from simulators.bed import Bed, Surroundings
from simulators.grain import Grain, Lie

SITE_FILE = Path(__file__).with_name("site.toml")
START_S = 1_764_007_200.0  # 2025-11-24T18:00:00Z


def site() -> dict[str, Any]:
    """The small site beside this file."""
    return tomllib.loads(SITE_FILE.read_text())


def around(room_c: float = 13.0, ppm: float = 1000.0, floor_c: float | None = None) -> Surroundings:
    """A damp growing floor's air, and a floor as warm as that unless told otherwise."""
    heat = enthalpy_j_per_kg(room_c, humidity_ratio(room_c, 0.82))
    return Surroundings(room_c, heat, co2_kg_per_m3(ppm, room_c), room_c if floor_c is None else floor_c)


def bed(grain: Grain | None = None, lie: Lie | None = None, barley_t: float = 8.0, seed: int = 1) -> Bed:
    """A bed of 12 m."""
    return Bed(0.0, 12.0, barley_t, grain or Grain(), lie or Lie(), Random(seed))
