"""Opening the store: whose place, whose store, which version it has, and what a broken one says."""

import os
import sqlite3
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from gateway.edges.sqlite import open_reader, open_writer, schema
from gateway.edges.sqlite.place import DATABASE, LOCK, RESERVE
from gateway.errors import StoreFault, StoreHeld, StoreMismatch
from tests.contracts.store import SMALL_RESERVE, add, reader_of, reading, writer_of

ROOT = Path(__file__).resolve().parents[2]


def _alter(directory: Path, *sql: str) -> None:
    db = sqlite3.connect(directory / DATABASE, isolation_level=None)
    for statement in sql:
        db.execute(statement)
    db.close()


def _made(directory: Path) -> Path:
    writer = writer_of(directory)
    add(writer, reading(0))
    writer.close()
    return directory


def test_the_directory_is_its_owners_alone(tmp_path: Path) -> None:
    writer = writer_of(tmp_path / "deep" / "store")
    assert stat.S_IMODE((tmp_path / "deep" / "store").stat().st_mode) == 0o700
    writer.close()


def test_the_file_is_kept_as_durably_as_promised(tmp_path: Path) -> None:
    """Read from SQLite itself: write-ahead log, every commit synced, and no reader may change anything."""
    pragmas: list[sqlite3.Connection] = []

    class Seen(sqlite3.Connection):
        def __init__(self, *args: object, **kwargs: object) -> None:
            super().__init__(*args, **kwargs)  # type: ignore[arg-type]
            pragmas.append(self)

    writer = open_writer(tmp_path, site_id="q", clock_kind="wall", connection=Seen)
    [db] = pragmas
    assert db.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    assert db.execute("PRAGMA synchronous").fetchone() == (2,)
    assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert db.isolation_level is None
    writer.close()


def test_a_second_writer_is_refused_while_the_first_lives(tmp_path: Path) -> None:
    first = writer_of(tmp_path)
    with pytest.raises(StoreHeld, match=f"process {os.getpid()} already writes"):
        writer_of(tmp_path)
    first.close()
    first.close()
    writer_of(tmp_path).close()


def test_the_place_of_a_process_that_was_killed_is_free(tmp_path: Path) -> None:
    code = (
        "import sys, pathlib; from gateway.edges.sqlite import open_writer\n"
        "w = open_writer(pathlib.Path(sys.argv[1]), site_id='quern-hill', clock_kind='wall')\n"
        "print('open', flush=True); sys.stdin.read()"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path)], cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == b"open\n"
        with pytest.raises(StoreHeld, match=f"process {other.pid} "):
            writer_of(tmp_path)
        other.kill()
    writer_of(tmp_path).close()


@pytest.mark.parametrize(
    ("site", "clock", "words"),
    [("other", "wall", "belongs to the site 'quern-hill', not 'other'"), ("quern-hill", "scaled", "'wall'")],
)
def test_a_store_of_another_site_or_clock_is_refused(
    tmp_path: Path, site: str, clock: str, words: str
) -> None:
    _made(tmp_path)
    with pytest.raises(StoreMismatch, match=words):
        open_writer(tmp_path, site_id=site, clock_kind=clock)
    writer = writer_of(tmp_path)
    assert writer.last_stamp()[0] == 1, "the refusal changed nothing, and gave the place up"
    writer.close()


def test_a_store_of_a_newer_gateway_is_refused_by_both_sides(tmp_path: Path) -> None:
    _made(tmp_path)
    _alter(tmp_path, "PRAGMA user_version = 9999")
    with pytest.raises(StoreMismatch, match="schema 9999"):
        writer_of(tmp_path)
    with pytest.raises(StoreMismatch, match="schema 9999"):
        open_reader(tmp_path)


def test_another_programs_database_is_left_alone(tmp_path: Path) -> None:
    _alter(tmp_path, "CREATE TABLE beans (n)")
    for open_it in (writer_of, reader_of):
        with pytest.raises(StoreMismatch, match="not a store of this gateway"):
            open_it(tmp_path)


