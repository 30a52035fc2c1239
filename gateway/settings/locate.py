"""On which line of a TOML text each table and key stands, so that a fault can name it.

Only for texts `tomllib` has taken already: it looks for where things begin, and does not check them.
"""

from __future__ import annotations

import re

Path = tuple[str | int, ...]

_BLANK = re.compile(r"(?:[ \t\r\n]++|#[^\n]*+)*+")
_KEY = re.compile(r"""[ \t]*+(?:"((?:[^"\\\n]|\\.)*+)"|'([^'\n]*+)'|([A-Za-z0-9_-]++))[ \t]*+(\.)?""")
_PART = re.compile(
    r'''"""(?:[^"\\]|\\.|"(?!""))*+"{3,5}|"(?:[^"\\\n]|\\.)*+"'''
    r"""|'''(?:[^']|'(?!''))*+'{3,5}|'[^'\n]*+'"""
    r"""|\#[^\n]*+|[\[{]|[\]}]|\n|[^"'\#\n\[\]{}]++""",
    re.DOTALL,
)


class Lines:
    """The lines of one text, by path: ("probe", 3, "place") is the key `place` of the fourth [[probe]]."""

    def __init__(self, text: str = "") -> None:
        self._found: dict[Path, int] = {}
        self._counts: dict[Path, int] = {}
        self._scan(text)

    def find(self, path: Path) -> int | None:
        """The line of the path, or of the nearest table around it; None where neither is in the text."""
        while path:
            line = self._found.get(path)
            if line is not None:
                return line
            path = path[:-1]
        return None

    def _scan(self, text: str) -> None:
        at, line, table = 0, 1, Path()
        while True:
            start, at = at, _after_blank(text, at)
            line += text.count("\n", start, at)
            if at >= len(text):
                return
            header = text[at] == "["
            double = text.startswith("[[", at)
            keys, end = _keys(text, at + header + double)
            if not keys:
                return  # not TOML; better no line than a wrong one
            path = table = self._enter(keys, double) if header else table
            if not header:
                path = (*table, *keys)
            for most in range(1, len(path) + 1):
                self._found.setdefault(path[:most], line)
            start, at = at, _after_line(text, end) if header else _after_value(text, end)
            line += text.count("\n", start, at)

    def _enter(self, keys: tuple[str, ...], double: bool) -> Path:
        """The path of a header: an array of tables named on the way means its newest element."""
        path = Path()
        for i, key in enumerate(keys):
            path = (*path, key)
            if double and i == len(keys) - 1:
                self._counts[path] = self._counts.get(path, -1) + 1
            if path in self._counts:
                path = (*path, self._counts[path])
        return path


def _after_blank(text: str, at: int) -> int:
    found = _BLANK.match(text, at)
    return found.end() if found else at


def _keys(text: str, at: int) -> tuple[tuple[str, ...], int]:
    """The parts of a dotted key and where it ends."""
    keys: list[str] = []
    while found := _KEY.match(text, at):
        keys.append(next(part for part in found.groups()[:3] if part is not None))
        at = found.end()
        if not found[4]:
            break
    return tuple(keys), at


def _after_line(text: str, at: int) -> int:
    end = text.find("\n", at)
    return len(text) if end < 0 else end


def _after_value(text: str, at: int) -> int:
    """Where the value ends: the first line end outside of every string, list and inline table."""
    depth = 0
    while found := _PART.match(text, at):
        part = found[0]
        if part == "\n" and depth <= 0:
            return at
        depth += (part in ("[", "{")) - (part in ("]", "}"))
        at = found.end()
    return len(text)
