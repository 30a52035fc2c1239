"""The story of a full disk, told on a small file system: `python -m tests.contracts.store_full_disk DIR`."""

import os
import shutil
import subprocess
import sys
from contextlib import suppress
from pathlib import Path

from gateway.edges.sqlite import Writer
from gateway.errors import StoreFull
from tests.contracts.store import alarm, due, notice, reader_of, reading, save, writer_of

RESERVE = 512 * 1024
PER_COMMIT = 20


def _somebody_fills(disk: Path) -> None:
    with (disk / "filler").open("ab", buffering=0) as file:
        for size in (65536, 4096, 1):
            with suppress(OSError):
                while True:
                    file.write(b"\xff" * size)
    assert shutil.disk_usage(disk).free == 0


def _commit(writer: Writer) -> None:
    """Add the next readings."""
    n = writer.last_stamp()[0]
    with writer.atomic():
        writer.add_readings(n + 1, n + 1, [reading(n + i) for i in range(PER_COMMIT)])


def _full(writer: Writer) -> int:
    """Commit until it is full; returns the newest number committed."""
    while True:
        try:
            _commit(writer)
        except StoreFull:
            return writer.last_stamp()[0]


def fill(disk: Path) -> None:
    """Fill the disk while the gateway runs, give the reserve up, call out."""
    writer = writer_of(disk / "store", RESERVE)
    _commit(writer)
    _somebody_fills(disk)
    n = _full(writer)
    assert _full(writer) == n, "full stays full"
    assert writer.free_reserve()
    save(writer, alarm((1, 0)), notice((1, 1), 1))
    assert not writer.restore_reserve(), "there is no room for it yet"
    assert due(disk / "store") == [1]


def make_room(disk: Path) -> None:
    """There is room again: the reserve comes back of itself, readings are taken."""
    (disk / "filler").unlink()
    writer = writer_of(disk / "store", RESERVE)
    assert (disk / "store" / "reserve").stat().st_size == RESERVE
    _commit(writer)


def start_full(disk: Path) -> None:
    """Fill the disk while the gateway is down; it starts, at the price of the reserve, and calls out."""
    (disk / "store" / "journal.db-shm").unlink()
    _somebody_fills(disk)
    writer = writer_of(disk / "store", RESERVE)
    assert not (disk / "store" / "reserve").exists(), "it could be opened without: nothing was tested"
    save(writer, notice((2, 0), 2, phone="ben-1"))
    assert due(disk / "store") == [1, 2]


def count(disk: Path) -> None:
    """Nothing that was committed is missing."""
    (disk / "filler").unlink()
    entries = reader_of(disk / "store").entries_after(0, 10**6)
    assert [entry.n for entry in entries] == list(range(1, len(entries) + 1))
    assert len(entries) % PER_COMMIT == 0
    sys.stdout.write(f"everything that was committed is there: {len(entries)}\n")


PHASES = (fill, make_room, start_full, count)


def main() -> None:
    """Each phase in a process of its own that ends as by a crash: nothing is closed."""
    disk = Path(sys.argv[1])
    for phase in PHASES:
        if sys.argv[2:] == [phase.__name__]:
            phase(disk)
            sys.stdout.flush()
            os._exit(0)
        if not sys.argv[2:]:
            subprocess.run(
                [sys.executable, "-m", "tests.contracts.store_full_disk", str(disk), phase.__name__],
                check=True,
            )


if __name__ == "__main__":
    main()
