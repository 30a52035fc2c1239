"""The kiln's physics: a file of tables, each the figures of one dataclass, shipped or the site's own."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import fields
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any, get_type_hints

from gateway.core.site_kiln import KilnFigures
from gateway.settings.fault import ABSENT, Sheet, SiteFault, Spot
from gateway.settings.read import Document, parse, read_document

FILE = "kiln-physics.toml"
_TABLES: dict[str, type[Any]] = get_type_hints(KilnFigures)


@cache
def shipped() -> KilnFigures:
    """The figures that come with the program."""
    sheet = Sheet()
    document = parse(files("gateway.settings").joinpath(FILE).read_bytes(), f"(shipped) {FILE}")
    found = _figures(sheet, document, None)
    if found is None or sheet.faults():
        raise AssertionError("\n".join(map(str, sheet.faults())))
    return found


def read_physics(sheet: Sheet, spot: Spot, folder: Path | None, name: str | None) -> KilnFigures:
    """The site's own file, or the shipped one; what the site's leaves out is shipped."""
    if name is None or folder is None:
        return shipped()
    try:
        document = read_document(folder / name)
    except SiteFault as fault:
        one = fault.faults[0]
        sheet.fault(spot, name, one.expected) if one.line is None else sheet.add(one)
        return shipped()
    return _figures(sheet, document, shipped()) or shipped()


def _figures(sheet: Sheet, document: Document, base: KilnFigures | None) -> KilnFigures | None:
    unknown = [key for key in document.data if key not in _TABLES]
    for key in unknown:
        sheet.fault(document.spot / key, key, f"one of the tables {', '.join(_TABLES)}")
    made: dict[str, Any] = {}
    for name, kind in _TABLES.items():
        start = getattr(base, name) if base else None
        made[name] = _table(sheet, document.spot / name, document.data.get(name, {}), kind, start)
    return None if unknown or any(value is None for value in made.values()) else KilnFigures(**made)


def _table(sheet: Sheet, spot: Spot, value: Any, kind: type[Any], start: Any) -> Any:
    if not isinstance(value, Mapping):
        sheet.fault(spot, value, "a table")
        return None
    names = [one.name for one in fields(kind)]
    given = {name: getattr(start, name) for name in names} if start is not None else {}
    good = True
    for key, item in value.items():
        if key not in names:
            sheet.fault(spot / key, key, f"one of {', '.join(names)}")
            good = False
        elif not _fits(key, item):
            sheet.fault(spot / key, item, _wanted(key))
            good = False
        else:
            given[key] = _made(key, item)
    missing = [name for name in names if name not in given]
    for name in missing:
        sheet.fault(spot / name, ABSENT, "a number")
    return kind(**given) if good and not missing else None


def _wanted(key: str) -> str:
    if key == "wet_limits":
        return "pairs [moisture as a share, C], the wettest first, the last at 0"
    return "a whole number from 1 to 50" if key == "layers" else "a number from 0 to 1,000,000"


def _fits(key: str, item: Any) -> bool:
    if key == "wet_limits":
        pairs = isinstance(item, list) and bool(item) and all(isinstance(one, list) for one in item)
        if not pairs or not all(len(one) == 2 and all(map(_number, one)) for one in item):
            return False
        shares = [one[0] for one in item]
        return shares == sorted(set(shares), reverse=True) and shares[0] <= 1 and shares[-1] == 0
    return _number(item) and (key != "layers" or (isinstance(item, int) and 1 <= item <= 50))


def _number(item: Any) -> bool:
    return (
        isinstance(item, int | float)
        and not isinstance(item, bool)
        and math.isfinite(item)
        and 0 <= item <= 1e6
    )


def _made(key: str, item: Any) -> Any:
    if key == "wet_limits":
        return tuple((float(share), float(limit_c)) for share, limit_c in item)
    return item if key == "layers" else float(item)
