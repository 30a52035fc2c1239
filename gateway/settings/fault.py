"""A fault of the site file: which file, line, key and value, and what was expected there."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from gateway.errors import SettingsFault
from gateway.settings.locate import Lines, Path

#: More than this many faults help nobody; the rest are counted.
MOST_FAULTS = 200
MOST_SHOWN = 60

#: Stands for the value of a key that is not there.
ABSENT: Any = object()


class Said(str):
    """A value in words of ours, shown without quotes."""

    __slots__ = ()


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong; `line` and `value` are None where there is none. Elements count from 0.

    With `blocks` False it is a warning: the gateway runs all the same.
    """

    file: str
    line: int | None
    key: str
    value: str | None
    expected: str
    blocks: bool = True

    def __str__(self) -> str:
        where = f"{self.file}:{self.line}" if self.line else self.file
        if not self.key:
            return f"{where}: expected {self.expected}"
        what = f"{self.key} is missing" if self.value is None else f"{self.key} = {self.value}"
        return f"{where}: {what}: expected {self.expected}"


class SiteFault(SettingsFault):
    """The site file cannot be used; `faults` are all that were found, in the order of the file."""

    def __init__(self, faults: Sequence[Fault], warnings: Sequence[Fault] = ()) -> None:
        super().__init__("\n".join(map(str, faults)))
        self.faults = tuple(faults)
        self.warnings = tuple(warnings)


class Spot(NamedTuple):
    """A place in a file."""

    file: str
    lines: Lines
    path: Path = ()

    def __truediv__(self, key: str | int) -> Spot:
        return self._replace(path=(*self.path, key))

    @property
    def line(self) -> int | None:
        """The line, or that of the nearest table around it."""
        return self.lines.find(self.path)


class Sheet:
    """Collects faults and warnings while a site file is read."""

    def __init__(self) -> None:
        self._faults: list[Fault] = []
        self._warnings: list[Fault] = []
        self._left_out = 0

    def fault(self, spot: Spot, value: Any, expected: str) -> None:
        """Note a fault; `value` ABSENT says that the key is missing."""
        self._note(self._faults, spot, value, expected, True)

    def warn(self, spot: Spot, value: Any, expected: str) -> None:
        """Note something that works and is better mended."""
        self._note(self._warnings, spot, value, expected, False)

    def add(self, fault: Fault) -> None:
        """Note a fault that was found elsewhere."""
        self._faults.append(fault)

    def _note(self, where: list[Fault], spot: Spot, value: Any, expected: str, blocks: bool) -> None:
        if len(where) >= MOST_FAULTS:
            self._left_out += 1
            return
        shown_value = None if value is ABSENT else shown(value)
        where.append(Fault(spot.file, spot.line, shown_path(spot.path), shown_value, expected, blocks))

    @property
    def full(self) -> bool:
        """Whether further faults are only counted, so that nobody need look for words."""
        return len(self._faults) >= MOST_FAULTS

    def faults(self) -> list[Fault]:
        """All faults, file by file, from the top of each; at most MOST_FAULTS and a line with the rest."""
        files = list(dict.fromkeys(fault.file for fault in self._faults))
        found = sorted(self._faults, key=lambda fault: (files.index(fault.file), fault.line or 0))
        if self._left_out:
            more = f"{self._left_out} more faults and warnings to be mended, not listed"
            found.append(Fault(files[0] if files else "", None, "", None, more))
        return found

    def warnings(self) -> list[Fault]:
        """All warnings, in the order they were found."""
        return list(self._warnings)


def shown_path(path: Path) -> str:
    """A path as people write it: probe[3].place."""
    parts = (f"[{part}]" if isinstance(part, int) else f".{_clip(part)}" for part in path)
    return "".join(parts).removeprefix(".")


def shown(value: Any) -> str:
    """A value as it stands in TOML, cut to a length that fits a line."""
    if isinstance(value, Said):
        return _clip(value)
    if isinstance(value, str):
        return _clip(json.dumps(value[: MOST_SHOWN + 1], ensure_ascii=False))
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int) and abs(value) >= 10**15:
        return "a very large number"
    if isinstance(value, dict):
        return "{…}"
    if isinstance(value, list | tuple):
        few = ", ".join(shown(item) for item in value[:5])
        return _clip(f"[{few}{', …' if len(value) > 5 else ''}]")
    return _clip(str(value))


def _clip(text: str) -> str:
    return text if len(text) <= MOST_SHOWN else text[: MOST_SHOWN - 1] + "…"
