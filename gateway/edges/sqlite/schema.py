"""Migrations: each SQL file of `schema/` is run once, in one transaction with the record that it was."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from importlib.resources import files
from typing import NamedTuple

from gateway import __version__
from gateway.errors import StoreMismatch

#: "Malt" in ASCII: marks the file as ours, for `file` and for whoever finds it.
APPLICATION_ID = 0x4D616C74


class Migration(NamedTuple):
    """One step of the schema."""

    number: int
    name: str
    sql: str


def migrations() -> list[Migration]:
    """All steps, in order."""
    folder = files("gateway.edges.sqlite") / "schema"
    found = sorted((item for item in folder.iterdir() if item.name.endswith(".sql")), key=lambda i: i.name)
    return [Migration(int(item.name[:4]), item.name, item.read_text("utf-8")) for item in found]


def version_of(db: sqlite3.Connection) -> int:
    """The number of the newest migration the file has had; 0 for an empty file.

    Raises StoreMismatch if the file is some other program's.
    """
    number: int = db.execute("PRAGMA user_version").fetchone()[0]
    mark: int = db.execute("PRAGMA application_id").fetchone()[0]
    tables: int = db.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
    if tables and mark != APPLICATION_ID:
        raise StoreMismatch("the file is an SQLite database, but not a store of this gateway")
    return number


def check_not_newer(number: int, known: int) -> None:
    """Raises StoreMismatch for a store that a newer gateway has written to."""
    if number > known:
        raise StoreMismatch(
            f"the store was written by a newer gateway (schema {number}; this one knows {known}): "
            "install the newer gateway again"
        )


def migrate(db: sqlite3.Connection) -> int:
    """Bring the file up to date; returns how many steps were run. Raises StoreMismatch for a newer one."""
    steps = migrations()
    number = version_of(db)
    check_not_newer(number, steps[-1].number)
    due = [step for step in steps if step.number > number]
    for step in due:
        _run(db, step)
    return len(due)


def _run(db: sqlite3.Connection, step: Migration) -> None:
    db.execute("BEGIN IMMEDIATE")
    try:
        for statement in statements(step.sql):
            db.execute(statement)
        db.execute("INSERT INTO migration VALUES (?, ?, ?)", (step.number, step.name, __version__))
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        db.execute(f"PRAGMA user_version = {step.number}")
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise


def statements(sql: str) -> Iterator[str]:
    """The statements of a script one by one: `executescript` would commit on its own."""
    gathered = ""
    for line in sql.splitlines(keepends=True):
        gathered += line
        if sqlite3.complete_statement(gathered):
            yield gathered
            gathered = ""
