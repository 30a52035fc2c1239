"""The numbers behind the kiln: how it dries, when it breaks, what heat does to it, when the watch calls.

Each is explained, with its grade, in config/kiln-physics.toml; the shipped figures are that file.
"""

from __future__ import annotations

from dataclasses import dataclass

from gateway.core.estimate.heat_damage import DamageSettings
from gateway.core.estimate.kiln_break import BreakSettings
from gateway.core.estimate.moisture import MoistureSettings
from gateway.core.science.grain import Isotherm, ThinLayer


@dataclass(frozen=True, slots=True)
class WatchSettings:
    """See config/kiln-physics.toml, [kiln_watch]. `wet_limits`: (moisture as a share, C), wettest first."""

    depth_cm: float
    barley_t: float
    stew_c: float
    stew_rh: float
    stew_min: float
    fire_k: float
    out_min: float
    heating_k_per_h: float
    heating_c: float
    ramp_min: float
    overrun_h: float
    fire_over_k: float
    fire_rise_k_per_h: float
    fire_c: float
    co_fire_ppm: float
    cool_c: float
    no_break_wb: float
    dry_kg_per_t: float
    air_cooler_k: float
    choked_share: float
    choked_h: float
    lost_flow_share: float
    lost_grain_share: float
    lost_height_share: float
    wet_limits: tuple[tuple[float, float], ...]
    kindle_min: float = 60.0
    dry_rh: float = 85.0
    quick_k_per_h: float = 20.0
    broken_rh: float = 60.0
    dried_share: float = 0.8
    turned_fall_share: float = 0.2

    def wet_limit_c(self, moisture_wb: float) -> float:
        """How warm grain of that moisture may be, C."""
        for moisture, limit_c in self.wet_limits:
            if moisture_wb >= moisture:
                return limit_c
        return self.wet_limits[-1][1]


@dataclass(frozen=True, slots=True)
class KilnFigures:
    """All of them."""

    isotherm: Isotherm
    thin_layer: ThinLayer
    moisture: MoistureSettings
    heat_damage: DamageSettings
    kiln_break: BreakSettings
    kiln_watch: WatchSettings
