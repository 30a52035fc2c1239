"""From the file to checked tables: every table is looked at on its own, so that one fault hides no other."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Generic, NamedTuple, TypeVar, cast

from pydantic import ValidationError

from gateway.settings.fault import ABSENT, Fault, Said, Sheet, SiteFault, Spot
from gateway.settings.forms import Form
from gateway.settings.locate import Lines
from gateway.settings.words import expected, keys_of

MOST_BYTES = 1_000_000
#: Far more than any maltings has; it bounds what a wrong file can cost.
MOST_ROWS = 5000

F = TypeVar("F", bound=Form)
#: The deepest key of a site file has 3 parts; both TOML readers take time and room by the square of them.
MOST_PARTS = 32
_PART = r"""(?:[A-Za-z0-9_-]++|"[^"\n]*+"|'[^'\n]*+')"""
_DEEP = re.compile(rf"(?<![A-Za-z0-9_-]){_PART}(?:[ \t]*+\.[ \t]*+{_PART}){{{MOST_PARTS}}}")
_WHERE = re.compile(r" \(at (?:line (\d+), column \d+|end of document)\)\Z")


class Row(NamedTuple, Generic[F]):
    """One table of the file. Where `whole` is False, wrong keys of `form` have been replaced by blanks."""

    spot: Spot
    form: F
    whole: bool


class Document(NamedTuple):
    """One TOML file."""

    spot: Spot
    data: dict[str, Any]


def read_bounded(path: Path, most: int) -> bytes:
    """The bytes of an ordinary file; raises OSError or ValueError, in words fit for "expected …"."""
    if not path.is_file():
        raise ValueError("a directory" if path.is_dir() else "no such file")
    with path.open("rb") as file:
        data = file.read(most + 1)
    if len(data) > most:
        raise ValueError(f"more than {most:,} bytes")
    return data


def read_document(path: Path) -> Document:
    """A TOML file; raises SiteFault with the one fault that kept it from being read."""
    try:
        data = read_bounded(path, MOST_BYTES)
    except (OSError, ValueError) as fault:
        why = getattr(fault, "strerror", None) or str(fault)
        raise SiteFault([Fault(str(path), None, "", None, f"a file that can be read ({why})")]) from fault
    return parse(data, str(path))


def parse(data: bytes, name: str) -> Document:
    """The same from bytes; `name` is what faults call the file."""
    try:
        text = data.decode()
    except UnicodeDecodeError as fault:
        line = data.count(b"\n", 0, fault.start) + 1
        raise SiteFault([Fault(name, line, "", None, "text in UTF-8")]) from fault
    text = text.replace("\r\n", "\n")
    deep = _DEEP.search(text)
    if deep:
        line = text.count("\n", 0, deep.start()) + 1
        raise SiteFault([Fault(name, line, "", None, f"keys of at most {MOST_PARTS} parts")])
    try:
        table = tomllib.loads(text)
    except (ValueError, RecursionError) as fault:
        # Not only TOMLDecodeError: a number of 5,000 digits raises ValueError, deep nesting RecursionError.
        raise SiteFault([_syntax(name, text, str(fault))]) from fault
    return Document(Spot(name, Lines(text)), table)


def _syntax(name: str, text: str, why: str) -> Fault:
    found = _WHERE.search(why)
    line = None
    if found:
        line = int(found[1]) if found[1] else text.count("\n") + 1
    return Fault(name, line, "", None, f"TOML ({why})")


def table(sheet: Sheet, document: Document, key: str, form: type[F]) -> Row[F]:
    """The one table of that name; an absent one counts as empty."""
    return row(sheet, document.spot / key, document.data.get(key, {}), form)


def rows(sheet: Sheet, spot: Spot, value: Any, form: type[F]) -> list[Row[F]]:
    """The tables of an array of tables (None where there is none), at most MOST_ROWS of them."""
    if value is None:
        return []
    if not isinstance(value, list):
        sheet.fault(spot, value, f"a list of tables, [[{spot.path[-1]}]]")
        return []
    if len(value) > MOST_ROWS:
        sheet.fault(spot, Said(f"{len(value)} tables"), f"at most {MOST_ROWS} of them")
    return [row(sheet, spot / i, item, form) for i, item in enumerate(value[:MOST_ROWS])]


def row(sheet: Sheet, spot: Spot, value: Any, form: type[F]) -> Row[F]:
    """One table, checked; its faults go on the sheet, and blanks stand for what is wrong."""
    if not isinstance(value, dict):
        sheet.fault(spot, value, "a table")
        return Row(spot, cast(F, form.model_construct(**form.BLANK)), False)
    try:
        return Row(spot, form.model_validate(value), True)
    except ValidationError as fault:
        wrong = set(_note(sheet, spot, fault, form))
    kept = {key: item for key, item in value.items() if key in keys_of(form) and key not in wrong}
    return Row(spot, cast(F, form.model_construct(**(form.BLANK | kept))), False)


def _note(sheet: Sheet, spot: Spot, fault: ValidationError, form: type[Form]) -> Iterator[str | int]:
    """Put every error on the sheet; yields the keys that are wrong."""
    for error in fault.errors(include_url=False):
        at = spot
        for part in error["loc"]:
            at = at / part
        missing = error["type"] == "missing"
        sheet.fault(at, ABSENT if missing else error["input"], expected(error, form))
        yield error["loc"][0]
