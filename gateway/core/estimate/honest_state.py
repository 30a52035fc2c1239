"""What is kept of each probe to tell whether it is honest, and the few figures of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar


@dataclass(frozen=True, slots=True)
class Figures:
    """When a probe is doubted; each is a default of ours (grade D) unless it says otherwise.

    `still_times`: a run of one value this many times as long as the longest before is a stuck probe; with
    neighbours seen to move meanwhile, `still_times_seen`. Never less than `still_least_h`, or `still_seen_h`;
    of a probe not yet known for a day, than `still_new_h`. `back_within_min`: practice of the trade (p).
    `air_k`: nearer to the room's air than this is in it. `hand_k`: practice of the trade (p).
    `outdoor_ppm`: the clean air of the 2020s, rounded down from 425 (global mean of 2024, from memory);
    `co2_accuracy_ppm`: 30 ppm and 3 % of that, what data sheets of common infrared cells say (from memory).
    `noise_times`: so much more unrest than its own before. `jump_k`, `jump_rh`: neither air nor grain changes
    so between two readings. `bias_k`: off from its neighbours, turn after turn, in mixed grain.
    `gas_calibrate_days`, `gas_bump_days`: how often a gas probe wants calibrating, and trying with gas, where
    its own row does not say (common practice, no source); 0 for never.
    """

    still_times: float = 4.0
    still_times_seen: float = 1.25
    still_least_h: float = 4.0
    still_seen_h: float = 1.0
    still_new_h: float = 12.0
    back_within_min: float = 45.0
    air_k: float = 0.7
    hand_k: float = 1.0
    outdoor_ppm: float = 420.0
    co2_accuracy_ppm: float = 43.0
    noise_times: float = 5.0
    jump_k: float = 10.0
    jump_rh: float = 50.0
    bias_k: float = 1.0
    gas_calibrate_days: float = 180.0
    gas_bump_days: float = 30.0


@dataclass(slots=True)
class Track:
    """One probe's habits. Times are Unix ms, by the reading.

    The run: `value` has stood since `since_ms`; `heard_ms` is the newest reading. The habit: `step`, the
    smallest change seen; `longest_ms`, the longest run before this one, slowly forgotten; `known_ms`, how
    long it has been heard; `runs`. Unrest, the change of slope between minutes: its mean of days is `slow`,
    `quick` the share of the last half hour's that were far more; `last`, `before` are the two samples it is
    made from. `beside`: what its neighbours said when the run was first looked at, the one since `beside_ms`.
    `faults`: what is said of it, since when.
    """

    BRIEF: ClassVar[bool] = True

    value: float = 0.0
    since_ms: int = 0
    heard_ms: int = 0
    step: float = 0.0
    longest_ms: int = 0
    runs: int = 0
    known_ms: int = 0
    aged_ms: int = 0
    sampled_ms: int = 0
    samples: int = 0
    last: float = 0.0
    before: float = 0.0
    quick: float = 0.0
    slow: float = 0.0
    low_since_ms: int = 0
    jumped_ms: int = 0
    zeros: int = 0
    beside: float | None = None
    beside_ms: int = 0
    refused: int = 0
    refused_run_ms: int = 0
    biases: list[float] = field(default_factory=list)
    faults: dict[str, int] = field(default_factory=dict)


@dataclass(slots=True)
class Count:
    """A bed that was emptied, by entry `n`: of so many thermometers, which were not seen to come out yet.

    Times are Unix ms; nobody is asked before `asked_ms`.
    """

    n: int
    bed: str
    when_ms: int
    asked_ms: int
    of: int
    left: list[str]


@dataclass(slots=True)
class Honesty:
    """Probes by id. `away`: which hang out of the grain, and why: not_back or high; `away_ms`,
    since when it is known.

    `trails`: each bed thermometer's distance from the room's air (hundredths of a kelvin), one each five
    minutes, None where it was not known; the newest is of `looked_ms`. `airs`: that air itself, bed by bed.
    `mixed`: the end of the turn after which each bed's thermometers were compared. `by_hand`: what a
    thermometer put in by hand said beside a probe, and the probe, where they do not agree. `due`: what is due
    at a probe by its dates; the next look at them is at `dates_run_ms`. `counts`: beds whose thermometers are
    being counted out.
    """

    tracks: dict[str, Track] = field(default_factory=dict)
    away: dict[str, str] = field(default_factory=dict)
    away_ms: dict[str, int] = field(default_factory=dict)
    trails: dict[str, list[int | None]] = field(default_factory=dict)
    airs: dict[str, list[int | None]] = field(default_factory=dict)
    mixed: dict[str, int] = field(default_factory=dict)
    by_hand: dict[str, tuple[float, float]] = field(default_factory=dict)
    looked_ms: int = 0
    next_run_ms: int = 0
    due: dict[str, str] = field(default_factory=dict)
    dates_run_ms: int = 0
    counts: list[Count] = field(default_factory=list)
