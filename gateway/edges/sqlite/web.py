"""What the page keeps beside the journal: accounts, sessions, tokens, links, phones, failures to log in."""

from __future__ import annotations

import json
import sqlite3
from typing import Any

from gateway.ports import WebLine

_PUT = "INSERT OR REPLACE INTO web VALUES (?, ?, ?, ?)"


def lines(db: sqlite3.Connection) -> list[WebLine]:
    """As `ports.WebReader.web_lines`."""
    found = db.execute("SELECT kind, key, ends_ms, body FROM web ORDER BY kind, key")
    return [WebLine(kind, key, ends_ms, json.loads(body)) for kind, key, ends_ms, body in found]


def put(db: sqlite3.Connection, kind: str, key: str, ends_ms: int | None, body: dict[str, Any]) -> None:
    """As `ports.WebWriter.put_web`."""
    db.execute(_PUT, (kind, key, ends_ms, json.dumps(body, sort_keys=True)))


def drop(db: sqlite3.Connection, kind: str, key: str) -> bool:
    """As `ports.WebWriter.drop_web`."""
    return db.execute("DELETE FROM web WHERE kind = ? AND key = ?", (kind, key)).rowcount > 0
