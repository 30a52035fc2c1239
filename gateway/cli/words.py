"""The words one types, with what each is for and an example: the whole command line as one table."""

from __future__ import annotations

import argparse
from typing import Any

from gateway.cli.word import (
    ALARM,
    JSON,
    PEOPLE,
    PROBE,
    WHY,
    Word,
    argument,
    both,
    nothing,
    number,
    read,
    whole,
    write,
)
from gateway.cli.words_air import AIR
from gateway.cli.words_floor import FLOOR
from gateway.cli.words_note import NOTE
from gateway.core.asked import ANSWERS

#: As gateway/web/given.py has them, which is not loaded for this.
ROLES = ("viewer", "shift", "maltster", "maintenance", "safety")
_RUN = both(
    argument("--clock", choices=("wall", "scaled", "topic"), default="wall", help="whose time it is: the "
              "machine's (default), a faster one, or what ROOT/clock says"),
    argument("--speed", type=number, metavar="N", help="scaled: simulated seconds a second"),
    argument("--epoch", metavar="TIME", help="scaled: the simulated time at --started"),
    argument("--started", metavar="TIME", help="scaled: the real time at which --epoch was"),
    argument("--trust-clock", action="store_true", help="this machine's clock is right although no time "
              "service says so"),
    argument("--log", choices=("debug", "info", "warning", "error"), default="info", help="how much to say"),
)  # fmt: skip
_REPLAY = both(
    argument("--inputs", metavar="IN", help="a file of inputs, one JSON line each"),
    argument("--effects", metavar="OUT", help="where to write what follows from them"),
)

