"""What one probe has said lately: its last value, how fast it moves, what it missed."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar

#: A sample each minute and a half is plenty for a trend in grain; what the longest trend needs of them bounds
#: the state.
_SPACING_MS = 90_000
_SAMPLES, _SLACK = 31, 5
_HOUR_MS = 3_600_000
#: A trend is told only from at least this much; less is noise, more blurs a turn.
_TREND_SPAN_MS = 45 * 60_000
_TREND_LEAST_MS = 15 * 60_000
_TREND_LEAST_SAMPLES = 5
_DRIFT_SPAN_MS = 10 * 60_000
_DRIFT_LEAST_SAMPLES = 3


@dataclass(slots=True)
class Window:
    """One probe's recent past, calibrated. `heard_run_ms` is 0 until the first reading is taken.

    `times` count from `from_ms`, and `values` are rounded: short numbers keep the stored state small.
    """

    BRIEF: ClassVar[bool] = True

    value: float | None = None
    measured_ms: int = 0
    heard_run_ms: int = 0
    flags: int = 0
    battery: float | None = None
    silent: bool = False
    refused: str = ""
    behind_ms: int = 0
    conflict_run_ms: int = 0
    hour_run_ms: int = 0
    got: int = 0
    got_before: int = 0
    times: list[int] = field(default_factory=list)
    values: list[float] = field(default_factory=list)
    from_ms: int = 0

    def take(self, measured_ms: int, value: float, flags: int, run_ms: int, behind_ms: int = 0) -> bool:
        """Take a reading; True if it is newer than all before it (an older one changes no present value).

        `behind_ms`: how old it is, where that is too old to call anybody, else 0. Only what could call counts
        as heard: a probe whose clock is slow would otherwise watch nothing and never fall silent.
        """
        self.behind_ms = behind_ms
        if not behind_ms:
            self.heard_run_ms = run_ms
        self.refused = ""
        self.got += 1
        if run_ms - self.hour_run_ms >= _HOUR_MS:
            self._turn_hour(run_ms)
        if measured_ms <= self.measured_ms:
            return False
        self.measured_ms = measured_ms
        self.value = value
        self.flags = flags
        times = self.times
        if not times:
            self.from_ms = measured_ms
        if not times or measured_ms - self.from_ms - times[-1] >= _SPACING_MS:
            times.append(measured_ms - self.from_ms)
            self.values.append(round(value, 3))
            if len(times) > _SAMPLES + _SLACK:
                self._shorten()
        return True

    def ahead(self, of_ms: int, run_ms: int) -> bool:
        """Whether the newest reading was stamped after this moment, which has come since it was heard."""
        return self.measured_ms > of_ms and self.heard_run_ms < run_ms

    def give_up(self, of_ms: int) -> None:
        """Forget what was stamped after this moment: no such thing was measured yet."""
        while self.times and self.from_ms + self.times[-1] > of_ms:
            self.times.pop()
            self.values.pop()
        self.measured_ms = self.from_ms + self.times[-1] if self.times else 0

    def _shorten(self) -> None:
        times = self.times[_SLACK:]
        self.times = [one - times[0] for one in times]
        self.values = self.values[_SLACK:]
        self.from_ms += times[0]

    def _turn_hour(self, run_ms: int) -> None:
        started = self.hour_run_ms
        self.got_before = self.got if started and run_ms - started < 2 * _HOUR_MS else 0
        self.got = 0
        self.hour_run_ms = run_ms

    def trend_per_h(self, since_ms: int = 0) -> float | None:
        """Slope in units per hour over the last 45 min (only readings after `since_ms`), by least squares.

        None where less than 15 min or five samples tell of it.
        """
        points = self._points(max(self.measured_ms - _TREND_SPAN_MS, since_ms))
        if len(points) < _TREND_LEAST_SAMPLES or points[-1][0] - points[0][0] < _TREND_LEAST_MS:
            return None
        return _fit(points)[0] * _HOUR_MS

    def drift_per_h(self) -> float | None:
        """Slope in units per hour over the last 10 min, for air, which turns round within minutes.

        None where less than three samples tell of it, or it is not twice its own standard error.
        """
        points = self._points(self.measured_ms - _DRIFT_SPAN_MS)
        if len(points) < _DRIFT_LEAST_SAMPLES:
            return None
        slope, error = _fit(points)
        return slope * _HOUR_MS if abs(slope) >= 2 * error else None

    def _points(self, from_ms: int) -> list[tuple[int, float]]:
        start = from_ms - self.from_ms
        return [(t, v) for t, v in zip(self.times, self.values, strict=True) if t >= start]

    def missed_share(self, every_s: float, run_ms: int) -> float | None:
        """The share of expected readings that did not come in this hour and the last; None if too early."""
        if not self.hour_run_ms:
            return None
        span_ms = run_ms - self.hour_run_ms + (_HOUR_MS if self.got_before else 0)
        expected = int(span_ms / (every_s * 1000))
        if expected < 3:
            return None
        return max(0.0, 1.0 - (self.got + self.got_before) / expected)


def _fit(points: list[tuple[int, float]]) -> tuple[float, float]:
    """The slope of a straight line through points by least squares, and its standard error; three or more."""
    mean_t = sum(t for t, _ in points) / len(points)
    mean_v = sum(v for _, v in points) / len(points)
    spread = sum((t - mean_t) ** 2 for t, _ in points)
    slope = sum((t - mean_t) * (v - mean_v) for t, v in points) / spread
    left = sum((v - mean_v - slope * (t - mean_t)) ** 2 for t, v in points)
    return slope, (left / (len(points) - 2) / spread) ** 0.5
