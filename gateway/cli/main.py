"""The words one types: picks a driver, prints, sets the exit code."""

from __future__ import annotations

import argparse
import functools
import os
import re
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from gateway import __version__
from gateway.cli.words import COMMANDS, parser
from gateway.core.journey import figures
from gateway.errors import GatewayError, NoAnswer, SettingsFault, StoreHeld, StoreMismatch

GOOD, BAD_NEWS, FAULTY, NO_ANSWER = 0, 1, 2, 3
#: The words that both tell and ask, and what they tell: nothing said is a question.
_BOTH = {"kiln": "what", "hand-over": "note"}
#: What a time, a span or a place on the floor is recorded as, and the option it is typed with.
_OPTIONS = {"when": "--at", "until": "--until", "for": "--for", "for_s": "--for"} | {
    name.replace("-", "_"): f"--{name}" for name in ("from-m", "to-m", "onto-from-m", "onto-to-m", "at-m")
}
_RECORDED_AS = re.compile(rf"(?:\A|(?<=: ))(?:{'|'.join(_OPTIONS)})(?=: )")
_NOT_OF_THE_BODY = frozenset({"command", "site", "store", "version", "json"})


def main(argv: Sequence[str] | None = None, environ: Mapping[str, str] = os.environ) -> int:
    """Run one command; the exit code."""
    top = parser()
    asked = top.parse_args(argv)
    if asked.version:
        print(__version__)
        return GOOD
    if asked.command is None:
        top.print_help(sys.stderr)
        return FAULTY
    try:
        return _drive(asked, environ)
    except (SettingsFault, StoreMismatch) as fault:
        print(fault, file=sys.stderr)
        return FAULTY
    except (NoAnswer, StoreHeld) as fault:
        print(fault, file=sys.stderr)
        return NO_ANSWER
    except GatewayError as fault:
        print(f"{type(fault).__name__}: {fault}", file=sys.stderr)
        return NO_ANSWER
    except BrokenPipeError:
        # Whoever read the output has seen enough (| head); Python would complain again at the end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return GOOD


def _drive(asked: argparse.Namespace, environ: Mapping[str, str]) -> int:
    group = COMMANDS[asked.command].group
    if asked.command in _BOTH and getattr(asked, _BOTH[asked.command]) is None:
        group = "read"
    if group == "read":
        from gateway.cli import show as cli_show

        if getattr(asked, "resend", False):
            _resend(asked, environ)
        return cli_show.show(asked.command, _store(asked, environ), vars(asked), as_json=asked.json)
    if group == "write":
        return _record(asked, environ)
    if group == "keep":
        from gateway.cli import keep as cli_keep

        site, store = functools.partial(_site, asked, environ), functools.partial(_store, asked, environ)
        code, said = cli_keep.COMMANDS[asked.command](asked, environ, site, store)
        print("\n".join(said))
        return code
    drivers: dict[str, Callable[[argparse.Namespace, Mapping[str, str]], int]] = {
        "run": _run,
        "check": _check,
        "replay": _replay,
    }
    return drivers[asked.command](asked, environ)


def _resend(asked: argparse.Namespace, environ: Mapping[str, str]) -> None:
    from gateway.live import mirror as live_mirror

    count = live_mirror.resend(_store(asked, environ))
    print(f"{count} lines will be sent once more", file=sys.stderr)


def _site(asked: argparse.Namespace, environ: Mapping[str, str]) -> Path:
    return _path(asked.site, environ.get("MALTING_SITE"), "--site FILE", "MALTING_SITE")


def _store(asked: argparse.Namespace, environ: Mapping[str, str]) -> Path:
    return _path(asked.store, environ.get("MALTING_STORE"), "--store DIR", "MALTING_STORE")


def _path(given: str | None, kept: str | None, option: str, name: str) -> Path:
    if not (given or kept):
        raise SettingsFault(f"say which with {option}, or in the environment with {name}")
    return Path(given or kept or "")


def _record(asked: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from gateway.live import store as live_store

    body = {
        key: value for key, value in vars(asked).items() if key not in _NOT_OF_THE_BODY and value is not None
    }
    try:
        number = live_store.record(_store(asked, environ), asked.command, body)
    except SettingsFault as fault:
        raise SettingsFault(_as_typed(str(fault))) from fault
    print(f'{{"journal":{number}}}')
    odd = figures.cannot_be(asked)
    if odd:
        print(
            f"kept, but {odd}: put it right with `correct {number}`, or it is asked about by day",
            file=sys.stderr,
        )
    return GOOD


def _as_typed(said: str) -> str:
    """A fault by the name of the option that was typed, not by that of what it is recorded as."""
    return _RECORDED_AS.sub(lambda found: _OPTIONS[found.group()], said, count=1)


def _check(asked: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from gateway import settings
    from gateway.show import faults

    found, warnings = settings.check(_site(asked, environ), environ)
    faults.show(found, warnings, as_json=asked.json)
    return FAULTY if found else GOOD


def _run(asked: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from gateway import settings
    from gateway.live import daemon as live

    clock = live.ClockChoice.of(
        asked.clock, asked.speed, asked.epoch, asked.started, always_trusted=asked.trust_clock
    )
    again = functools.partial(settings.load, _site(asked, environ), environ)
    return live.run(again(), _store(asked, environ), clock, asked.log, again)


def _replay(asked: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from gateway import replay, settings
    from gateway.live import store as live_store

    def progress(text: str) -> None:
        print(text, file=sys.stderr, flush=True)

    if asked.inputs or asked.effects:
        if not (asked.inputs and asked.effects):
            raise SettingsFault("replay: --inputs and --effects go together")
        site = settings.load(_site(asked, environ), environ, with_secrets=False).site
        outcome = replay.run_inputs(site, Path(asked.inputs), Path(asked.effects), progress)
        print(replay.as_text(outcome.plain()))
        return GOOD
    reader = live_store.reader_of(_store(asked, environ))
    try:
        found = replay.compare(reader, progress)
    finally:
        reader.close()
    print(replay.as_text(found.plain()))
    return GOOD if found.equal else BAD_NEWS
