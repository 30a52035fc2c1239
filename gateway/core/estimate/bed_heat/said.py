"""What is said of a bed's hours ahead: points with their bands, and when each limit is reached."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from gateway.core.estimate.bed_heat.ahead import KNOWN_TO_C, STEP_H, Ahead, Air, Doubts, carry
from gateway.core.estimate.bed_heat.fit import Figures, Fit, made_now

_HOUR_MS = 3_600_000
_STEP_MS = int(STEP_H * _HOUR_MS)
_AHEAD_MS = 12 * _HOUR_MS
_POINT_EACH = 2
#: 90 of 100 lie within so many standard deviations (normal distribution).
_NINETY = 1.645
#: A band of two hours wider than this to either side (K) is no forecast, unless all of it is warmer than now
#: (ours, grade D).
_TOO_WIDE_K = 1.5
_TOO_LITTLE = "the readings since the last turn do not say enough yet"
_TOO_HOT = "so warm that nobody can tell how it goes on: nothing is known of grain like that"


class Limit(NamedTuple):
    """A level by name, and its height (C) at a moment (Unix ms): limits ramp with the day on the floor."""

    name: str
    at: Callable[[int], float]


class Said(NamedTuple):
    """A moment (Unix ms), the temperature then, and the band that holds nine of ten (C)."""

    at_ms: int
    value_c: float
    low_c: float
    high_c: float


class Reach(NamedTuple):
    """When a limit is reached (Unix ms; None: not within twelve hours), at the earliest and at the latest."""

    name: str
    limit_c: float
    at_ms: int | None
    early_ms: int | None
    late_ms: int | None


@dataclass(frozen=True, slots=True)
class Forecast:
    """The hottest good thermometer of a bed for twelve hours, if nobody turns.

    Either `not_yet` says why there is none, and all else is empty; or `rate_k_per_h` is the heating now,
    `probe` the thermometer that is hottest, `points` each half hour and `moments` what was asked for.
    """

    bed: str
    made_ms: int
    not_yet: str | None = None
    rate_k_per_h: float | None = None
    probe: str | None = None
    points: tuple[Said, ...] = ()
    moments: tuple[Said, ...] = ()
    limits: tuple[Reach, ...] = ()


class Outlook(NamedTuple):
    """One thermometer carried forward from its last spot (Unix ms), and what its grain makes now, K/h."""

    probe: str
    from_ms: int
    ahead: list[Ahead]
    made_k_per_h: float

    @classmethod
    def of(
        cls,
        probe: str,
        from_ms: int,
        found: Fit,
        figures: Figures,
        air: Air,
        doubts: Doubts,
        hours: float,
    ) -> Outlook:
        """Carry a fit forward by some hours."""
        return cls(probe, from_ms, carry(found, figures, air, doubts, hours), made_now(found, figures))

    def at(self, at_ms: int) -> tuple[float, float, float]:
        """Temperature (C), standard deviation (K) and rate (K/h) at a moment, straight between steps."""
        place = max(0.0, (at_ms - self.from_ms) / _STEP_MS)
        i = min(int(place), len(self.ahead) - 2)
        share, one, other = min(1.0, place - i), self.ahead[i], self.ahead[i + 1]
        return (
            one.value_c + share * (other.value_c - one.value_c),
            one.sd_k + share * (other.sd_k - one.sd_k),
            one.rate_k_per_h + share * (other.rate_k_per_h - one.rate_k_per_h),
        )


def say(
    bed: str,
    made_ms: int,
    outlooks: list[Outlook],
    why_not: str | None,
    limits: Sequence[Limit],
    moments: Sequence[int],
) -> Forecast:
    """The forecast of a bed from those of its thermometers; without one, or too wide a band, the reason."""
    if why_not is not None or not outlooks:
        return Forecast(bed, made_ms, why_not or "no thermometer in the grain allows one")
    steps = [_said(outlooks, made_ms + i * _STEP_MS) for i in range(_AHEAD_MS // _STEP_MS + 1)]
    two_hours = steps[2 * _HOUR_MS // _STEP_MS]
    if _too_wide(steps[0].value_c, two_hours):
        hot = steps[0].value_c > KNOWN_TO_C
        return Forecast(bed, made_ms, _TOO_HOT if hot else _TOO_LITTLE)
    hottest = max(outlooks, key=lambda one: one.at(made_ms)[0])
    return Forecast(
        bed,
        made_ms,
        None,
        round(hottest.at(made_ms)[2], 3),
        hottest.probe,
        tuple(_rounded(said) for said in steps[_POINT_EACH::_POINT_EACH]),
        tuple(
            _rounded(_said(outlooks, at_ms)) for at_ms in moments if made_ms <= at_ms <= made_ms + _AHEAD_MS
        ),
        tuple(_reach(limit, steps) for limit in limits),
    )


def _too_wide(now_c: float, two_hours: Said) -> bool:
    """Whether a band says nothing: it is wide, and does not even say that it will be warmer than now."""
    half_k = max(two_hours.high_c - two_hours.value_c, two_hours.value_c - two_hours.low_c)
    return half_k > _TOO_WIDE_K and two_hours.low_c <= now_c


def _said(outlooks: list[Outlook], at_ms: int) -> Said:
    """The hottest of them: as hot as the hottest, and its band no lower than any of theirs."""
    each = [outlook.at(at_ms) for outlook in outlooks]
    return Said(
        at_ms,
        max(value for value, _, _ in each),
        max(value - _NINETY * sd for value, sd, _ in each),
        max(value + _NINETY * sd for value, sd, _ in each),
    )


def _rounded(said: Said) -> Said:
    return Said(said.at_ms, round(said.value_c, 2), round(said.low_c, 2), round(said.high_c, 2))


def _reach(limit: Limit, steps: list[Said]) -> Reach:
    heights = [limit.at(step.at_ms) for step in steps]
    at_ms = _first(steps, heights, [step.value_c for step in steps])
    early_ms = _first(steps, heights, [step.high_c for step in steps])
    late_ms = _first(steps, heights, [step.low_c for step in steps])
    height_c = limit.at(at_ms if at_ms is not None else steps[0].at_ms)
    return Reach(limit.name, round(height_c, 2), at_ms, early_ms, late_ms)


def _first(steps: list[Said], heights: list[float], values: list[float]) -> int | None:
    """The first moment at which a curve is at or over the limit, straight between steps."""
    before = 0.0
    for i, (step, height, value) in enumerate(zip(steps, heights, values, strict=True)):
        over_k = value - height
        if over_k >= 0.0:
            if i == 0:
                return step.at_ms
            return step.at_ms - int(_STEP_MS * over_k / (over_k - before))
        before = over_k
    return None
