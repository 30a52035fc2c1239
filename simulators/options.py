"""The words one types after `python -m simulators`, and what they mean."""

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from simulators.mishaps import Mishaps, read_mishaps

ABOUT = """\
A simulated floor maltings: beds that breathe, warm and mat, a room that gathers their CO2, a kiln that
follows its fire. Its probes publish over MQTT (QoS 1) to the broker of a site file, each on its topic
(ROOT/PLACE/PROBE unless the file says otherwise), as real ones would."""

EXAMPLES = """\
examples
  python -m simulators run --site SITE.toml --seed 1
      in step with the wall clock
  python -m simulators run --site SITE.toml --seed 1 --clock scaled --speed 60
      a simulated hour each real minute; give the gateway the same --epoch and --started
  python -m simulators run --site SITE.toml --seed 1 --clock topic --hours 12
      a night as fast as the broker takes it; ROOT/clock carries the time, {"t": unix seconds}
  python -m simulators run --site SITE.toml --seed 1 --mishaps drop=0.02,double=0.05,delay=0.1,delay_s=600
      the same through a bad link
acting on the floor while it runs: publish to ROOT/sim/command
  {"turn": "bed-c"}      {"turn": {"place": "bed-c", "from_m": 28, "to_m": 34}}
  {"draught": 0.5}       {"draught": {"place": "floor-1", "amount": 2}}   shutters of a floor
  {"damp": "kiln-1"}     {"damp": {"place": "kiln-1", "amount": 0.4}}
  {"light": "kiln-1"}    {"relight": "kiln-1"}    {"kiln-turn": true}
  {"fire": "out"}        or "wild", or "load": the fire fails, burns too hot, the load catches
  {"door": "open"}       {"fan": "on"}    {"door": {"place": "floor-1", "how": "shut"}}
  {"hook": "c1"} {"back": "c1"}   a probe left out of the grain, put back
  {"stuck": {"probe": "c1", "for_s": 3600}}   {"silent": {"probe": "c1", "for_s": 3600}}
mishaps (chances per message, 0 to 1)
  drop double delay reorder stuck silence garbage; delay_s stuck_s silence_s say how long
exit 0 stopped in order, 2 faulty input, 3 no broker"""


@dataclass(frozen=True)
class Options:
    """What a run was asked to do. Times are Unix seconds."""

    site: Path
    seed: int
    clock: str
    speed: float | None
    epoch_s: float | None
    started_s: float | None
    step_s: float
    start: Path | None
    truth: Path | None
    seconds: float | None
    hours: float | None
    mishaps: Mishaps
    turn_every_h: float | None
    forget: float
    wait_judged: bool
    patience_s: float


def moment_s(text: str) -> float:
    """Unix seconds of an RFC 3339 time with offset, or of a plain number."""
    try:
        return float(text)
    except ValueError:
        pass
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        raise ValueError(f"{text!r} has no offset: expected a Z or such as +01:00 at its end")
    return moment.astimezone(UTC).timestamp()


def _between(low: float, high: float) -> Callable[[str], float]:
    def read(text: str) -> float:
        value = float(text)
        if not low <= value <= high:
            raise argparse.ArgumentTypeError(f"{text}: expected {low:g} to {high:g}")
        return value

    return read


def _moment(text: str) -> float:
    try:
        return moment_s(text)
    except ValueError as fault:
        raise argparse.ArgumentTypeError(str(fault)) from None


def _mishaps(text: str) -> Mishaps:
    try:
        return read_mishaps(text)
    except ValueError as fault:
        raise argparse.ArgumentTypeError(str(fault)) from None


def parser() -> argparse.ArgumentParser:
    """The command line."""
    whole = argparse.ArgumentParser(
        prog="python -m simulators",
        description=ABOUT,
        epilog=EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    verbs = whole.add_subparsers(dest="verb", metavar="run", required=True)
    run = verbs.add_parser(
        "run",
        help="publish the simulated floor's readings",
        description=ABOUT,
        epilog=EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add = run.add_argument
    add("--site", type=Path, required=True, help="site file (TOML); its probes and broker are used")
    add("--seed", type=int, default=1, help="the same seed gives the same history (default 1)")
    add("--clock", choices=("wall", "scaled", "topic"), default="wall", help="what time goes by")
    add("--speed", type=_between(0.001, 1e6), help="scaled: N times the wall (60); topic: at most N times")
    add("--epoch", type=_moment, dest="epoch_s", help="simulated time at --started (RFC 3339); default now")
    add("--started", type=_moment, dest="started_s", help="wall time of --epoch (RFC 3339); default now")
    add("--step", type=_between(0.1, 3600), dest="step_s", default=10.0, help="topic: seconds a step (10)")
    add("--start", type=Path, help="TOML file: how each bed and kiln stands at the start")
    add("--truth", type=Path, help="write what is really so, one JSON object a line")
    add("--seconds", type=_between(0, 1e9), help="stop after so many real seconds")
    add("--hours", type=_between(0, 1e6), help="stop after so many simulated hours")
    add("--mishaps", type=_mishaps, default=Mishaps(), help="what goes wrong on the link (below)")
    add(
        "--turn-every",
        type=_between(0.5, 1000),
        dest="turn_every_h",
        help="turn each bed after so many hours",
    )
    add("--forget", type=_between(0, 1), default=0.0, help="chance that a probe is not put back after a turn")
    add(
        "--wait-judged",
        action="store_true",
        help="topic: wait until ROOT/gateway/status has judged each step",
    )
    add(
        "--patience",
        type=_between(0, 3600),
        dest="patience_s",
        default=30.0,
        help="seconds to wait for a broker",
    )
    return whole


def read_options(words: list[str]) -> Options:
    """The options in the words typed; leaves by SystemExit 2 with a message if they are faulty."""
    found = vars(parser().parse_args(words))
    del found["verb"]
    return Options(**found)
