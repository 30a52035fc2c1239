"""Many weeks at Quern Hill: calls at night by floor, needless ones, high heat missed; printed, not judged.

    python -m tests.scenarios.bed_weeks [--weeks 34] [--first 1000] [--processes 2]

Six beds a week: 34 weeks are 204 bed-weeks, some twenty minutes on two cores. Every week has its own seed,
weather and mishaps, and people of other habits.
"""

from __future__ import annotations

import argparse
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from random import Random

from tests.scenarios.week import Habits, live
from tests.scenarios.week_sums import Sums, sums, told


def one(seed: int) -> Sums:
    """The numbers of one week."""
    rng = Random(f"habits {seed}")
    habits = Habits(
        every_h=rng.uniform(6.5, 8.5),
        slips=rng.uniform(0.02, 0.15),
        slip_h=rng.uniform(3.0, 9.0),
        records_late=rng.uniform(0.0, 0.2),
        never_records=rng.uniform(0.0, 0.2),
        forgets_probe=rng.uniform(0.0, 0.03),
        answers_after_min=rng.uniform(5.0, 40.0),
        outdoors_c=rng.uniform(3.0, 17.0),
    )
    return sums(live(seed, 7.0, habits))


def main() -> int:
    """See the module."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--weeks", type=int, default=34)
    parser.add_argument("--first", type=int, default=1000, help="the first week's seed")
    parser.add_argument("--processes", type=int, default=2)
    typed = parser.parse_args()
    began = time.perf_counter()
    total = Sums()
    seeds = range(typed.first, typed.first + typed.weeks)
    with ProcessPoolExecutor(typed.processes) as workers:
        try:
            for done, found in enumerate(workers.map(one, seeds), 1):
                total.add(found)
                sys.stderr.write(f"{done} of {typed.weeks} weeks, {time.perf_counter() - began:.0f} s\n")
        except KeyboardInterrupt:
            workers.shutdown(cancel_futures=True, wait=False)
            sys.stderr.write("stopped: the figures are those of the weeks done so far\n")
    sys.stdout.write("\n".join(told(total)) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
