"""What somebody standing by a gas probe would have breathed: rolling means with a lower and an upper bound.

    exposure = Exposure()
    take(exposure, gauge, measured_ms, ppm)          # each reading
    mean_15_min(exposure, gauge, now_ms)             # at any time, changes nothing; and mean_8_h
    exposure.short.highest, exposure.long.highest    # the highest of both, up to the newest reading

A reading stands until the next one, at most `hold_ms`; after that nothing is known: the lower bound counts it
as nothing, the upper one as the range end. So with the time before the first reading. Alarms go by the lower
bound, "reading down" by the upper. It is of a place, not of a person, and of no certified instrument.

Method: EH40 and 29 CFR 1910.1000(d). The 8-hour mean is what is in any 24 hours, divided by 8, however long
the shift; the 15-minute mean is that of any 15 minutes.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

from gateway.core.science.exposure_track import Highest, Rates, Span, Track

__all__ = [
    "HOURS_8",
    "MINUTES_15",
    "Exposure",
    "Gauge",
    "Highest",
    "Mean",
    "Span",
    "mean_8_h",
    "mean_15_min",
    "mean_of_day",
    "mg_per_m3",
    "mixture",
    "moved",
    "take",
]

#: The cells are ours: no longer than a gas probe's usual interval.
MINUTES_15 = Span(window_ms=900_000, divide_ms=900_000, cell_ms=5_000)
HOURS_8 = Span(window_ms=86_400_000, divide_ms=28_800_000, cell_ms=60_000)


class Gauge(NamedTuple):
    """An instrument: the end of its range (in its unit), and how long a reading stands for the air (ms)."""

    top: float
    hold_ms: int


class Mean(NamedTuple):
    """A mean in the probe's unit: it lies between `low` and `high`.

    `known_share` is how much of the window the probe spoke for, 0 to 1. With `over` it was at its range end
    in it: the mean was at least `low`, and `high` is no bound.
    """

    low: float
    high: float
    known_share: float
    over: bool


@dataclass(slots=True)
class Exposure:
    """One probe's; all times are Unix ms, `at_ms` is up to when the tracks are made (0: no reading yet)."""

    at_ms: int = 0
    last_ms: int = 0
    value: float = 0.0
    over_ms: int = 0
    short: Track = field(default_factory=Track)
    long: Track = field(default_factory=Track)


def take(exposure: Exposure, gauge: Gauge, measured_ms: int, value: float) -> bool:
    """Take a reading. False, and nothing is changed, if it is no number or not newer than what is known.

    Below 0 it counts as 0.
    """
    if not math.isfinite(value) or (exposure.at_ms and measured_ms <= exposure.last_ms):
        return False
    if not exposure.at_ms:
        for track, span in _tracks(exposure):
            track.begin(measured_ms - span.window_ms)
            track.forward(span, measured_ms, _unknown(gauge))
    elif measured_ms < exposure.at_ms:
        return False
    else:
        _commit(exposure, gauge, measured_ms)
    exposure.at_ms = exposure.last_ms = measured_ms
    exposure.value = max(0.0, value)
    return True


def mean_15_min(exposure: Exposure, gauge: Gauge, now_ms: int) -> Mean:
    """The mean of the 15 minutes up to now."""
    return _mean(exposure, gauge, exposure.short, MINUTES_15, now_ms)


def mean_8_h(exposure: Exposure, gauge: Gauge, now_ms: int) -> Mean:
    """What the 24 hours up to now hold, divided by 8 hours. Its upper bound means little before 24 hours."""
    return _mean(exposure, gauge, exposure.long, HOURS_8, now_ms)


def moved(exposure: Exposure, by_ms: int) -> None:
    """The clock the readings are dated by was set: everything was that much later."""
    if exposure.at_ms:
        exposure.at_ms += by_ms
        exposure.last_ms += by_ms
        exposure.over_ms += by_ms if exposure.over_ms else 0
        for track, _ in _tracks(exposure):
            track.move(by_ms)


def mean_of_day(periods: Iterable[tuple[float, float]]) -> float:
    """8-hour mean of a day told as (hours, concentration): sum over 8, in the concentration's unit."""
    return math.fsum(hours * value for hours, value in periods) / 8.0


def mixture(parts: Iterable[tuple[float, float]]) -> float:
    """What share of the limit substances that work alike use up together, from (concentration, limit).

    Above 1 is over. 29 CFR 1910.1000(d)(2).
    """
    return math.fsum(value / limit for value, limit in parts)


def mg_per_m3(ppm: float, molar_g: float, temperature_c: float, pressure_pa: float = 101_325.0) -> float:
    """mg of a gas per m3 from its share by volume (ideal gas; 8.314462618 J/(mol K), SI 2019)."""
    return ppm * 1e-3 * molar_g * pressure_pa / (8.314462618 * (temperature_c + 273.15))


def _tracks(exposure: Exposure) -> tuple[tuple[Track, Span], tuple[Track, Span]]:
    return (exposure.short, MINUTES_15), (exposure.long, HOURS_8)


def _unknown(gauge: Gauge) -> Rates:
    return 0.0, gauge.top, 0.0


def _steps(exposure: Exposure, gauge: Gauge, to_ms: int) -> list[tuple[int, Rates]]:
    """What the newest reading says of the time from `at_ms` on, as (until, rates): it stands, then ends."""
    stands_ms = min(max(exposure.last_ms + gauge.hold_ms, exposure.at_ms), to_ms)
    return [(stands_ms, (exposure.value, exposure.value, 1.0)), (to_ms, _unknown(gauge))]


def _commit(exposure: Exposure, gauge: Gauge, to_ms: int) -> None:
    for until_ms, rates in _steps(exposure, gauge, to_ms):
        for track, span in _tracks(exposure):
            track.forward(span, until_ms, rates)
    if exposure.value >= gauge.top:
        exposure.over_ms = min(exposure.last_ms + gauge.hold_ms, to_ms)
    exposure.at_ms = to_ms


def _mean(exposure: Exposure, gauge: Gauge, track: Track, span: Span, now_ms: int) -> Mean:
    if not exposure.at_ms:
        return Mean(0.0, gauge.top * span.window_ms / span.divide_ms, 0.0, False)
    now_ms = max(now_ms, exposure.at_ms)
    start_ms = now_ms - span.window_ms
    low, high, known_ms = track.areas(start_ms)
    at_ms = exposure.at_ms
    for until_ms, rates in _steps(exposure, gauge, now_ms):
        ms = max(0, until_ms - max(at_ms, start_ms))
        low, high, known_ms = low + rates[0] * ms, high + rates[1] * ms, known_ms + rates[2] * ms
        at_ms = until_ms
    stands = exposure.value >= gauge.top and exposure.last_ms + gauge.hold_ms > start_ms
    over = stands or exposure.over_ms > start_ms
    return Mean(low / span.divide_ms, high / span.divide_ms, known_ms / span.window_ms, over)
