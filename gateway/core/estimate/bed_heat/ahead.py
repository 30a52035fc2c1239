"""A fitted heat balance carried forward: the temperature ahead, and how sure it is."""

from __future__ import annotations

import math
from typing import NamedTuple

from gateway.core.estimate.bed_heat.fit import LOOSE, MAKE, PULL, Figures, Fit, loosened

STEP_H = 0.25
#: Nothing alive is warmer; a balance that runs away stops here (C).
_WARMEST_C = 50.0
#: Up to here it is known how growth answers to warmth (C, as the figure for `q10`); beyond, doubly less.
KNOWN_TO_C = 25.0
#: What the room does now it does for about so long (ours, grade D).
_TIRES_H = 2.0


class Ahead(NamedTuple):
    """One place ahead of its last point: hours, C, its standard deviation in K, the rate in K/h."""

    hour: float
    value_c: float
    sd_k: float
    rate_k_per_h: float


class Air(NamedTuple):
    """The room now (C), how it moves (K/h), and how far it may stray in the hours ahead (K, one sd).

    `untold_k`: how far it may be from that all along, where no thermometer tells of it.
    """

    now_c: float
    k_per_h: float = 0.0
    sd_k: float = 0.0
    untold_k: float = 0.0

    def at_c(self, hour: float) -> float:
        """The room some hours ahead, C: it goes on as it does, and tires."""
        return self.now_c + self.k_per_h * _TIRES_H * (1.0 - math.exp(-hour / _TIRES_H))


class _Push(NamedTuple):
    """The rate at one moment (K/h), by how much warmth, make, pull, loose, room and ln q10 change it."""

    rate: float
    by_warmth: float
    by: tuple[float, float, float, float, float]


class Doubts(NamedTuple):
    """What the balance leaves out, as standard deviations: K of the thermometers, K/h of the rate.

    The rate strays as a random walk does, `rate_k_per_h` in the first hour. `ln_q10`: the logarithm of how
    growth answers to 10 K; it tells the more, the further grain goes from where its growth was measured.
    `factor` widens or narrows all but `level_k` by how right earlier forecasts of this bed were: what a
    thermometer errs by is in what it says later, too, and no later reading proves it.
    """

    level_k: float
    rate_k_per_h: float
    ln_q10: float
    factor: float = 1.0


def carry(found: Fit, figures: Figures, air: Air, doubts: Doubts, hours: float) -> list[Ahead]:
    """The temperature at the last point and each quarter of an hour after it."""
    warm_c, at_h = found.level_c(), 0.0
    answers = [1.0, 0.0, 0.0, 0.0, 0.0, 0.0]
    out: list[Ahead] = []
    while True:
        push = _push(found, figures, at_h, warm_c, air)
        out.append(Ahead(at_h, warm_c, _sd_k(found, answers, at_h, air, doubts), push.rate))
        if at_h >= hours - 1e-9:
            return out
        half_c = warm_c + push.rate * STEP_H / 2.0
        middle = _push(found, figures, at_h + STEP_H / 2.0, half_c, air)
        if warm_c + middle.rate * STEP_H < _WARMEST_C:
            answers = [
                answer + STEP_H * (own + middle.by_warmth * answer)
                for answer, own in zip(answers, (0.0, *middle.by), strict=True)
            ]
            warm_c += middle.rate * STEP_H
        at_h += STEP_H


def _push(found: Fit, figures: Figures, at_h: float, warm_c: float, air: Air) -> _Push:
    stretch, hour = found.stretch, found.stretch.points[-1].hour + at_h
    make, pull, loose = found.theta[1 + MAKE], found.theta[1 + PULL], found.theta[1 + LOOSE]
    age_h = None if stretch.age_h is None else stretch.age_h + hour
    open_share = loosened(figures, None if stretch.since_turn_h is None else stretch.since_turn_h + hour)
    alive = figures.grown(age_h) * figures.warmth(warm_c)
    pulls, over_k = pull + loose * open_share, warm_c - air.at_c(at_h)
    by_warmth = (make * alive * math.log(figures.q10) / 10.0 if warm_c < figures.tired_c else 0.0) - pulls
    unlike_k = warm_c - found.about_c + max(0.0, warm_c - max(KNOWN_TO_C, found.about_c))
    by = (alive, -over_k, -open_share * over_k, pulls, make * alive * unlike_k / 10.0)
    return _Push(make * alive - pulls * over_k, by_warmth, by)


def _sd_k(found: Fit, answers: list[float], at_h: float, air: Air, doubts: Doubts) -> float:
    """From the fit's own doubt, the room's, and what the balance leaves out."""
    level = answers[0]
    gradient = [level * found.row[0], *(level * found.row[1 + i] + answers[1 + i] for i in range(3))]
    own = sum(gradient[i] * gradient[j] * found.covariance[i][j] for i in range(4) for j in range(4))
    # A room that was off all along has had its say in what was measured: only what the fit did not take up
    # of it is in doubt.
    by_room = sum(a * b for a, b in zip(gradient, found.by_room, strict=True))
    all_along = level * found.warmed_k + answers[4] + by_room
    room = (answers[4] * air.sd_k) ** 2 + (all_along * air.untold_k) ** 2
    # The integral of a random walk has the variance s^2 h^3 / 3.
    strayed = doubts.rate_k_per_h**2 * at_h**3 / 3.0 + (answers[5] * doubts.ln_q10) ** 2
    reckoned = max(0.0, own) * max(1.0, found.waver_k) ** 2 + room + strayed
    return math.sqrt(doubts.factor**2 * reckoned + doubts.level_k**2)
