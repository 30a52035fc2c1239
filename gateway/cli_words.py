"""The words one types, with what each is for and an example: the whole command line as one table."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import Any, NamedTuple

from gateway.core.asked import ANSWERS, KILN_WORK

Add = Callable[[argparse.ArgumentParser], None]


class Word(NamedTuple):
    """One command: its group, one line of help, what it does in full, an example, and its arguments."""

    group: str
    line: str
    more: str
    example: str
    add: Add


def _nothing(parser: argparse.ArgumentParser) -> None:
    return


def _argument(*names: str, **options: Any) -> Add:
    def add(parser: argparse.ArgumentParser) -> None:
        parser.add_argument(*names, **options)

    return add


def _all(*parts: Add) -> Add:
    def add(parser: argparse.ArgumentParser) -> None:
        for part in parts:
            part(parser)

    return add


_JSON = _argument("--json", action="store_true", help="one JSON document instead of a table")
_PEOPLE = _all(
    _argument("--at", dest="when", metavar="TIME", help="when it really happened: 04:50 (the last such local "
              "time) or 2024-11-05T04:50:00Z; without it, now"),
    _argument("--by", metavar="NAME", help="who did it"),
    _argument("--why", metavar="TEXT", help="why, in a few words"),
)  # fmt: skip
_WHY = _all(
    _argument("--at", dest="when", metavar="TIME", help="when: 04:50 or 2024-11-05T04:50:00Z"),
    _argument("--by", metavar="NAME", help="who"),
    _argument("--why", metavar="TEXT", required=True, help="why; asked for, because others will wonder"),
)
_BED = _argument("bed", metavar="BED", help="the bed's id in the site file")
_ALARM = _argument("alarm", metavar="ALARM", type=int, help="the alarm's number, as in its message")
_KILN = _argument("--kiln", metavar="KILN", help="which kiln, where there are several")
_PROBE = _argument("probe", metavar="PROBE", help="the probe's id in the site file")


def _read(line: str, more: str, example: str, *parts: Add) -> Word:
    return Word("read", line, more, example, _all(_JSON, *parts))


def _write(line: str, more: str, example: str, *parts: Add) -> Word:
    return Word("write", line, f'{more} Prints {{"journal":N}} once it is kept.', example, _all(*parts))


_RUN = _all(
    _argument("--clock", choices=("wall", "scaled", "topic"), default="wall", help="whose time it is: the "
              "machine's (default), a faster one, or what ROOT/clock says"),
    _argument("--speed", type=float, metavar="N", help="scaled: simulated seconds a second"),
    _argument("--epoch", metavar="TIME", help="scaled: the simulated time at --started"),
    _argument("--started", metavar="TIME", help="scaled: the real time at which --epoch was"),
    _argument("--trust-clock", action="store_true", help="this machine's clock is right although no time "
              "service says so"),
    _argument("--log", choices=("debug", "info", "warning", "error"), default="info", help="how much to say"),
)  # fmt: skip
_REPLAY = _all(
    _argument("--inputs", metavar="IN", help="a file of inputs, one JSON line each"),
    _argument("--effects", metavar="OUT", help="where to write what follows from them"),
)

COMMANDS: dict[str, Word] = {
    "run": Word(
        "run", "watch: take messages, judge, call people",
        "Runs until a signal asks it to stop (a second one forces). Logs on standard output. Exit 0 when it "
        "was asked to stop, 1 when it had to give up, 2 for a faulty site file, 3 if the store is held.",
        "malting-gateway --site config/quern-hill.toml --store data run", _RUN,
    ),
    "check": Word(
        "run", "read the site file and name all its faults at once",
        "Exit 0 if it can be used, 2 with each fault's file, line, key, value and what was expected.",
        "malting-gateway --site config/quern-hill.toml check", _JSON,
    ),
    "replay": Word(
        "run", "judge a file of inputs, or a store's journal once more",
        "With --inputs and --effects: the same rules as live, without a broker, as fast as it can; needs "
        "--site. With --store alone: compares with what was made of it live; exit 1 if anything differs.",
        "malting-gateway replay --site config/quern-hill.toml --inputs in.jsonl --effects out.jsonl", _REPLAY,
    ),
    "beds": _read(
        "what lies where, how warm, when to turn",
        "Exit 1 if a bed is at its high limit or above, or is not being watched.", "malting-gateway beds",
    ),
    "probes": _read(
        "what each probe says and whether it is heard", "Exit 1 if a probe is silent or stuck.",
        "malting-gateway probes",
    ),
    "alarms": _read(
        "what is wrong now", "Exit 1 if an alarm stands that calls people (medium or above).",
        "malting-gateway alarms --all",
        _argument("--all", action="store_true", dest="ended", help="those that are over, too"),
    ),
    "turns": _read("when each bed was turned, and by whom", "Exit 0.", "malting-gateway turns --json"),
    "notices": _read(
        "who was told what, and whether it reached them",
        "Exit 1 if a message was tried and has not reached its phone.", "malting-gateway notices",
    ),
    "rejected": _read(
        "messages that were refused, how often and why", "Exit 0. With --json the newest 1,000 as well.",
        "malting-gateway rejected",
    ),
    "health": _read(
        "the gateway itself: broker, store, disk, clock, phones, probes",
        "Each line is good or says what to do. Exit 1 if one is bad.", "malting-gateway health",
    ),
    "mirror": _read(
        "how far the site's time-series server is behind, and the lines it would not take",
        "Exit 1 if it refuses what is sent, or if lines are kept aside. With --resend those are sent once "
        "more at the next turn; those it takes leave the list.", "malting-gateway mirror",
        _argument("--resend", action="store_true", help="send the lines kept aside once more"),
    ),
    "tonight": _read("what wants turning, the soonest first", "Exit 0.", "malting-gateway tonight"),
    "cast": _write(
        "a new piece lies on a bed", "Starts the piece's days on the floor and its programme.",
        "malting-gateway cast bed-c --piece 14 --by Ada",
        _BED,
        _argument("--piece", metavar="NAME", help="the piece's number or name; the next number if left out"),
        _PEOPLE,
    ),
    "couch-broken": _write(
        "the couch was broken and spread", "The turn clock begins.",
        "malting-gateway couch-broken bed-c --at 14:30", _BED, _PEOPLE,
    ),
    "turned": _write(
        "a bed, or a part of it, was turned",
        "Restarts the turn clock of that stretch and nothing else; a heat alarm ends when the grain is cool.",
        "malting-gateway turned bed-c --from-m 0 --to-m 9 --at 04:50 --by Ada", _BED,
        _argument("--from-m", type=float, metavar="M", help="from this metre of the floor"),
        _argument("--to-m", type=float, metavar="M", help="to this metre of the floor"), _PEOPLE,
    ),
    "moved": _write(
        "a piece went to another bed", "The piece keeps its age and its turns.",
        "malting-gateway moved bed-c --to bed-d", _BED,
        _argument("--to", metavar="BED", required=True, help="the bed where it lies now"), _PEOPLE,
    ),
    "loaded": _write(
        "a piece went into the kiln", "The bed is empty from here on.", "malting-gateway loaded bed-a",
        _BED, _KILN, _PEOPLE,
    ),
    "kiln": _write(
        "something was done at the kiln", "`lit` starts the kiln's programme.",
        "malting-gateway kiln lit --at 06:15 --by Ben",
        _argument("what", choices=KILN_WORK, help="what was done"), _KILN, _PEOPLE,
    ),
    "answer": _write(
        "answer an alarm: going, heard or cant",
        "`going` holds the calls (45 minutes unless the site says otherwise), `heard` for a shorter while; "
        "`cant` rings the next person at once.",
        "malting-gateway answer 412 going --by Ada",
        _ALARM, _argument("answer", choices=ANSWERS, help="going, heard or cant"), _PEOPLE,
    ),
    "quiet": _write(
        "keep one alarm quiet for a while", "A higher level calls all the same.",
        'malting-gateway quiet 412 --for 2h --why "probe is being moved" --by Ada', _ALARM,
        _argument("--for", dest="for", metavar="SPAN", required=True, help="2h, 45min, 1h30min; at most 24h"),
        _WHY,
    ),
    "unquiet": _write(
        "end a quiet time", "The alarm calls again if it still stands.", "malting-gateway unquiet 412",
        _ALARM, _PEOPLE,
    ),
    "out-of-service": _write(
        "take a probe out of service",
        "It is not judged and nobody is called about it; a bed without another good probe is not being "
        "watched, and that is said.",
        'malting-gateway out-of-service c-middle --why "cable cut" --by Ben', _PROBE, _WHY,
    ),
    "in-service": _write(
        "put a probe back into service", "It is judged again.",
        "malting-gateway in-service c-middle --by Ben",
        _PROBE, _PEOPLE,
    ),
    "test-call": _write(
        "ring one person's phones, or everybody's, with a test call",
        "The first word of the message is TEST.", "malting-gateway test-call ada",
        _argument("person", metavar="PERSON", nargs="?", help="whose phones; everybody's if left out"),
        _PEOPLE,
    ),
    "credentials": Word(
        "keep", "make the broker's certificate, accounts and access list",
        "From the site file, into a folder; what is there already is kept, and the two lists follow the site "
        "file. deploy/README.md says what goes where. Needs openssl.",
        "malting-gateway --site config/quern-hill.toml credentials credentials --name malt.example",
        _all(
            _argument("folder", metavar="FOLDER", help="where to make them; for its owner only"),
            _argument("--name", metavar="NAME", action="append", help="what else the broker is called in the "
                      "network, or an address of it; may be given several times"),
            _argument("--certificates", action="store_true", help="a certificate for each account as well"),
        ),
    ),
    "backup": Word(
        "keep", "copy the store while it is in use",
        "The running gateway makes the copy; without one this command does. It is checked before it counts. "
        "Into a directory it goes under a name of its own.",
        "malting-gateway --store data backup --keep 14 /media/stick",
        _all(
            _argument("file", metavar="FILE", help="a file that is not there yet, or a directory"),
            _argument("--keep", type=int, metavar="N", help="keep the newest N copies in the directory"),
        ),
    ),
    "restore": Word(
        "keep", "put a back-up in the place of a store that is gone",
        "Looks at it first and says what is in it; never overwrites a store.",
        "malting-gateway --store data restore /media/stick/quern-hill-20241105T030000Z.db",
        _argument("file", metavar="FILE", help="the back-up"),
    ),
    "verify": Word(
        "keep", "whether a store or a back-up is whole, and what is in it",
        "SQLite's own check, every count and every number. Exit 1 if something is wrong.",
        "malting-gateway verify /media/stick/quern-hill-20241105T030000Z.db",
        _all(_JSON, _argument("file", metavar="FILE", nargs="?", help="a back-up; else the store")),
    ),
    "reload": Word(
        "keep", "have the running gateway read its site file again",
        "A good file holds from then on; a bad one changes nothing, and its faults are told (exit 2).",
        "malting-gateway --store data reload", _nothing,
    ),
}  # fmt: skip

GROUPS = {
    "run": "running",
    "read": "reading (each takes --json)",
    "write": "recording (each takes --at --by --why)",
    "keep": "keeping it going",
}


def parser() -> argparse.ArgumentParser:
    """The whole command line. `--site` and `--store` may stand before or after the command."""
    top = argparse.ArgumentParser(
        prog="malting-gateway",
        description="Watches the beds, kilns and rooms of a floor maltings and calls people.",
        epilog=_overview(),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    _where(top, None)
    top.add_argument("--version", action="store_true", help="print the version and end")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", help=argparse.SUPPRESS)
    for name, word in COMMANDS.items():
        one = commands.add_parser(
            name,
            description=f"{word.line[0].upper()}{word.line[1:]}. {word.more}",
            epilog=f"example:\n  {word.example}",
            formatter_class=_Filled,
        )
        _where(one, argparse.SUPPRESS)
        word.add(one)
    return top


class _Filled(argparse.RawDescriptionHelpFormatter):
    """Fills the description to the terminal's width, and leaves the example as it stands."""

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        if text.startswith("example:"):
            return super()._fill_text(text, width, indent)
        return argparse.HelpFormatter._fill_text(self, text, width, indent)


def _where(one: argparse.ArgumentParser, default: Any) -> None:
    one.add_argument("--site", metavar="FILE", default=default, help="the site file (or MALTING_SITE)")
    one.add_argument("--store", metavar="DIR", default=default, help="where all is kept (or MALTING_STORE)")


def _overview() -> str:
    lines = []
    for group, title in GROUPS.items():
        lines.append(f"{title}:")
        lines += [f"  {name:15} {word.line}" for name, word in COMMANDS.items() if word.group == group]
        lines.append("")
    lines += [
        "exit codes:",
        "  0 good   1 the answer is bad news   2 faulty input   3 no answer",
        "",
        "`malting-gateway COMMAND --help` tells more and gives an example.",
        "No gas watch; not a certified gas alarm. Local codes and licensed practice come first.",
    ]
    return "\n".join(lines)
