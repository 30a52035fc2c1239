"""Onto standard output: a document as JSON, or a table with a line above it."""

from __future__ import annotations

import json
import sys
from typing import IO, Any

from rich.console import Console
from rich.table import Table

WIDEST = 120


def as_json(document: dict[str, Any], out: IO[str] | None = None) -> None:
    """One JSON document and a line end."""
    stream = out or sys.stdout
    json.dump(document, stream, ensure_ascii=False, allow_nan=False)
    stream.write("\n")


def as_table(head: str, table: Table | None, out: IO[str] | None = None, width: int | None = None) -> None:
    """A line of words and a table under it, as wide as the terminal and no wider than reads well."""
    console = Console(file=out or sys.stdout, width=width, highlight=False, emoji=False, markup=False)
    if width is None and console.width > WIDEST:
        console = Console(file=out or sys.stdout, width=WIDEST, highlight=False, emoji=False, markup=False)
    console.print(head)
    if table is not None and table.row_count:
        console.print(table)
