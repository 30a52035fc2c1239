"""`deploy/demo`: start it all, or act on the one that runs."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from pathlib import Path

from deploy.demonstration import act, night

ROOT = Path(__file__).resolve().parents[2]
FOLDER = Path(os.environ.get("MALTING_DEMO") or ROOT / ".demo").resolve()
SPEED_MOST = 200.0
_MORE = f"""
While it runs, type into the same terminal, or as `deploy/demo ...` in another:
{act.USAGE}

Everything is kept in .demo/, or in the folder that MALTING_DEMO names, and cleared away at the next start.
Exit code: 0 when a call reached the phone, 1 when none did or something ended by itself.
Simulated grain in an invented place. Gas is watched on the lower floor only; not a certified gas alarm.
"""


def main(words: list[str]) -> int:
    """Exit 0 when a call reached the phone, 1 when none did; 2 for words that make no sense."""
    if words and not words[0].startswith("-"):
        said = act.act(FOLDER, words)
        print(said.text)
        return said.code
    given = options().parse_args(words)
    return night.run(ROOT, FOLDER, night.Times(given.speed, given.seconds), given.seed)


def options() -> argparse.ArgumentParser:
    """What may be said at the start."""
    parser = argparse.ArgumentParser(
        prog="deploy/demo",
        usage="deploy/demo [--speed N] [--seconds N] [--seed N]\n       deploy/demo WORD ...",
        description="A night at Quern Hill Maltings: a bed runs hot, the phone is told, you turn the bed.",
        epilog=_MORE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add = parser.add_argument
    add("--speed", type=_between(1, SPEED_MOST), default=60.0, metavar="N",
        help=f"how many times as fast as life, 1 to {SPEED_MOST:g} (60)")  # fmt: skip
    add("--seconds", type=_between(1, 86_400), metavar="N", help="end by itself after so many seconds")
    add("--seed", type=int, default=1, metavar="N", help="other noise, another night (1)")
    return parser


def _between(low: float, high: float) -> Callable[[str], float]:
    def number(text: str) -> float:
        value = float(text)
        if not low <= value <= high:
            raise argparse.ArgumentTypeError(f"{text}: expected {low:g} to {high:g}")
        return value

    return number


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