def test_each_migration_is_recorded_and_run_once(tmp_path: Path) -> None:
    _made(tmp_path)
    _made(tmp_path / "again")
    writer_of(tmp_path / "again").close()
    steps = [(step.number, step.name) for step in schema.migrations()]
    assert [number for number, _ in steps] == list(range(1, len(steps) + 1))
    db = sqlite3.connect(tmp_path / "again" / DATABASE)
    assert db.execute("SELECT number, name FROM migration ORDER BY number").fetchall() == steps
    assert db.execute("PRAGMA user_version").fetchone() == (len(steps),)
    db.close()


def test_a_reader_makes_no_store_and_takes_none_that_is_not_ready(tmp_path: Path) -> None:
    with pytest.raises(StoreFault, match="no store here"):
        open_reader(tmp_path)
    assert list(tmp_path.iterdir()) == []

    (tmp_path / DATABASE).touch()
    with pytest.raises(StoreMismatch, match="older schema"):
        open_reader(tmp_path)


def test_a_reader_cannot_change_the_store(tmp_path: Path) -> None:
    reader = reader_of(_made(tmp_path))
    before = (tmp_path / DATABASE).read_bytes()
    reader.entries_after(0, 9)
    reader.close()
    reader.close()

    assert (tmp_path / DATABASE).read_bytes() == before


def test_a_file_that_is_no_database_says_so(tmp_path: Path) -> None:
    (tmp_path / DATABASE).write_bytes(b"barley" * 1000)
    for open_it in (writer_of, reader_of):
        with pytest.raises(StoreFault, match="damaged: keep a copy") as caught:
            open_it(tmp_path)
        assert isinstance(caught.value.__cause__, sqlite3.DatabaseError)


def test_a_damaged_file_says_so_and_nothing_else_escapes(tmp_path: Path) -> None:
    """Garbage over everything behind the first page: the call that meets it first says so in plain words."""
    writer = writer_of(tmp_path)
    add(writer, *[reading(k) for k in range(5000)])
    writer.close()
    path = tmp_path / DATABASE
    whole = path.read_bytes()
    path.write_bytes(whole[:4096] + b"\xa5" * (len(whole) - 4096))

    def read_all() -> None:
        open_reader(tmp_path).entries_after(0, 9999)

    with pytest.raises(StoreFault, match="damaged"):
        read_all()
    with pytest.raises(StoreFault, match="damaged"):
        writer_of(tmp_path)


def test_the_reserve_is_there_from_the_start_and_comes_back(tmp_path: Path) -> None:
    writer = writer_of(tmp_path)
    assert (tmp_path / RESERVE).stat().st_size == SMALL_RESERVE
    assert (tmp_path / RESERVE).stat().st_blocks * 512 >= SMALL_RESERVE, "room that is really taken"
    assert (writer.free_reserve(), writer.free_reserve()) == (True, False)
    assert not (tmp_path / RESERVE).exists()
    assert (writer.restore_reserve(), writer.restore_reserve()) == (True, True)
    assert (tmp_path / RESERVE).stat().st_size == SMALL_RESERVE
    writer.close()


def test_a_reserve_the_disk_has_no_room_for_is_not_taken(tmp_path: Path) -> None:
    writer = writer_of(tmp_path, reserve_bytes=2**60)
    assert writer.restore_reserve() is False
    assert not (tmp_path / RESERVE).exists()
    writer.close()


def test_sizes_are_those_of_the_files(tmp_path: Path) -> None:
    writer = writer_of(tmp_path)
    add(writer, *[reading(k) for k in range(500)])
    reader = reader_of(tmp_path)
    sizes = reader.sizes()
    assert sizes.database == (tmp_path / DATABASE).stat().st_size
    assert sizes.log == (tmp_path / f"{DATABASE}-wal").stat().st_size > 0
    assert sizes.reserve == SMALL_RESERVE
    assert sizes.free > 0
    writer.checkpoint()
    assert reader.sizes().database > sizes.database, "the log was folded into the database"
    reader.close()
    writer.close()
    assert (tmp_path / LOCK).exists()
