"""Moisture left in the kiln's load, by layer, with a band, and how long to hand-dry and to the target.

    load = loaded(settings, dry_kg, barley_t, grain_c)       # moisture_wb where somebody measured it
    pass_air(load, settings, physics, seconds, Air(...))     # while air goes through: each minute or so
    turned(load, share)                                      # kiln-turning
    left(load, settings, rest_db)                            # what is left

Three loads are reckoned side by side: as told, one that dries faster than told and began drier, one that
dries slower and began wetter. They make the band. Where the air flow is measured, the water that leaves is
what the air carries off (mass balance, air-off's humidity from the temperatures along the line of constant
wet bulb); the layers share it as the drying law says. The further air-off has warmed, the more the law has
its say: by then a small error of the probes is as large as what still leaves, and dry grain gives no more
water, however wrong the flow was. Where no flow is measured, the law and a guessed one say it all, and the
band is wide. Never measured: a sample in the oven is worth more than all of this.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import ClassVar, NamedTuple

from gateway.core.estimate.moisture_layers import Draught, Physics, Stack, flow_through
from gateway.core.science.grain import db_of_wb, wb_of_db
from gateway.core.science.psychrometrics import STANDARD_PA, ratio_after_load, volume_m3_per_kg, wet_bulb_c

_H_S = 3600.0
#: The rate of drying is a mean over about this, so that one opened door does not move the hours left.
_RATE_H = 1.0
#: From here on drying is reckoned to slow down (kg per kg of dry matter).
_BEND_DB = 0.2


@dataclass(frozen=True, slots=True)
class MoistureSettings:
    """See config/kiln-physics.toml, [moisture]: what each is, and its grade."""

    layers: int
    loaded_wb: float
    loaded_wb_sd: float
    air_flow_share_sd: float
    guessed_air_m3_h_t: float
    guessed_air_share_sd: float
    rate_share_sd: float
    rest_share_sd: float
    turned_share: float
    dry_kj_per_kg_k: float
    full_rh: float
    hand_dry_wb: float
    target_wb: float
    sample_sd: float
    break_sd: float = 0.04


class Air(NamedTuple):
    """Air through the load: air-on (C, kg/kg), air-off (C) and flow in m3/h as measured at `flow_c`.

    Without `flow_m3_h` it is guessed from the load; without `off_c` there is no mass balance.
    """

    on_c: float
    ratio_on: float
    off_c: float | None
    flow_m3_h: float | None
    flow_c: float
    pressure_pa: float = STANDARD_PA


class Band(NamedTuple):
    """A mean, and what it lies between: one standard deviation of what is not known, taken together."""

    low: float
    mean: float
    high: float


class Left(NamedTuple):
    """Moisture (share of the whole) of the load and of its layers from below; kg of water gone; hours to go.

    Hours are None where this air would never get it there; 0 where it is there.
    """

    wb: Band
    layers_wb: tuple[Band, ...]
    removed_kg: Band
    hand_dry_h: tuple[float | None, float | None]
    target_h: tuple[float | None, float | None]


@dataclass(slots=True)
class Member:
    """One of the three loads. `sway` is where it stands in what is not known: -1, 0 or 1."""

    sway: float
    stack: Stack
    began_db: float
    rate_kg_h: float = 0.0


@dataclass(slots=True)
class Load:
    """The load of one kilning; `barley_t` is what the guessed air flow goes by."""

    GONE: ClassVar[tuple[str, ...]] = ("balanced",)

    dry_kg: float
    barley_t: float
    members: list[Member] = field(default_factory=list)


def loaded(
    settings: MoistureSettings,
    dry_kg: float,
    barley_t: float,
    grain_c: float,
    moisture_wb: float | None = None,
    sd: float | None = None,
) -> Load:
    """A load as laid on: dry matter in kg, tonnes of barley, temperature, moisture where it was measured."""
    wb, spread = moisture_wb or settings.loaded_wb, settings.loaded_wb_sd if sd is None else sd
    load = Load(dry_kg, barley_t)
    for sway in (-1.0, 0.0, 1.0):
        db = db_of_wb(min(0.9, max(0.02, wb - sway * spread)))
        layers = settings.layers
        load.members.append(Member(sway, Stack([db] * layers, [grain_c] * layers, dry_kg / layers), db))
    return load


def pass_air(load: Load, settings: MoistureSettings, physics: Physics, seconds: float, air: Air) -> None:
    """So many seconds of air through the load. ValueError, and nothing changed, for air that cannot be."""
    known = air.flow_m3_h
    flow_m3_h = settings.guessed_air_m3_h_t * load.barley_t if known is None else known
    spread = settings.guessed_air_share_sd if known is None else settings.air_flow_share_sd
    air_kg = flow_m3_h * seconds / _H_S / volume_m3_per_kg(air.flow_c, air.ratio_on, air.pressure_pa)
    carried, warm_share = _carried(air) if known is not None else (None, 0.0)
    for member in load.members:
        swayed_kg = max(0.0, air_kg * (1.0 + member.sway * spread))
        draught = Draught(swayed_kg, air.on_c, air.ratio_on, carried, warm_share)
        law = physics._replace(
            eager=1.0 + member.sway * settings.rate_share_sd, holds=1.0 - member.sway * settings.rest_share_sd
        )
        gone_kg = flow_through(member.stack, law, seconds, draught)
        if seconds > 0.0:
            part = -math.expm1(-seconds / _H_S / _RATE_H)
            member.rate_kg_h += (gone_kg * _H_S / seconds - member.rate_kg_h) * part


def _carried(air: Air) -> tuple[float | None, float]:
    """kg of water per kg of dry air by mass balance, and how far air-off has warmed (0 to 1)."""
    if air.off_c is None:
        return None, 0.0
    after = ratio_after_load(air.on_c, air.ratio_on, air.off_c, air.pressure_pa)
    wet_c = wet_bulb_c(air.on_c, air.ratio_on, air.pressure_pa)
    warm = (air.off_c - wet_c) / max(air.on_c - wet_c, 1.0)
    return max(0.0, after - air.ratio_on), min(1.0, max(0.0, warm))


def turned(load: Load, share: float) -> None:
    """Kiln-turning: every layer comes so much nearer (0 to 1) to the mean of the load."""
    for member in load.members:
        member.stack.mix(share)


def measured(load: Load, moisture_wb: float, sd: float) -> None:
    """A sample was weighed: the load is as wet as that, its layers in the proportion reckoned before."""
    for member in load.members:
        want_db = db_of_wb(min(0.9, max(0.01, moisture_wb - member.sway * sd)))
        share = want_db / max(member.stack.mean_db(), 1e-6)
        member.stack.moisture[:] = [db * share for db in member.stack.moisture]


def left(load: Load, settings: MoistureSettings, rest_db: float) -> Left:
    """What is left now; `rest_db` is the equilibrium in the present air-on (Isotherm.moisture_db)."""
    stacks = [member.stack for member in load.members]
    layers = zip(*(stack.moisture for stack in stacks), strict=True)
    return Left(
        _band([wb_of_db(stack.mean_db()) for stack in stacks]),
        tuple(_band([wb_of_db(max(0.0, db)) for db in layer]) for layer in layers),
        _band([load.dry_kg * (one.began_db - one.stack.mean_db()) for one in load.members]),
        _hours(load, db_of_wb(settings.hand_dry_wb), rest_db),
        _hours(load, db_of_wb(settings.target_wb), rest_db),
    )


def _band(values: list[float]) -> Band:
    return Band(min(values), values[1], max(values))


def _hours(load: Load, to_db: float, rest_db: float) -> tuple[float | None, float | None]:
    """The soonest and the latest of the three loads."""
    found = [_hours_of(load.dry_kg, member, to_db, rest_db) for member in load.members]
    told = [one for one in found if one is not None]
    return (min(told) if told else None, max(told) if len(told) == len(found) else None)


def _hours_of(dry_kg: float, member: Member, to_db: float, rest_db: float) -> float | None:
    """At the present rate down to _BEND_DB, from there on slower and slower towards rest."""
    now_db, rate_db_h = member.stack.mean_db(), member.rate_kg_h / dry_kg
    if now_db <= to_db:
        return 0.0
    if rate_db_h <= 1e-6 or to_db <= rest_db:
        return None
    bend_db = min(now_db, max(to_db, _BEND_DB, rest_db))
    straight_h = (now_db - bend_db) / rate_db_h
    if to_db >= bend_db:
        return straight_h
    return straight_h + (bend_db - rest_db) / rate_db_h * math.log((bend_db - rest_db) / (to_db - rest_db))
