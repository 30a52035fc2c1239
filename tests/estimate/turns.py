"""Turns seen against true ones, on three kinds of simulated beds with every mishap on.

    python -m tests.estimate.turns --turns 500 --seed 1 [--kind world|crude|slab] [--judge]

prints one JSON line: counts, recall and precision with 95 % intervals (found: ended within 15 min of the true
end; `met`: within 5 min of the true turn's time at all), how long after the true end it was
known, what else was going on where a turn was told that was none; the same for beds whose probes hang in
several places, and for those where all hang in one (nothing there tells when a turn ends); then [found, done]
of turns of half a bed, and of those for which fewer than two heights reported. The scenes come from each kind
of bed by turns. With --judge the whole
judge is asked, and not the estimator alone.
"""

import argparse
import json
import statistics
import sys
from collections.abc import Callable, Sequence
from typing import Any

from gateway.core.estimate.turn_seen.detect import TurnSeen
from tests.estimate.turn_crude import crude_scene
from tests.estimate.turn_scene import Marks, Scene, mark, see, wilson
from tests.estimate.turn_slab import slab_scene
from tests.estimate.turn_worlds import world_scene
from tests.estimate.turns_judged import see as judged

Look = Callable[[Scene], list[TurnSeen]]
KINDS: dict[str, Callable[[int], Scene]] = {"world": world_scene, "crude": crude_scene, "slab": slab_scene}


def run(
    turns: int,
    seed: int,
    kinds: Sequence[str] = ("world", "crude", "slab"),
    look: Callable[[Scene], list[TurnSeen]] = see,
) -> tuple[Marks, dict[str, Marks]]:
    """Scenes by turns from each kind of bed until so many full turns were watched: in all, and by kind."""
    whole, by_kind = Marks(), {kind: Marks() for kind in kinds}
    number = seed * 10_000
    while whole.turns < turns:
        for kind in kinds:
            scene = KINDS[kind](number)
            marks = mark(scene, look(scene))
            whole.add(marks)
            by_kind[kind].add(marks)
        number += 1
    return whole, by_kind


def report(marks: Marks) -> dict[str, Any]:
    """The marks as plain numbers; delays in minutes."""
    delays = sorted(marks.delays_s) or [0.0]
    off = sorted(abs(value) for value in marks.ended_off_s) or [0.0]
    return {
        "turns": marks.turns,
        "found": marks.found,
        "recall": round(marks.found / max(1, marks.turns), 4),
        "recall_95": wilson(marks.found, marks.turns),
        "told": marks.told,
        "right": marks.right,
        "precision": round(marks.right / max(1, marks.told), 4),
        "precision_95": wilson(marks.right, marks.told),
        "met": {
            "recall": round(marks.true_met / max(1, marks.turns), 4),
            "recall_95": wilson(marks.true_met, marks.turns),
            "precision": round(marks.met / max(1, marks.told), 4),
            "precision_95": wilson(marks.met, marks.told),
        },
        "delay_min": {"median": _minutes(statistics.median(delays)), "p90": _minutes(_at(delays, 0.9))},
        "end_off_min": {"median": _minutes(statistics.median(off)), "p90": _minutes(_at(off, 0.9))},
        "several_places": _share(
            marks.found - marks.one_place_found,
            marks.turns - marks.one_place,
            marks.right - marks.one_place_right,
            marks.told - marks.one_place_told,
        ),
        "one_place": _share(
            marks.one_place_found, marks.one_place, marks.one_place_right, marks.one_place_told
        ),
        "partial": [marks.partial_found, marks.partial],
        "unwatched": [marks.unwatched_found, marks.unwatched],
        "perhaps": marks.perhaps,
        "ploughed": marks.ploughed,
        "withdrawn": marks.withdrawn,
        "troubles": dict(sorted(marks.troubles.items())),
        "fooled_by": dict(sorted(marks.fooled_by.items())),
    }


def _share(found: int, turns: int, right: int, told: int) -> dict[str, Any]:
    return {
        "turns": turns,
        "recall": round(found / max(1, turns), 4),
        "recall_95": wilson(found, turns),
        "told": told,
        "precision": round(right / max(1, told), 4),
        "precision_95": wilson(right, told),
    }


def _at(ordered: list[float], share: float) -> float:
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


def _minutes(seconds: float) -> float:
    return round(seconds / 60.0, 1)


def main() -> None:
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--turns", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kind", choices=sorted(KINDS))
    parser.add_argument("--judge", action="store_true")
    asked = parser.parse_args()
    kinds = (asked.kind,) if asked.kind else tuple(KINDS)
    whole, by_kind = run(asked.turns, asked.seed, kinds, judged if asked.judge else see)
    parts = {kind: report(marks) for kind, marks in by_kind.items()}
    sys.stdout.write(
        json.dumps({"seed": asked.seed, "judge": asked.judge, **report(whole), "by_kind": parts}) + "\n"
    )


if __name__ == "__main__":
    main()
