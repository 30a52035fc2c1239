"""How one command is put into words: its line of help, an example, and its arguments."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import Any, NamedTuple

Add = Callable[[argparse.ArgumentParser], None]


class Word(NamedTuple):
    """One command: its group, one line of help, what it does in full, an example, and its arguments."""

    group: str
    line: str
    more: str
    example: str
    add: Add


def nothing(parser: argparse.ArgumentParser) -> None:
    """No arguments."""
    return


def argument(*names: str, **options: Any) -> Add:
    """One argument, as argparse takes it."""

    def add(parser: argparse.ArgumentParser) -> None:
        parser.add_argument(*names, **options)

    return add


def number(text: str) -> float:
    """What argparse takes for a number; says what was wrong in words."""
    try:
        return float(text)
    except ValueError as fault:
        raise argparse.ArgumentTypeError(f"{text!r}: expected a number such as 17.4") from fault


def whole(text: str) -> int:
    """What argparse takes for a whole number; says what was wrong in words."""
    try:
        return int(text)
    except ValueError as fault:
        raise argparse.ArgumentTypeError(f"{text!r}: expected a whole number such as 14") from fault


def both(*parts: Add) -> Add:
    """Several arguments, in this order."""

    def add(parser: argparse.ArgumentParser) -> None:
        for part in parts:
            part(parser)

    return add


JSON = argument("--json", action="store_true", help="one JSON document instead of a table")
PEOPLE = both(
    argument("--at", dest="when", metavar="TIME", help="when it really happened: 04:50 (the last such local "
              "time) or 2024-11-05T04:50:00Z; without it, now"),
    argument("--by", metavar="NAME", help="who did it"),
    argument("--why", metavar="TEXT", help="why, in a few words"),
)  # fmt: skip
WHY = both(
    argument("--at", dest="when", metavar="TIME", help="when: 04:50 or 2024-11-05T04:50:00Z"),
    argument("--by", metavar="NAME", help="who"),
    argument("--why", metavar="TEXT", required=True, help="why; asked for, because others will wonder"),
)
BED = argument("bed", metavar="BED", help="the bed's id in the site file")
ALARM = argument("alarm", metavar="ALARM", type=whole, help="the alarm's number, as in its message")
KILN = argument("--kiln", metavar="KILN", help="which kiln, where there are several")
PROBE = argument("probe", metavar="PROBE", help="the probe's id in the site file")


def read(line: str, more: str, example: str, *parts: Add) -> Word:
    """A command that shows something."""
    return Word("read", line, more, example, both(JSON, *parts))


def write(line: str, more: str, example: str, *parts: Add) -> Word:
    """A command that records something."""
    return Word("write", line, f'{more} Prints {{"journal":N}} once it is kept.', example, both(*parts))
