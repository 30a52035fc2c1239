"""The store: one SQLite file behind `ports.Journal` (one writer) and `ports.Reader` (any number)."""

from sqlite3 import sqlite_version as LIBRARY  # noqa: N812 - the version of the library in use

from gateway.edges.sqlite.opening import open_reader, open_writer
from gateway.edges.sqlite.reader import Reader
from gateway.edges.sqlite.writer import Writer

__all__ = ["LIBRARY", "Reader", "Writer", "open_reader", "open_writer"]
