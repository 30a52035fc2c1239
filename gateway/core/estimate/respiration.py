"""How hard a bed breathes: a lowest figure from what its temperature and CO2 show, and a rough one of both.

What a bed's warming shows is less than it makes: the air that goes through carries heat off, unseen. The CO2
tells how much air that is. Diffusion alone gives another lowest figure. All of grade D: the figure is shown
with its range and grade, and nothing is judged by it. On simulated beds four of five lay in the range.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from gateway.core.science import psychrometrics as air
from gateway.core.science.respiration import (
    aired_rate_mg_per_kg_h,
    co2_kg_per_m3,
    diffusivity_in_bed,
    still_bed_rate_mg_per_kg_h,
    watts_per_tonne,
)

#: Grain lives, and people work, between these (C).
_ALIVE_C = (-20.0, 60.0)


@dataclass(frozen=True, slots=True)
class Figures:
    """The figures of a bed's breathing; all may be set by a site.

    `dry_kg_per_m3`, `porosity`: C. `dry_kg_per_t`: of a tonne of barley as bought at 12 % moisture, exact.
    `heat_j_per_dry_kg_k`: with its water at 45 %, C. `free_m2_s`: of CO2 in air, B. `settle_h`: CO2 is steady
    so long after a turn (D: depth^2 x porosity / 2 D is 17 min at 15 cm). `least_over_ppm`: less than this
    over the room's tells nothing (ours). `most_carried`: where the air takes a larger share of the heat,
    the rest is too little to reckon from (ours). `high_times`: the range's upper end (ours, D).
    """

    dry_kg_per_m3: float = 380.0
    dry_kg_per_t: float = 880.0
    heat_j_per_dry_kg_k: float = 4975.0
    porosity: float = 0.45
    free_m2_s: float = 1.6e-5
    settle_h: float = 1.0
    least_over_ppm: float = 500.0
    most_carried: float = 0.7
    high_times: float = 1.5


class Bed(NamedTuple):
    """A bed as it lies: CO2 in it and where, its temperature (C), depth and the turn; None where not known.

    A gas probe without a height is taken to be in the middle. `shown_k_per_h` is what its balance says it
    makes (`bed_heat.made_k_per_h`).
    """

    ppm: float | None
    height_cm: float | None
    depth_cm: float | None
    warm_c: float
    since_turn_h: float | None
    shown_k_per_h: float | None


class Room(NamedTuple):
    """The room's air: CO2 in ppm, C, relative humidity 0 to 1 (a growing floor is damp: D)."""

    ppm: float = 1000.0
    warm_c: float = 12.0
    rh: float = 0.8


class Rate(NamedTuple):
    """A rate: mg of CO2 per kg of dry matter and hour, and W per tonne of barley as bought."""

    mg_per_kg_h: float
    w_per_t: float


class Respiration(NamedTuple):
    """A bed's breathing: the rough figure, at least, at most, the grade; or why there is none."""

    rate: Rate | None
    low: Rate | None
    high: Rate | None
    grade: str
    not_yet: str | None = None


USUAL = Figures()


def respiration(bed: Bed, room: Room, figures: Figures = USUAL) -> Respiration:
    """How hard a bed breathes; a number only where CO2, depth and heat balance allow one."""
    why = _why_not(bed, room, figures)
    if why or bed.ppm is None or bed.depth_cm is None or bed.shown_k_per_h is None:
        return Respiration(None, None, None, "D", why)
    height_m = (bed.depth_cm / 2.0 if bed.height_cm is None else bed.height_cm) / 100.0
    through = diffusivity_in_bed(figures.free_m2_s, figures.porosity)
    still = still_bed_rate_mg_per_kg_h(
        bed.ppm - room.ppm, height_m, bed.depth_cm / 100.0, bed.warm_c, figures.dry_kg_per_m3, through
    )
    kept_w = bed.shown_k_per_h * figures.heat_j_per_dry_kg_k / 3600.0
    low = max(still, aired_rate_mg_per_kg_h(kept_w, 0.0, 1.0))
    over_kg_m3 = co2_kg_per_m3(bed.ppm, bed.warm_c) - co2_kg_per_m3(room.ppm, room.warm_c)
    heat_j_m3 = max(0.0, _air_j_per_m3(bed.warm_c, 1.0) - _air_j_per_m3(room.warm_c, room.rh))
    if heat_j_m3 > figures.most_carried * _heat_j_per_kg_co2() * over_kg_m3:
        why = "the air takes most of the heat: only the least is known"
        return Respiration(None, _rate(low, figures), None, "D", why)
    rough = max(low, aired_rate_mg_per_kg_h(kept_w, heat_j_m3, over_kg_m3, still))
    return Respiration(
        _rate(rough, figures), _rate(low, figures), _rate(rough * figures.high_times, figures), "D"
    )


def _why_not(bed: Bed, room: Room, figures: Figures) -> str | None:
    if bed.ppm is None:
        return "no CO2 probe in the grain"
    if not _ALIVE_C[0] <= bed.warm_c <= _ALIVE_C[1] or not _ALIVE_C[0] <= room.warm_c <= _ALIVE_C[1]:
        return "no living grain is so warm, or so cold"
    if bed.depth_cm is None or bed.depth_cm <= 0.0:
        return "depth not recorded"
    if bed.height_cm is not None and bed.height_cm > 0.9 * bed.depth_cm:
        return "the CO2 probe hangs at the top of the bed or over it"
    if bed.since_turn_h is not None and bed.since_turn_h < figures.settle_h:
        return "turned too short a time ago"
    if bed.ppm - room.ppm < figures.least_over_ppm:
        return "too little CO2 over the room's to tell"
    if bed.shown_k_per_h is None or bed.shown_k_per_h <= 0.0:
        return "its heat cannot be told yet"
    return None


def _air_j_per_m3(warm_c: float, rh: float) -> float:
    """Heat in a cubic metre of moist air above dry air and water at 0 C, J."""
    ratio = air.humidity_ratio(warm_c, rh)
    return air.enthalpy_kj_per_kg(warm_c, ratio) * 1000.0 / air.volume_m3_per_kg(warm_c, ratio)


def _heat_j_per_kg_co2() -> float:
    return watts_per_tonne(1.0) * 3600.0 * 1000.0


def _rate(mg_per_kg_h: float, figures: Figures) -> Rate:
    return Rate(round(mg_per_kg_h, 1), round(watts_per_tonne(mg_per_kg_h) * figures.dry_kg_per_t / 1000.0, 1))
