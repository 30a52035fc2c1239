"""What the page keeps, through the migrations that widened what it may keep."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from gateway.edges.sqlite import open_reader, open_writer
from gateway.edges.sqlite.place import DATABASE
from gateway.edges.sqlite.schema import APPLICATION_ID, migrations, statements
from gateway.ports import WebLine

KEPT = [
    WebLine("account", "Ada", None, {"role": "maltster"}),
    WebLine("link", "d1", 5, {"purpose": "open"}),
    WebLine("push", "ben-push-1", None, {"person": "ben"}),
    WebLine("session", "d2", 6, {"name": "Ada"}),
    WebLine("token", "d3", None, {"name": "screen"}),
]


def store_of(folder: Path, number: int) -> None:
    """A store as the version with that migration as its newest left it, with lines of the page."""
    folder.mkdir(mode=0o700)
    with closing(sqlite3.connect(folder / DATABASE, isolation_level=None)) as db:
        for step in migrations()[:number]:
            for one in statements(step.sql):
                db.execute(one)
            db.execute("INSERT INTO migration VALUES (?, ?, '1')", (step.number, step.name))
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        db.execute(f"PRAGMA user_version = {number}")
        for kind, key, ends_ms, _ in KEPT:
            if kind != "push" or number >= 6:
                body = next(line for line in KEPT if line.kind == kind).body
                name, value = next(iter(body.items()))
                db.execute(
                    "INSERT INTO web VALUES (?, ?, ?, json_object(?, ?))", (kind, key, ends_ms, name, value)
                )


@pytest.mark.parametrize("number", [4, 5, 6])
def test_a_store_of_before_keeps_its_accounts_and_takes_failures_to_log_in(
    tmp_path: Path, number: int
) -> None:
    folder = tmp_path / "store"
    store_of(folder, number)
    writer = open_writer(folder, site_id="quern-hill", clock_kind="wall", reserve_bytes=4096)
    with closing(open_reader(folder)) as reader:
        assert reader.web_lines() == [line for line in KEPT if line.kind != "push" or number >= 6]
        with writer.atomic():
            writer.put_web("slow", "d4", 7, {"count": 5, "last_ms": 1})
        assert WebLine("slow", "d4", 7, {"count": 5, "last_ms": 1}) in reader.web_lines()
        with writer.atomic():
            assert writer.drop_web("slow", "d4")
    with pytest.raises(Exception, match="CHECK"), writer.atomic():
        writer.put_web("another", "d5", None, {})
    writer.close()
