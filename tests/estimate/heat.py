"""How right the forecasts are: `python -m tests.estimate.heat --beds 60 --seed 1` prints one line of JSON.

Each bed is another story (see `heat_worlds`). A forecast is made each half hour and held against the highest
true temperature at the thermometers' places one, two and four hours later, where nobody turned in between and
the last turn ended an hour ago or more. Errors are of the middle, coverage is of the band of nine in ten; its
interval is found by drawing whole beds again and again, since the forecasts of one bed are not independent.
"""

import argparse
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from random import Random
from typing import Any

from gateway.core.estimate.bed_heat import balance as bed_heat
from tests.estimate.heat_worlds import MINUTE_MS, START_MS, BedStory, story, turned_before

HOUR_MS = 3_600_000
HORIZONS_H = (1, 2, 4)
KINDS = ("layered", "lumped", "wandering")
SETTLED_MS = HOUR_MS
#: The hour of reaching a limit is judged where nobody turns for so long: else the slow ones are left out.
REACHED_MS = 5 * HOUR_MS
_CONSIDER_MS, _ASK_MS = 10 * MINUTE_MS, 30 * MINUTE_MS


@dataclass
class Judged:
    """One bed's forecasts against the truth: (error in K, whether the band held it) by hours ahead."""

    name: str
    held: dict[int, list[tuple[float, bool]]] = field(default_factory=lambda: {h: [] for h in HORIZONS_H})
    early: list[tuple[float, bool]] = field(default_factory=list)
    reached: list[tuple[float, bool]] = field(default_factory=list)
    asked: int = 0
    not_yet: int = 0
    reasons: dict[str, int] = field(default_factory=dict)


def bed_of(told: BedStory, at_ms: int) -> bed_heat.Bed:
    """What the judge is told of the bed at a moment."""
    turned_ms = turned_before(told, at_ms)
    hung = tuple(bed_heat.Hung(name, turned_ms) for name in told.heights_cm)
    return bed_heat.Bed("b", hung, "room", told.cast_ms)


def forecasts(told: BedStory) -> Iterator[tuple[int, bed_heat.Forecast]]:
    """The story played to the judge: a forecast each half hour."""
    heat = bed_heat.Heat()
    end_ms = START_MS + len(told.air_c) * MINUTE_MS
    i = 0
    for at_ms in range(START_MS, end_ms, _CONSIDER_MS):
        while i < len(told.heard) and told.heard[i].at_ms <= at_ms:
            one = told.heard[i]
            i += 1
            if one.probe:
                bed_heat.take(heat, "b", one.probe, one.measured_ms, one.value, one.at_ms)
            else:
                bed_heat.over(heat, "room", one.measured_ms, one.value, one.at_ms)
        bed = bed_of(told, at_ms)
        bed_heat.consider(heat, bed, at_ms)
        if (at_ms - START_MS) % _ASK_MS == 0:
            moments = tuple(at_ms + h * HOUR_MS for h in HORIZONS_H)
            limits = [bed_heat.Limit("one more", _warmer(told, at_ms))]
            yield at_ms, bed_heat.forecast(heat, bed, at_ms, limits, moments)


def _warmer(told: BedStory, at_ms: int) -> Callable[[int], float]:
    """A limit that lies 1 K above what is true now."""
    limit_c = (told.hottest_c(at_ms) or 0.0) + 1.0
    return lambda _: limit_c


def _reached(told: BedStory, at_ms: int, reach: bed_heat.Reach) -> tuple[float, bool] | None:
    """Minutes by which the hour of reaching it was missed, and whether it was held; None if nobody let it."""
    for when_ms in range(at_ms, at_ms + REACHED_MS, MINUTE_MS):
        true_c = told.hottest_c(when_ms)
        if true_c is None or not told.quiet(at_ms, when_ms):
            return None
        if true_c >= reach.limit_c:
            held = when_ms >= (reach.early_ms or when_ms + 1) and when_ms <= (reach.late_ms or when_ms)
            off_ms = (reach.at_ms or at_ms + 12 * HOUR_MS) - when_ms
            return off_ms / MINUTE_MS, held
    return None


