"""`deploy/demo`: start it all, or act on the one that runs."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from deploy.demonstration import act, night

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / ".demo"
_MORE = """
While it runs, type into the same terminal, or as `deploy/demo ...` in another:
  answer 101 going     you are on your way (also: heard, cant); or open the link below the message
  turn bed-c           the simulated bed is turned, and the turn is recorded
  beds                 what lies where, how warm, when to turn (also: alarms, probes, turns, notices, health)

Simulated grain in an invented place. No gas watch; not a certified gas alarm.
"""


def main() -> int:
    """Exit 0 when a call reached the phone, 1 when none did; 2 for words that make no sense."""
    parser = argparse.ArgumentParser(
        prog="deploy/demo",
        description="A night at Quern Hill Maltings: a bed runs hot, the phone is told, you turn the bed.",
        epilog=_MORE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "words", nargs="*", metavar="WORD", help="act on the running demonstration, see below"
    )
    parser.add_argument(
        "--speed", type=float, default=60.0, metavar="N", help="simulated seconds a second (60)"
    )
    parser.add_argument("--seconds", type=float, metavar="N", help="end by itself after so many seconds")
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="another night (1)")
    given = parser.parse_args()
    if not 1 <= given.speed <= 600:
        parser.error(f"--speed {given.speed:g}: expected 1 to 600")
    if given.seconds is not None and not 1 <= given.seconds <= 86_400:
        parser.error(f"--seconds {given.seconds:g}: expected 1 to 86400")
    if given.words:
        said = act.act(FOLDER, given.words)
        print(said.text)
        return said.code
    return night.run(ROOT, FOLDER, given.speed, given.seed, given.seconds)


sys.exit(main())
