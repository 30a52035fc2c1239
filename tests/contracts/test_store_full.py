"""A full disk: a fault of its own, nothing half kept, and room held back for alarms and notices."""

import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from gateway.edges.sqlite import Writer, open_writer
from gateway.edges.sqlite.faults import store_fault
from gateway.errors import StoreFault, StoreFull
from tests.contracts.store import alarm, due, notice, reading, save

ROOT = Path(__file__).resolve().parents[2]


class Bounded(sqlite3.Connection):
    """A connection that can be told how many pages the file may have: SQLite itself then says it is full."""

    last: "Bounded"

    def __init__(self, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        Bounded.last = self

    def pages_more(self, more: int) -> None:
        now = self.execute("PRAGMA page_count").fetchone()[0]
        self.execute(f"PRAGMA max_page_count = {now + more}")


def _open(directory: Path) -> Writer:
    return open_writer(directory, site_id="q", clock_kind="wall", reserve_bytes=65536, connection=Bounded)


def _fill(writer: Writer) -> int:
    """Commit until the disk is full; returns how many readings were committed."""
    for k in range(1000):
        try:
            with writer.atomic():
                writer.add_readings(k + 1, k + 1, [reading(100 * k + i) for i in range(100)])
        except StoreFull:
            return 100 * k
    raise AssertionError("it never filled")


def test_a_full_disk_is_a_fault_of_its_own_and_leaves_whole_commits(tmp_path: Path) -> None:
    writer = _open(tmp_path)
    Bounded.last.pages_more(20)
    kept = _fill(writer)

    assert kept > 0
    assert len(writer.entries_after(0, 10**6)) == kept == writer.last_stamp()[0]
    with pytest.raises(StoreFull, match="the disk is full") as caught:
        save(writer, *[notice((1, i), i) for i in range(500)])
    assert isinstance(caught.value.__cause__, sqlite3.OperationalError)
    assert due(tmp_path) == []

    Bounded.last.pages_more(50)
    save(writer, alarm((1, 0)), notice((1, 1), 1))
    assert due(tmp_path) == [1]
    with writer.atomic():
        assert writer.add_readings(9999, 9999, [reading(100 * 999)]).entries[0].n == kept + 1
    writer.close()


@pytest.mark.parametrize(
    ("code", "kind"),
    [
        (sqlite3.SQLITE_FULL, StoreFull),
        (sqlite3.SQLITE_IOERR_SHMSIZE, StoreFull),
        (sqlite3.SQLITE_IOERR_FSYNC, StoreFault),
        (sqlite3.SQLITE_BUSY_SNAPSHOT, StoreFault),
        (sqlite3.SQLITE_CORRUPT_INDEX, StoreFault),
        (sqlite3.SQLITE_READONLY_DIRECTORY, StoreFault),
        (sqlite3.SQLITE_CONSTRAINT_UNIQUE, StoreFault),
        (None, StoreFault),
    ],
)
def test_every_complaint_has_words_and_keeps_the_librarys(code: int | None, kind: type[StoreFault]) -> None:
    fault = sqlite3.OperationalError("as the library put it")
    if code is not None:
        fault.sqlite_errorcode, fault.sqlite_errorname = code, "SQLITE_NAME"
    told = store_fault(fault)

    assert type(told) is kind
    assert "as the library put it" in str(told)
    assert "store" in str(told)


def _own_disk() -> str | None:
    """Why this machine cannot give the test a small disk of its own; None if it can."""
    if sys.platform != "linux" or not shutil.which("unshare"):
        return "needs unshare (Linux)"
    tried = subprocess.run(
        ["unshare", "-rm", "sh", "-c", "mount -t tmpfs none /mnt"], capture_output=True, check=False
    )
    return None if tried.returncode == 0 else "this machine lets nobody mount a disk of their own"


def test_on_a_disk_that_is_really_full_alarms_still_commit(tmp_path: Path) -> None:
    """A file system of 4 MB, filled by somebody else to the last byte; the story is in `store_full_disk`."""
    reason = _own_disk()
    if reason:
        pytest.skip(reason)
    story = 'mount -t tmpfs -o size=4m none "$1" && exec "$2" -m tests.contracts.store_full_disk "$1"'
    told = subprocess.run(
        ["unshare", "-rm", "sh", "-c", story, "sh", str(tmp_path), sys.executable],
        cwd=ROOT, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert (told.stderr, told.returncode) == ("", 0)
    assert told.stdout.splitlines()[-1].startswith("everything that was committed is there: ")
