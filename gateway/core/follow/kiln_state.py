"""What is kept of each kiln's load."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar

from gateway.core.estimate.heat_damage import HeatDamage
from gateway.core.estimate.kiln_break import BreakWatch
from gateway.core.estimate.moisture import Load


@dataclass(slots=True)
class Kilning:
    """One load, from its loading (or its fire, where no loading was recorded) until it is stripped.

    Times are Unix ms, 0 for not: `began_ms` when it was first followed, `lit_ms` the first fire,
    `hand_dry_ms` as recorded, `break_raised` whether the fire was raised while a break stood.
    `fan` False: stands; `fire` is out, lit or damped, as recorded. `since` is since when (running time) each
    condition of the watch holds, or its end. `told` are those that are alarms. `unlikely_ms`: when air-off
    last warmed as at a break, with more water in the load than any draught could have left there.
    `behind_ms`: how much of a fire before it was followed has still to be reckoned.
    `burned`: the fire was seen in air-on since it was last lit. `low_share`: how far of the way to air-on
    grain low in the load has come since it was last turned. `break_weighed`: the break was taken for a
    sample.
    """

    GONE: ClassVar[tuple[str, ...]] = ("watched_min",)

    piece: str | None = None
    began_ms: int = 0
    lit_ms: int = 0
    hand_dry_ms: int = 0
    stripped_ms: int = 0
    fire: str = "out"
    fan: bool = True
    stage: int = 0
    stage_ms: int = 0
    break_raised: bool = False
    watch: BreakWatch = field(default_factory=BreakWatch)
    load: Load | None = None
    damage: HeatDamage = field(default_factory=HeatDamage)
    dried_ms: int = 0
    air_flow_measured: bool = False
    since: dict[str, int] = field(default_factory=dict)
    told: list[str] = field(default_factory=list)
    unlikely_ms: int = 0
    behind_ms: int = 0
    burned: bool = False
    low_share: float = 0.0
    break_weighed: bool = False


@dataclass(slots=True)
class Kilns:
    """Kilns by place, and when they are next looked at (running time)."""

    now: dict[str, Kilning] = field(default_factory=dict)
    next_run_ms: int = 0
