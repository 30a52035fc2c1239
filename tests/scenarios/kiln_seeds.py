"""How well the break is told from the engine's end: `python -m tests.scenarios.kiln_seeds [first] [count]`.

Each seed draws its own weather, malt, draught, bias of the probes, moisture at loading, and mishaps: a fire
that fails or runs hot, a draught that is halved, a turning in the middle. Nobody records the mishaps.
"""

from __future__ import annotations

import math
import random
import sys
from collections import Counter
from collections.abc import Callable
from typing import NamedTuple

from gateway.core.effects import BreakKnown
from gateway.core.inputs import Event, KilnWorked
from simulators.load import Malt
from tests.scenarios.kilns import MINUTE, Deed, Kilning, World

#: Hand-dry is recorded before the stoker raises the fire, as people do.
LIT_H, DRY_H, LONG_H = 0.5, 26.5, 48.0
NEAR_MIN = 45.0


class Outcome(NamedTuple):
    """One seed: minutes from the true break to the one told, and to when it was known; alarms by kind."""

    seed: int
    error_min: float | None
    known_min: float | None
    withdrawn: int
    alarms: Counter[str]
    what: str


def play(seed: int, mishaps: bool = True) -> Outcome:
    """One kilning from its loading on."""
    draw = random.Random(seed)
    malt = Malt(
        k_per_s=139.3 * math.exp(draw.gauss(0.0, 0.25)),
        henderson_k=2.2919e-5 * math.exp(draw.gauss(0.0, 0.2)),
    )
    world = World(
        seed,
        bias_k=0.4,
        outdoor_c=draw.uniform(-2.0, 18.0),
        outdoor_rh=draw.uniform(0.6, 0.95),
        air_m3_h_t=draw.uniform(1500.0, 2500.0),
        moisture_wb=draw.uniform(0.42, 0.455),
        malt=malt,
    )
    people: dict[float, Event] = {LIT_H: KilnWorked("lit", "kiln"), DRY_H: KilnWorked("hand-dry", "kiln")}
    at: dict[float, Deed] = {}
    what = _mishaps(draw, at, people) if mishaps else ""
    silent = frozenset(() if draw.random() < 0.8 else ("out", "out-damp"))
    told = Kilning(world, at, people, silent=silent).play(LONG_H)
    known = [one for one in told.effects if isinstance(one, BreakKnown)]
    true_ms, last = told.true_break_ms(), known[-1] if known else None
    error = after = None
    if true_ms is not None and last is not None and last.state == "announced" and last.at_ms is not None:
        error, after = (last.at_ms - true_ms) / MINUTE, ((last.known_at_ms or 0) - true_ms) / MINUTE
    withdrawn = sum(one.state == "withdrawn" for one in known)
    return Outcome(seed, error, after, withdrawn, Counter(one.kind for one in told.raised()), what)


def _mishaps(draw: random.Random, at: dict[float, Deed], people: dict[float, Event]) -> str:
    said = []
    if draw.random() < 0.5:
        hour = draw.uniform(8.0, 26.0)
        people[hour] = KilnWorked("turned", "kiln")
        said.append(f"turned {hour:.0f} h")
    for name, usual, low, high, longest in (
        ("fire", 1.0, 0.0, 0.0, 4.0),
        ("hotter_k", 0.0, 3.0, 8.0, 4.0),
        ("draught", 1.0, 0.3, 0.7, 5.0),
    ):
        if draw.random() < 0.35:
            hour, much = draw.uniform(2.0, 26.0), draw.uniform(low, high)
            long_h = draw.uniform(0.5, longest)
            at[hour], at[hour + long_h] = _set(name, much), _set(name, usual)
            said.append(f"{name} {much:.1f} at {hour:.0f} h for {long_h:.1f}")
    return ", ".join(said)


def _set(name: str, value: float) -> Callable[[World], None]:
    def deed(world: World) -> None:
        setattr(world, name, value)

    return deed


def _say(line: str) -> None:
    sys.stdout.write(line + "\n")


def main(first: int, count: int) -> None:
    """Print the figures of so many seeds."""
    found = [play(seed) for seed in range(first, first + count)]
    errors = [one.error_min for one in found if one.error_min is not None]
    near = sum(abs(one) <= NEAR_MIN for one in errors)
    after = sorted(one.known_min for one in found if one.known_min is not None)
    _say(f"break within {NEAR_MIN:.0f} min of the truth in {near} of {count}; told in {len(errors)}")
    _say(
        f"  known {after[len(after) // 2]:.0f} min after (median), {after[int(0.95 * len(after))]:.0f} (95 %)"
    )
    _say(f"  withdrawn {sum(one.withdrawn for one in found)} times")
    kinds = sum((one.alarms for one in found), Counter[str]())
    _say(f"  alarms: {dict(kinds)}")
    calm = [one for one in found if not one.what]
    _say(f"  without a mishap {len(calm)}, of these called: {[one.seed for one in calm if one.alarms]}")
    for one in found:
        if one.error_min is None or abs(one.error_min) > NEAR_MIN:
            told = "not told" if one.error_min is None else f"{one.error_min:+.0f} min"
            _say(f"  seed {one.seed}: {told}; {one.what or 'no mishap'}; {dict(one.alarms)}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 9000, int(sys.argv[2]) if len(sys.argv) > 2 else 100)
