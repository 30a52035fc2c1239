"""Reads pages of Markdown, and writes the parts of ours that are made from the code anew:

python -m tests.docs
"""

import inspect
import re
import shlex
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from gateway.cli.words import COMMANDS
from gateway.core import alarm, points
from gateway.core.wording.sheet import SHEETS
from tests.test_layers import ROOMS

_FENCE = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_CODE = re.compile(r"(?<!`)`([^`\n]+)`(?!`)")
ROOT = Path(__file__).resolve().parent.parent
OURS = ("README.md", "DEVELOPERS.md")


def blocks(page: str, language: str) -> list[str]:
    """The fenced blocks of that language."""
    return [found[2] for found in _FENCE.finditer(page) if found[1] == language]


def prose(page: str) -> str:
    """The page without its fenced blocks."""
    return _FENCE.sub("", page)


def codes(page: str) -> list[str]:
    """Everything between single back-ticks."""
    return _CODE.findall(prose(page))


def typed(page: str) -> list[list[str]]:
    """Each shell line of the page as words, without its remark and without `sudo`."""
    lines = [line.removeprefix("sudo ") for block in blocks(page, "sh") for line in block.splitlines()]
    return [words for words in (shlex.split(line, comments=True) for line in lines) if words]


def rows(section: str) -> list[list[str]]:
    """The cells of each row of the first table in that text, without its head."""
    lines = [line for line in section.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in line.strip("|").split(" | ")] for line in lines[2:]]


def table(head: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> str:
    """A table of Markdown."""
    lines = [head, tuple("---" for _ in head), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines) + "\n"


def imports() -> str:
    """Who may import whom, as tests/test_layers.py holds it."""
    rows = [
        (f"`{name}`", _names(room.inside) or "nothing", _names(room.libraries), "pure" if room.pure else "")
        for name, room in ROOMS.items()
    ]
    return table(("room", "may import of ours, besides itself", "its libraries", ""), rows)


def sheets() -> str:
    """What each alarm asks for."""
    rows = [
        (f"`{kind}`", one.priority, one.action, one.time_to_act, one.owner) for kind, one in SHEETS.items()
    ]
    return table(("kind", "priority", "action", "time to act", "owner"), rows)


def _names(names: tuple[str, ...]) -> str:
    return ", ".join(f"`{name}`" for name in names)


def series() -> str:
    """The measurements at the site's time-series server, in the words of the module that makes them."""
    return f"```text\n{inspect.cleandoc(points.__doc__ or '')}\n```\n"


def called() -> str:
    """The kinds of alarm for whoever is called."""
    rows = [(f"`{kind}`", one.priority, one.cause, one.action) for kind, one in SHEETS.items()]
    return table(("kind", "priority", "what is behind it", "first thing to do"), rows)


def commands(*groups: str) -> Callable[[], str]:
    """The commands of these groups by their examples, in the words of their help."""

    def made() -> str:
        words = [word for word in COMMANDS.values() if word.group in groups]
        rows = [
            (f"`{_short(word.example)}`", f"{word.line}. {word.more.removesuffix(_KEPT).strip()}".strip())
            for word in words
        ]
        return table(("such as", "what it is for"), [(a, b.replace("|", "\\|")) for a, b in rows])

    return made


def _short(example: str) -> str:
    """The example without the places that the environment can name."""
    return re.sub(r"^malting-gateway (?:--(?:site|store) \S+ )+", "malting-gateway ", example)


_KEPT = 'Prints {"journal":N} once it is kept.'
TABLES: dict[str, Callable[[], str]] = {
    "imports": imports,
    "alarms": alarm.markdown,
    "sheets": sheets,
    "points": series,
    "called": called,
    "read": commands("read"),
    "write": commands("write"),
    "keep": commands("run", "keep"),
}


def filled(page: str) -> str:
    """The page with each table between its marks as it should be now; raises KeyError for an unknown mark."""

    def fill(found: re.Match[str]) -> str:
        return f"{found[1]}\n{TABLES[found[2]]()}{found[3]}"

    return re.sub(r"(<!-- begin (\w+) -->)\n.*?(<!-- end \2 -->)", fill, page, flags=re.DOTALL)


def main() -> int:
    """Write the pages anew."""
    for name in OURS:
        (ROOT / name).write_text(filled((ROOT / name).read_text()))
    return 0


if __name__ == "__main__":
    sys.exit(main())
