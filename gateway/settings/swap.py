"""Another instrument in a probe's place, written into the text of a site file: all else stays as it stands.

Only the lines of the keys that change are touched, so comments and order are kept; and the text is only given
back if it then says what was meant and nothing else.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Mapping
from typing import Any

from gateway.errors import SettingsFault
from gateway.settings.locate import Lines
from gateway.settings.words import nearest

Value = str | float
#: What is known of one instrument and not of the place where it hangs.
OF_THE_INSTRUMENT = ("offset", "gain", "calibrated", "bump_tested")

_LINE = (
    r"""^([ \t]*{key}[ \t]*=[ \t]*)(?:"(?:[^"\\\n]|\\.)*"|'[^'\n]*'|[^#"'\n\[{{]*?)([ \t]*(?:\#[^\n]*)?)$"""
)


def swapped(text: str, probe: str, changes: Mapping[str, Value]) -> tuple[str, dict[str, Any]]:
    """The text with these keys of that probe, and what the probe's keys were before.

    Raises SettingsFault where there is no such probe, where what is known of the old instrument would be
    taken for the new one's, or where the text is laid out so that it cannot be done line by line.
    """
    wanted = _parsed(text)
    rows = wanted.get("probe", [])
    found = [n for n, row in enumerate(rows) if row.get("id") == probe]
    if len(found) != 1:
        known = [str(row.get("id")) for row in rows]
        raise SettingsFault(f"probe = {probe!r}: no such probe, but {nearest(probe, known)}")
    [number], row = found, rows[found[0]]
    before = dict(row)
    old = [key for key in OF_THE_INSTRUMENT if key in row and key not in changes]
    if old:
        said = ", ".join(f"{key} = {row[key]}" for key in old)
        options = " and ".join(f"--{key.replace('_', '-')}" for key in old)
        raise SettingsFault(
            f"{probe}: {said} was the old instrument's; say the new one's with {options} "
            "(an instrument without calibration has offset 0 and gain 1)"
        )
    for key, value in changes.items():
        text = _with(text, number, key, _written(value))
        row[key] = value
    if _parsed(text) != wanted:
        lines = "\n".join(f"{key} = {_written(value)}" for key, value in changes.items())
        raise SettingsFault(f"{probe}: its table is laid out so that it must be changed by hand:\n{lines}")
    return text, before


def _parsed(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise SettingsFault(f"the site file is not TOML: {fault}") from fault


def _written(value: Value) -> str:
    # A basic string of TOML takes what a string of JSON takes; DEL it does not, and no topic has one.
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else str(value)


def _with(text: str, probe: int, key: str, value: str) -> str:
    """That key's line with another value; a new line below the probe's id where it has none yet."""
    lines, where = text.split("\n"), Lines(text)
    row = tomllib.loads(text)["probe"][probe]
    at = where.find(("probe", probe, key if key in row else "id"))
    if at is None:
        return text
    line = lines[at - 1]
    ends = "\r" if line.endswith("\r") else ""
    if key in row:
        pattern = re.compile(_LINE.format(key=re.escape(key)))
        changed = pattern.sub(lambda match: f"{match[1]}{value}{match[2]}", line.removesuffix("\r")) + ends
        return "\n".join([*lines[: at - 1], changed, *lines[at:]])
    indent = line[: len(line) - len(line.lstrip(" \t"))]
    return "\n".join([*lines[:at], f"{indent}{key} = {value}{ends}", *lines[at:]])
