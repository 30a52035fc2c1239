"""Whether a probe stands still, is unrestful, jumps, or reads too low: by its own past, reading by reading.

    take(track, measured_ms, value, every_ms, figures, floor)   # each reading, newest after newest
    stuck(track, figures, every_ms, moved)              # now and then

No fixed time says what is stuck: a thermometer of 0.1 K steps stands for two hours in a still room, and one
of 0.01 K never for one. A run of one value is held against the longest that this probe has had before; that
memory fades slowly, so that a quiet season is learnt and a lively one too.
"""

from __future__ import annotations

from gateway.core.estimate.honest_state import Figures, Track

_HOUR_MS, _DAY_MS = 3_600_000, 86_400_000
_MINUTE_MS = 60_000
#: Fewer runs than these tell no habit; a probe is known after a day, and half known after six hours.
_RUNS = 20
_HALF_KNOWN_MS = 6 * _HOUR_MS
#: A hole of more intervals than this is no standing still.
_HOLE = 5
#: What is left of the longest run's memory after a day.
_FADES = 0.97
#: Intervals that any run must have before it can be called stuck.
_LEAST_READINGS = 8
#: Unrest is told from the last half hour of minutes, and from so many before it; the habit is of days.
_QUICK, _SLOW, _NOISE_KNOWN = 1 / 30, 1 / 2880, 360
#: This share of the minutes beyond the limit is noise; below that one it is over.
_NOISY, _CALM = 0.5, 0.2
#: Changes smaller than this are arithmetic's.
_TINY = 1e-6


def take(track: Track, measured_ms: int, value: float, every_ms: int, figures: Figures, floor: float) -> None:
    """Take the newest reading of a probe that speaks each `every_ms`; unrest below `floor` is none."""
    gap_ms = measured_ms - track.heard_ms
    if not track.since_ms:
        track.since_ms = track.aged_ms = track.sampled_ms = measured_ms
        track.value = track.last = track.before = value
    elif gap_ms <= 0:
        return
    elif gap_ms > _HOLE * every_ms:
        track.since_ms += gap_ms
        track.samples = 0
    else:
        track.known_ms += gap_ms
    track.heard_ms = measured_ms
    change = abs(value - track.value)
    if change > _TINY:
        _ran(track, measured_ms)
        if not track.step or change < track.step:
            track.step = change
        track.value, track.since_ms = value, measured_ms
    if measured_ms - track.sampled_ms >= _MINUTE_MS:
        _sample(track, measured_ms, value, figures, floor)


def _ran(track: Track, measured_ms: int) -> None:
    """A run is over: it is a habit from now on, but a fault must not teach that faults are usual."""
    days, rest_ms = divmod(measured_ms - track.aged_ms, _DAY_MS)
    if days > 0:
        track.longest_ms = int(track.longest_ms * _FADES**days)
        track.aged_ms = measured_ms - rest_ms
    run_ms = measured_ms - track.since_ms
    if "probe_stuck" in track.faults:
        run_ms = min(run_ms, track.longest_ms * 3 // 2)
    track.longest_ms = max(track.longest_ms, run_ms)
    track.runs += 1


def _sample(track: Track, measured_ms: int, value: float, figures: Figures, floor: float) -> None:
    track.sampled_ms = measured_ms
    track.samples += 1
    if track.samples > 2:
        unrest = abs(value - 2.0 * track.last + track.before)
        limit = max(floor, figures.noise_times * max(track.slow, track.step))
        track.quick += ((1.0 if unrest > limit else 0.0) - track.quick) * _QUICK
        if "probe_noisy" not in track.faults:
            share = max(_SLOW, 1.0 / (track.samples + 30))
            track.slow += (min(unrest, limit) - track.slow) * share
    track.before, track.last = track.last, value


def still_ms(track: Track) -> int:
    """How long the present value has stood."""
    return track.heard_ms - track.since_ms


def stuck(track: Track, figures: Figures, every_ms: int, moved: bool) -> bool:
    """Whether so long a run of one value is not this probe's way; `moved`: its neighbours moved meanwhile."""
    run_ms = still_ms(track)
    times, least_h = figures.still_times, figures.still_least_h
    before_ms = track.known_ms - run_ms if track.runs >= _RUNS else 0
    if moved and before_ms >= _HALF_KNOWN_MS:
        times, least_h = figures.still_times_seen, figures.still_seen_h
    elif before_ms < _DAY_MS:
        least_h = figures.still_new_h
    least_ms = max(int(least_h * _HOUR_MS), _LEAST_READINGS * every_ms)
    return run_ms >= max(least_ms, int(times * track.longest_ms))


def noisy(track: Track) -> bool:
    """Whether most of the last half hour's minutes had far more unrest than this probe's days before.

    A single leap, however far, is no noise; it ends later than it begins, so as not to come and go.
    """
    if track.samples < _NOISE_KNOWN:
        return False
    return track.quick >= (_CALM if "probe_noisy" in track.faults else _NOISY)


def low(track: Track, figures: Figures, value: float, measured_ms: int) -> bool:
    """Whether CO2 has read below outdoor air for an hour; over after a day above it: people breathe, too."""
    lowest = figures.outdoor_ppm - figures.co2_accuracy_ppm
    was = "probe_low" in track.faults
    if (value < lowest) == was:
        track.low_since_ms = 0
        return was
    if not track.low_since_ms:
        track.low_since_ms = measured_ms
    return not was if measured_ms - track.low_since_ms >= (_DAY_MS if was else _HOUR_MS) else was