COMMANDS: dict[str, Word] = {
    "run": Word(
        "run", "watch: take messages, judge, call people",
        "Runs until a signal asks it to stop (a second one forces). Logs on standard error. Exit 0 when it "
        "was asked to stop, 1 when it had to give up, 2 for a faulty site file, 3 if the store is held.",
        "malting-gateway --site config/quern-hill.toml --store data run", _RUN,
    ),
    "check": Word(
        "run", "read the site file and name all its faults at once",
        "Exit 0 if it can be used, 2 with each fault's file, line, key, value and what was expected.",
        "malting-gateway --site config/quern-hill.toml check", JSON,
    ),
    "replay": Word(
        "run", "judge a file of inputs, or a store's journal once more",
        "With --inputs and --effects: the same rules as live, without a broker, as fast as it can; needs "
        "--site. With --store alone: compares with what was made of it live; exit 1 if anything differs.",
        "malting-gateway replay --site config/quern-hill.toml --inputs in.jsonl --effects out.jsonl", _REPLAY,
    ),
    "beds": read(
        "what lies where, how warm, when to turn",
        "Exit 1 if a bed is at its high limit or above, or is not being watched.", "malting-gateway beds",
    ),
    "probes": read(
        "what each probe says and whether it is heard", "Exit 1 if a probe is silent or stuck.",
        "malting-gateway probes",
    ),
    "alarms": read(
        "what is wrong now", "Exit 1 if an alarm stands that calls people (medium or above).",
        "malting-gateway alarms --all",
        argument("--all", action="store_true", dest="ended", help="those that are over, too"),
    ),
    "turns": read("when each bed was turned, and by whom", "Exit 0.", "malting-gateway turns --json"),
    "notices": read(
        "who was told what, and whether it reached them",
        "Exit 1 if a message was tried and has not reached its phone.", "malting-gateway notices",
    ),
    "rejected": read(
        "messages that were refused, how often and why", "Exit 0. With --json the newest 1,000 as well.",
        "malting-gateway rejected",
    ),
    "health": read(
        "the gateway itself: broker, store, disk, clock, phones, probes",
        "Each line is good or says what to do. Exit 1 if one is bad.", "malting-gateway health",
    ),
    "mirror": read(
        "how far the site's time-series server is behind, and the lines it would not take",
        "Exit 1 if it refuses what is sent, or if lines are kept aside. With --resend those are sent once "
        "more at the next turn; those it takes leave the list.", "malting-gateway mirror",
        argument("--resend", action="store_true", help="send the lines kept aside once more"),
    ),
    "tonight": read(
        "what wants doing, in walking order, and what becomes of it if left",
        "Steeps first, then the beds; what one person does not get to in time is marked. Exit 0.",
        "malting-gateway tonight",
    ),
    "forecast": read(
        "how warm each bed will be, and when it meets its limits, if nobody turns it",
        "Twelve hours ahead, with the band that holds nine of ten; not yet where too little was heard since "
        "the turn. Exit 0.", "malting-gateway forecast",
    ),
    "piece": read(
        "where each piece is; with its number, its story from steep to kiln",
        "Exit 1 if there is no such piece. The numbers of its entries are those that correct and void take.",
        "malting-gateway piece 14",
        argument("piece", metavar="PIECE", nargs="?", help="the piece's number or name; all if left out"),
    ),
    "lay": read(
        "what lay where at a time", "Steeps, beds, kilns. Exit 0.", "malting-gateway lay --at 02:30",
        argument("--at", dest="when", metavar="TIME", help="04:50 or 2024-11-05T04:50:00Z; now if left out"),
    ),
    "questions": read(
        "what was recorded and cannot be so, or was never recorded: to ask in daylight",
        "Answer each with correct, void or keep; a turn that only the probes saw with turned BED --at or "
        "not-turned BED. Exit 1 if there is one.", "malting-gateway questions",
    ),
    **AIR,
    **NOTE,
    **FLOOR,
    "answer": write(
        "answer an alarm: going, heard or cant",
        "`going` holds the calls (45 minutes unless the site says otherwise), `heard` for a shorter while; "
        "`cant` rings the next person at once.",
        "malting-gateway answer 412 going --by Ada",
        ALARM, argument("answer", choices=ANSWERS, help="going, heard or cant"), PEOPLE,
    ),
    "quiet": write(
        "keep one alarm quiet for a while", "A higher level calls all the same.",
        'malting-gateway quiet 412 --for 2h --why "probe is being moved" --by Ada', ALARM,
        argument("--for", dest="for", metavar="SPAN", required=True, help="2h, 45min, 1h30min; at most 24h"),
        WHY,
    ),
    "unquiet": write(
        "end a quiet time", "The alarm calls again if it still stands.", "malting-gateway unquiet 412",
        ALARM, PEOPLE,
    ),
    "out-of-service": write(
        "take a probe out of service",
        "It is not judged and nobody is called about it; a bed without another good probe is not being "
        "watched, and that is said.",
        'malting-gateway out-of-service c-middle --why "cable cut" --by Ben', PROBE, WHY,
    ),
    "in-service": write(
        "put a probe back into service", "It is judged again.",
        "malting-gateway in-service c-middle --by Ben",
        PROBE, PEOPLE,
    ),
    "test-call": write(
        "ring one person's phones, or everybody's, with a test call",
        "The first word of the message is TEST.", "malting-gateway test-call ada",
        argument("person", metavar="PERSON", nargs="?", help="whose phones; everybody's if left out"),
        PEOPLE,
    ),
    "credentials": Word(
        "keep", "make the broker's certificate, accounts and access list",
        "From the site file, into a folder; what is there already is kept, and the two lists follow the site "
        "file. deploy/README.md says what goes where. Needs openssl.",
        "malting-gateway --site config/quern-hill.toml credentials credentials --name malt.example",
        both(
            argument("folder", metavar="FOLDER", help="where to make them; for its owner only"),
            argument("--name", metavar="NAME", action="append", help="what else the broker is called in the "
                      "network, or an address of it; may be given several times"),
            argument("--certificates", action="store_true", help="a certificate for each account as well"),
        ),
    ),
    "backup": Word(
        "keep", "copy the store while it is in use",
        "The running gateway makes the copy; without one this command does. It is checked before it counts. "
        "Into a directory it goes under a name of its own.",
        "malting-gateway --store data backup --keep 14 /media/stick",
        both(
            argument("file", metavar="FILE", help="a file that is not there yet, or a directory"),
            argument("--keep", type=whole, metavar="N", help="keep the newest N copies in the directory"),
        ),
    ),
    "restore": Word(
        "keep", "put a back-up in the place of a store that is gone",
        "Looks at it first and says what is in it; never overwrites a store.",
        "malting-gateway --store data restore /media/stick/quern-hill-20241105T030000Z.db",
        argument("file", metavar="FILE", help="the back-up"),
    ),
    "verify": Word(
        "keep", "whether a store or a back-up is whole, and what is in it",
        "SQLite's own check, every count and every number. Exit 1 if something is wrong.",
        "malting-gateway verify /media/stick/quern-hill-20241105T030000Z.db",
        both(JSON, argument("file", metavar="FILE", nargs="?", help="a back-up; else the store")),
    ),
    "reload": Word(
        "keep", "have the running gateway read its site file again",
        "A good file holds from then on; a bad one changes nothing, and its faults are told (exit 2).",
        "malting-gateway --store data reload", nothing,
    ),
    "swap": Word(
        "keep", "another instrument hangs where a probe hung, and speaks on another topic",
        "Changes the probe's topic in the site file, keeping comments and all else, has the running gateway "
        "read it, and leaves a note for the next shift. The probe keeps its name, place, limits and history. "
        "A file that could not be used is not put in place (exit 2). Calibration belongs to an instrument: "
        "where the site file has the old one's, the new one's must be given.",
        "malting-gateway swap bed-c-mid --topic quern-hill/spare/3 --by Dan --why 'cable cut'",
        both(
            PROBE,
            argument("--topic", required=True, metavar="TOPIC", help="where the new instrument speaks"),
            argument("--value", metavar="POINTER", help="where its value stands in the payload, such as /v"),
            argument("--offset", type=number, metavar="X", help="its calibration, in the probe's unit"),
            argument("--gain", type=number, metavar="X", help="its calibration, a factor"),
            argument("--calibrated", metavar="DAY", help="when it was, such as 2025-11-05"),
            argument("--bump-tested", metavar="DAY", help="when it was tried with gas"),
            argument("--by", metavar="NAME", required=True, help="who swapped it"),
            argument("--why", metavar="TEXT", required=True, help="why; others will wonder"),
        ),
    ),
    "account": Word(
        "keep", "who may use the page",
        "add and link print a link with which the person sets a password, open one that logs in; each works "
        "once, within a day. link without a name makes the first account. Needs the running gateway.",
        "malting-gateway --store data account add Ada --role maltster --person ada",
        both(
            argument("what", choices=("list", "add", "link", "open", "role", "remove"), help="what to do"),
            argument("name", metavar="NAME", nargs="?", help="whose account"),
            argument("--role", choices=ROLES, help="shift, where nothing is said"),
            argument("--person", metavar="ID", help="who of the site file that is"),
        ),
    ),
    "token": Word(
        "keep", "which programs may use the JSON interface",
        "add prints the token, once. Needs the running gateway.",
        "malting-gateway --store data token add wall-screen --role viewer",
        both(
            argument("what", choices=("list", "add", "remove"), help="what to do"),
            argument("name", metavar="NAME", nargs="?", help="what the token is called"),
            argument("--role", choices=ROLES, help="shift, where nothing is said"),
        ),
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
        "No gas watch where no gas probe hangs; not a certified gas alarm. Local codes and licensed practice",
        "come first.",
    ]
    return "\n".join(lines)
