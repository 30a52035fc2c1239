"""`python -m tests.bench NAME [options]`: one measurement, one JSON line."""

import argparse
import json
import sys
from collections.abc import Callable
from typing import Any, NamedTuple

from tests.bench import chart, intake, judge, memory, pages, start, storage


class Bench(NamedTuple):
    """How a measurement is asked for and run; `run` returns what is printed."""

    options: Callable[[argparse.ArgumentParser], None]
    run: Callable[[argparse.Namespace], dict[str, Any]]


BENCHES = {
    "intake": Bench(intake.options, intake.run),
    "judge": Bench(judge.options, judge.run),
    "storage": Bench(storage.options, storage.run),
    "memory": Bench(memory.options, memory.run),
    "start": Bench(start.options, start.run),
    "pages": Bench(pages.options, pages.run),
    "chart": Bench(chart.options, chart.run),
}


def main() -> int:
    """Run one; 0 if it could be measured."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    names = parser.add_subparsers(dest="name", required=True)
    for name, bench in BENCHES.items():
        bench.options(names.add_parser(name))
    chosen = parser.parse_args()
    sys.stdout.write(json.dumps({"bench": chosen.name, **BENCHES[chosen.name].run(chosen)}) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
