"""The simulator's own kilnings before the engine: `python -m tests.scenarios.kiln_stories [first] [count]`.

Each seed draws one of `simulators.kilning.KINDS` of mishap. The truth of the break is the simulator's. The
stoker keeps to the site's programme: he raises the fire at a stage's hour, and not before the break was told
and hand-dry recorded. A third argument is the one kind that all of the seeds are to be.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from typing import Any, NamedTuple

from gateway.core import engine
from gateway.core.effects import AlarmChange, BreakKnown, Effect
from gateway.core.inputs import Cast, Entry, Input, KilnWorked, Loaded, SiteChanged, Started
from gateway.core.reading import OWN_TIME, Reading
from simulators import kilning
from simulators.kiln import Kiln
from tests.scenarios.kilns import MINUTE, site

NEAR_MIN = 45.0
_PROBES = {"air-on": "on", "grain": "grain", "air-off": "off", "humidity": "damp", "outdoors-air": "out",
           "outdoors-humidity": "out-damp"}  # fmt: skip


class Story(NamedTuple):
    """A seed, its mishap, what was told of the break, and the alarms by kind."""

    seed: int
    kind: str
    true_ms: int | None
    told: BreakKnown | None
    withdrawn: int
    alarms: Counter[str]

    @property
    def error_min(self) -> float | None:
        """From the true break to the one that stands; None where one of the two is not there."""
        if self.told is None or self.told.state != "announced" or None in (self.true_ms, self.told.at_ms):
            return None
        return ((self.told.at_ms or 0) - (self.true_ms or 0)) / MINUTE


def _recorded(order: Mapping[str, Any]) -> KilnWorked | None:
    if "kiln-turn" in order:
        return KilnWorked("turned", "kiln")
    if "relight" in order:
        return KilnWorked("relit", "kiln")
    if "damp" in order:
        return KilnWorked("relit" if order["damp"]["amount"] >= 1.0 else "damped", "kiln")
    return None


def _hand_dry(state: engine.State) -> bool:
    return bool(state.kilns.now["kiln"].hand_dry_ms)


def play(seed: int, kind: str | None = None, hours: float = 50.0) -> Story:
    """One kilning, from the lighting on."""
    state, effects, n = engine.new(), list[Effect](), 0
    story = kilning.draw_story(seed, kind)
    where = site(first_c=story.first_c)
    if where.kiln is not None:
        watch = replace(where.kiln.kiln_watch, depth_cm=100.0 * Kiln().depth_m)
        where = replace(where, kiln=replace(where.kiln, kiln_watch=watch))
    stages = next(one.stages for one in where.programmes if one.id == "kiln")
    story = replace(story, stages=tuple((one.from_h, one.target_c) for one in stages))

    def lay(at_ms: int, *what: Input) -> None:
        nonlocal n
        entries = [Entry(n + i, at_ms, at_ms, one) for i, one in enumerate(what, 1)]
        n += len(what)
        effects.extend(engine.advance(state, entries, at_ms))

    start_ms, true_ms, dry = round(kilning.START_S * 1000), None, False
    lay(
        start_ms,
        Started("story"),
        SiteChanged(where),
        Cast("bed-a", "9"),
        Loaded("bed-a", "kiln"),
    )
    lay(start_ms, KilnWorked("lit", "kiln"))
    told_dry = partial(_hand_dry, state)
    for moment in kilning.run(seed, story, hours=hours, may_raise=told_dry):
        at_ms = round(moment.at_s * 1000)
        for order in moment.told:
            done = _recorded(order)
            if done is not None:
                lay(at_ms, done)
        said = [Reading(_PROBES[name], at_ms, value, OWN_TIME) for name, value in moment.readings.items()
                if name in _PROBES]  # fmt: skip
        lay(at_ms, *said)
        broke_s = moment.truth.broke_at_s
        true_ms = None if broke_s is None else round(broke_s * 1000)
        if not dry and state.kilns.now["kiln"].watch.seen.state == "announced":
            # The maltster here believes the gateway and feels the malt at once.
            lay(at_ms, KilnWorked("hand-dry", "kiln"))
            dry = True
    known = [one for one in effects if isinstance(one, BreakKnown)]
    raised = [one for one in effects if isinstance(one, AlarmChange) and one.change.signal == "raise"]
    withdrawn = sum(one.state == "withdrawn" for one in known)
    alarms = Counter(one.kind for one in raised)
    return Story(seed, story.kind, true_ms, known[-1] if known else None, withdrawn, alarms)


def _say(line: str) -> None:
    sys.stdout.write(line + "\n")


def main(first: int, count: int, kind: str | None = None) -> None:
    """Print the figures of so many seeds."""
    found = [play(seed, kind) for seed in range(first, first + count)]
    broke = [one for one in found if one.true_ms is not None]
    near = [one for one in broke if one.error_min is not None and abs(one.error_min) <= NEAR_MIN]
    _say(f"simulated kilnings: {count}; truly broke {len(broke)}; told within {NEAR_MIN:.0f} min {len(near)}")
    _say(f"  withdrawn {sum(one.withdrawn for one in found)} times")
    for each_kind in kilning.KINDS:
        of = [one for one in found if one.kind == each_kind]
        if of:
            alarms = sum((one.alarms for one in of), Counter[str]())
            each = sum(alarms.values()) / len(of)
            _say(f"  {each_kind}: {len(of)}, {each:.2f} alarms a kilning {dict(alarms)}")
    for one in broke:
        if one not in near:
            error = one.error_min
            _say(f"  seed {one.seed} ({one.kind}): {'not told' if error is None else f'{error:+.0f} min'}")


if __name__ == "__main__":
    main(
        int(sys.argv[1]) if len(sys.argv) > 1 else 9000,
        int(sys.argv[2]) if len(sys.argv) > 2 else 100,
        *sys.argv[3:4],
    )
