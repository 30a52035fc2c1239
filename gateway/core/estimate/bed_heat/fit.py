"""One place's heat balance since its last turn: what it makes, what the room pulls, how loose it lies.

    dT/dt = make * growth(age) * q10^((T - 16)/10) - (pull + loose * exp(-since_turn / 3 h)) * (T - T_room)

Integrated over the measured temperature this is linear in its four unknowns (the level at the start is the
fourth), so a fit is one small set of normal equations, with what earlier stretches taught as its prior.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import NamedTuple

#: Respiration by hours since casting, relative to its mean over five days; straight between (grade C).
GROWTH = (
    (0.0, 0.3), (12.0, 0.4), (36.0, 0.9), (60.0, 1.3), (84.0, 1.3), (108.0, 1.1), (132.0, 0.9), (156.0, 0.8),
)  # fmt: skip
MAKE, PULL, LOOSE = 0, 1, 2


@dataclass(frozen=True, slots=True)
class Figures:
    """The figures of a fit; each is a default of ours that a site may set, with its grade.

    `q10`: C, 1.8 to 2.5 between 5 and 25 C; `reference_c` where it is 1. From `tired_c` up it grows no
    more (D). `growth`: C. `usual`, `usual_sd`: what is expected of a bed never seen (D): K/h made at full
    growth and 16 C, the room's pull per hour, and how much more of it there is just after a turn.
    `change_sd`: how far each may change from one stretch to the next (D). `least_pull`: no bed has less (D).
    `loose_h`: how soon a turned bed closes again (D). `room_c`, `room_sd_k`: where no thermometer tells of
    the room (C): so far off all along, which the fit takes up as one constant push among its unknowns.
    `room_stray_k`: how far it may stray in the hours ahead, at least (D).
    """

    q10: float = 2.0
    reference_c: float = 16.0
    tired_c: float = 30.0
    growth: tuple[tuple[float, float], ...] = GROWTH
    usual: tuple[float, float, float] = (0.6, 0.08, 0.05)
    usual_sd: tuple[float, float, float] = (0.5, 0.05, 0.08)
    change_sd: tuple[float, float, float] = (0.12, 0.015, 0.03)
    least_pull: float = 0.01
    loose_h: float = 3.0
    room_c: float = 12.0
    room_sd_k: float = 3.0
    room_stray_k: float = 0.5

    def grown(self, age_h: float | None) -> float:
        """Relative respiration at an age; 1 where none is known."""
        if age_h is None:
            return 1.0
        knots = self.growth
        if age_h <= knots[0][0]:
            return knots[0][1]
        for (a0, r0), (a1, r1) in pairwise(knots):
            if age_h <= a1:
                return r0 + (r1 - r0) * (age_h - a0) / (a1 - a0)
        return knots[-1][1]

    def warmth(self, warm_c: float) -> float:
        """Factor on respiration at a temperature (C), 1 at the reference."""
        return math.exp((min(warm_c, self.tired_c) - self.reference_c) / 10.0 * math.log(self.q10))


class Point(NamedTuple):
    """One measured point: hours since the stretch began, C, the room's C, its standard deviation in K.

    `told`: whether a thermometer told of the room then.
    """

    hour: float
    value_c: float
    room_c: float
    sd_k: float
    told: bool = True


class Stretch(NamedTuple):
    """The points since a turn; age and time since the turn (hours) when they begin, None where unknown."""

    points: list[Point]
    age_h: float | None
    since_turn_h: float | None


@dataclass(slots=True)
class Known:
    """What is known of one place: means and covariance (rows one after the other) of make, pull, loose.

    `by_room`: by how much the means would be others had the untold room been 1 K warmer than was taken.
    """

    means: list[float]
    spreads: list[float]
    by_room: list[float] = field(default_factory=lambda: [0.0, 0.0, 0.0])


class Fit(NamedTuple):
    """A fitted stretch. `theta` is level at the start, make, pull, loose; `row` makes the level now of it.

    `by_room`: by how much `theta` would be other had the untold room been 1 K warmer than was taken;
    `warmed_k`: by how much that room would have warmed this place since, by itself. `about_c`: where
    what is made was measured: midway between the mean of the points and the last.
    """

    theta: list[float]
    covariance: list[list[float]]
    row: list[float]
    waver_k: float
    stretch: Stretch
    by_room: list[float]
    warmed_k: float
    about_c: float

    def level_c(self) -> float:
        """The temperature at the last point, smoothed, C."""
        return sum(a * b for a, b in zip(self.theta, self.row, strict=True))


def unseen(figures: Figures) -> Known:
    """What is expected of a place never seen."""
    spreads = [0.0] * 9
    for i, sd in enumerate(figures.usual_sd):
        spreads[4 * i] = sd * sd
    return Known(list(figures.usual), spreads)


def loosened(figures: Figures, since_turn_h: float | None) -> float:
    """How much of the looseness of a turn is left; none where no turn is known."""
    return 0.0 if since_turn_h is None else math.exp(-since_turn_h / figures.loose_h)


def fit(stretch: Stretch, known: Known, figures: Figures) -> Fit:
    """The unknowns that explain a stretch best, given what was known; of one point only its level is."""
    rows = _rows(stretch, figures)
    prior = inverse([known.spreads[0:3], known.spreads[3:6], known.spreads[6:9]])
    normal = [[1e-6, 0.0, 0.0, 0.0], *([0.0, *row] for row in prior)]
    right = [0.0, *(sum(a * b for a, b in zip(row, known.means, strict=True)) for row in prior)]
    for row, point in zip(rows, stretch.points, strict=True):
        weight = 1.0 / point.sd_k**2
        for i in range(4):
            scaled = weight * row[i]
            right[i] += scaled * point.value_c
            into = normal[i]
            for j in range(4):
                into[j] += scaled * row[j]
    covariance = inverse(normal)
    theta = _times(covariance, right)
    if theta[1 + PULL] < figures.least_pull:
        normal[1 + PULL][1 + PULL] += 1e9
        right[1 + PULL] += 1e9 * figures.least_pull
        theta = _times(inverse(normal), right)
    warmed = _warmed(theta, stretch, figures)
    push = [0.0, *_times(prior, known.by_room)]
    for row, point, by_room_k in zip(rows, stretch.points, warmed, strict=True):
        for i in range(4):
            push[i] -= row[i] * by_room_k / point.sd_k**2
    waver_k = _waver(theta, rows, stretch.points)
    by_room = _times(inverse(normal), push)
    mean_c = sum(point.value_c for point in stretch.points) / len(stretch.points)
    about_c = (mean_c + sum(a * b for a, b in zip(theta, rows[-1], strict=True))) / 2.0
    return Fit(theta, covariance, rows[-1], waver_k, stretch, by_room, warmed[-1], about_c)


def made_now(found: Fit, figures: Figures) -> float:
    """What is made at the last point, K per hour, as far as the temperatures show it."""
    stretch = found.stretch
    age_h = None if stretch.age_h is None else stretch.age_h + stretch.points[-1].hour
    return found.theta[1 + MAKE] * figures.grown(age_h) * figures.warmth(found.level_c())


def carried(found: Fit, figures: Figures) -> Known:
    """What a finished stretch teaches the next one: its answer, a little forgotten."""
    spreads = [found.covariance[1 + i][1 + j] for i in range(3) for j in range(3)]
    for i in range(3):
        spreads[4 * i] += figures.change_sd[i] ** 2
    for i, most in enumerate(figures.usual_sd):
        shrink = min(1.0, most / math.sqrt(spreads[4 * i]))
        for j in range(3):
            spreads[3 * i + j] *= shrink
            spreads[3 * j + i] *= shrink
    # Rounded: the tenth figure says nothing, and takes room in what is stored.
    by_room = [round(one, 6) for one in found.by_room[1:]]
    return Known([round(mean, 6) for mean in found.theta[1:]], [round(one, 9) for one in spreads], by_room)


def _rows(stretch: Stretch, figures: Figures) -> list[list[float]]:
    """For each point what one of each unknown has done to its temperature since the stretch began."""
    made = pulled = loose = 0.0
    before: Point | None = None
    rows = []
    for point in stretch.points:
        if before is not None:
            span_h = point.hour - before.hour
            middle_h = (point.hour + before.hour) / 2.0
            warm_c = (point.value_c + before.value_c) / 2.0
            over_k = warm_c - (point.room_c + before.room_c) / 2.0
            age_h = None if stretch.age_h is None else stretch.age_h + middle_h
            since_h = None if stretch.since_turn_h is None else stretch.since_turn_h + middle_h
            made += span_h * figures.grown(age_h) * figures.warmth(warm_c)
            pulled -= span_h * over_k
            loose -= span_h * over_k * loosened(figures, since_h)
        rows.append([1.0, made, pulled, loose])
        before = point
    return rows


def _warmed(theta: Sequence[float], stretch: Stretch, figures: Figures) -> list[float]:
    """For each point by how much an untold room 1 K warmer would have warmed it since the stretch began."""
    total, before, since_h = 0.0, stretch.points[0], stretch.since_turn_h
    found = []
    for point in stretch.points:
        if not point.told:
            middle_h = (point.hour + before.hour) / 2.0
            open_share = loosened(figures, None if since_h is None else since_h + middle_h)
            total += (point.hour - before.hour) * (theta[1 + PULL] + theta[1 + LOOSE] * open_share)
        found.append(total)
        before = point
    return found


def _waver(theta: Sequence[float], rows: list[list[float]], points: list[Point]) -> float:
    """How far the points stand off the fit, in their own standard deviations (root mean square)."""
    total = 0.0
    for row, point in zip(rows, points, strict=True):
        off = (point.value_c - sum(a * b for a, b in zip(theta, row, strict=True))) / point.sd_k
        total += min(off * off, 16.0)
    return math.sqrt(total / len(points))


def _times(matrix: list[list[float]], vector: list[float]) -> list[float]:
    return [sum(a * b for a, b in zip(row, vector, strict=True)) for row in matrix]


def inverse(matrix: list[list[float]]) -> list[list[float]]:
    """The inverse of a small symmetric positive matrix."""
    size = len(matrix)
    rows = [[*row, *(1.0 if i == j else 0.0 for j in range(size))] for i, row in enumerate(matrix)]
    for i in range(size):
        pivot = rows[i][i]
        rows[i] = [value / pivot for value in rows[i]]
        for k in range(size):
            factor = rows[k][i]
            if k != i and factor:
                rows[k] = [a - factor * b for a, b in zip(rows[k], rows[i], strict=True)]
    return [row[size:] for row in rows]