def judge(told: BedStory) -> Judged:
    """One bed's forecasts held against what came."""
    found = Judged(told.name)
    for at_ms, said in forecasts(told):
        settled = told.quiet(at_ms - SETTLED_MS, at_ms) and at_ms >= START_MS + SETTLED_MS
        if settled:
            found.asked += 1
            found.not_yet += said.not_yet is not None
            if said.not_yet:
                why = "".join(c for c in said.not_yet if not c.isdigit())
                found.reasons[why] = found.reasons.get(why, 0) + 1
        if settled and said.limits and told.quiet(at_ms, at_ms + REACHED_MS):
            reached = _reached(told, at_ms, said.limits[0])
            found.reached += [reached] if reached else []
        for hours, point in zip(HORIZONS_H, said.moments, strict=False):
            true_c = told.hottest_c(point.at_ms)
            if true_c is None or not told.quiet(at_ms, point.at_ms):
                continue
            one = (point.value_c - true_c, point.low_c <= true_c <= point.high_c)
            if settled:
                found.held[hours].append(one)
            elif hours == 2:
                found.early.append(one)
    return found


def summed(beds: list[Judged], seed: int) -> dict[str, Any]:
    """The figures over beds, as one plain object."""
    asked = sum(bed.asked for bed in beds)
    rng = Random(f"draw {seed}")
    early = [one for bed in beds for one in bed.early]
    reached = [one for bed in beds for one in bed.reached]
    return {
        "beds": len(beds),
        "asked": asked,
        "not_yet_share": round(sum(bed.not_yet for bed in beds) / max(1, asked), 3),
        "within_the_hour_after_a_turn_2h": _figures(early),
        "one_k_more_min": _figures(reached, "min"),
        **{f"{h}h": _figures([one for bed in beds for one in bed.held[h]]) | _drawn(beds, h, rng)
           for h in HORIZONS_H},
    }  # fmt: skip


def _figures(held: list[tuple[float, bool]], unit: str = "k") -> dict[str, float]:
    if not held:
        return {"n": 0}
    off = sorted(abs(error) for error, _ in held)
    return {
        "n": len(held),
        f"median_{unit}": round(off[len(off) // 2], 3),
        f"p90_{unit}": round(off[int(0.9 * len(off))], 3),
        f"bias_{unit}": round(sum(error for error, _ in held) / len(held), 3),
        "coverage": round(sum(inside for _, inside in held) / len(held), 3),
    }


def _drawn(beds: list[Judged], hours: int, rng: Random) -> dict[str, list[float]]:
    """95 % intervals of median and coverage, whole beds drawn with replacement."""
    medians, coverages = [], []
    for _ in range(400):
        figures = _figures([one for _ in beds for one in rng.choice(beds).held[hours]])
        if figures["n"]:
            medians.append(figures["median_k"])
            coverages.append(figures["coverage"])
    return {"median_95": _ends(medians), "coverage_95": _ends(coverages)}


def _ends(values: list[float]) -> list[float]:
    ordered = sorted(values)
    return [ordered[int(0.025 * len(ordered))], ordered[int(0.975 * len(ordered))]] if ordered else []


def run(beds: int, seed: int, room_told: bool = True) -> dict[str, dict[str, Any]]:
    """So many beds from a seed on: the figures of all, of the layered ones and of the lumped ones.

    `room_told`: whether the room has its thermometer.
    """
    judged = []
    for i in range(beds):
        told = story(seed * 1000 + i)
        told.heard = [one for one in told.heard if one.probe or room_told]
        judged.append(judge(told))
    kinds = {kind: [bed for bed in judged if bed.name.startswith(kind)] for kind in KINDS}
    return {"all": summed(judged, seed)} | {kind: summed(some, seed) for kind, some in kinds.items() if some}


def main() -> None:
    """Read the words typed and print the line."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--beds", type=int, default=60)
    words.add_argument("--seed", type=int, default=1)
    typed = words.parse_args()
    print(json.dumps({"seed": typed.seed} | run(typed.beds, typed.seed)))  # noqa: T201


if __name__ == "__main__":
    main()
