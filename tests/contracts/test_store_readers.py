"""Readers beside the writer: whole commits only, one moment per snapshot, and nobody waits for anybody."""

import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from gateway.edges.sqlite import Writer
from tests.contracts.store import BEGAN_MS, add, reader_of, reading, writer_of

BATCHES, PER_BATCH = 120, 10


@pytest.fixture
def writer(tmp_path: Path) -> Iterator[Writer]:
    made = writer_of(tmp_path)
    yield made
    made.close()


def _commit(writer: Writer, k: int) -> None:
    with writer.atomic():
        batch = [reading(k * PER_BATCH + i) for i in range(PER_BATCH)]
        kept = len(writer.add_readings(BEGAN_MS + k, BEGAN_MS + k, batch).entries)
        writer.note_counts(kept=kept)


def _watch(directory: Path, done: threading.Event) -> int:
    """Look again and again; returns how many different moments were seen."""
    reader = reader_of(directory)
    seen: set[int] = set()
    while not done.is_set() or BATCHES * PER_BATCH not in seen:
        with reader.snapshot():
            entries = reader.entries_after(0, 10**6)
            kept = reader.counts().get("kept", 0)
            n = reader.last_stamp()[0]
        assert [entry.n for entry in entries] == list(range(1, kept + 1))
        assert (n, n % PER_BATCH) == (kept, 0), "half a commit was seen"
        seen.add(kept)
    reader.close()
    return len(seen)


def test_two_readers_see_only_whole_commits_while_the_writer_writes(writer: Writer, tmp_path: Path) -> None:
    done = threading.Event()
    with ThreadPoolExecutor(2) as pool:
        watches = [pool.submit(_watch, tmp_path, done) for _ in range(2)]
        try:
            for k in range(BATCHES):
                _commit(writer, k)
                if k % 20 == 19:
                    writer.checkpoint()
        finally:
            done.set()
        assert min(watch.result(60) for watch in watches) >= 2, "the readers were not there meanwhile"


def test_a_long_reader_stops_nobody_and_keeps_its_moment(writer: Writer, tmp_path: Path) -> None:
    add(writer, reading(0))
    reader, other = reader_of(tmp_path), reader_of(tmp_path)
    with reader.snapshot():
        assert len(reader.entries_after(0, 10**6)) == 1
        for k in range(1, BATCHES):
            _commit(writer, k)
            writer.checkpoint()
        assert len(reader.entries_after(0, 10**6)) == 1
        assert len(other.entries_after(0, 10**6)) == 1 + (BATCHES - 1) * PER_BATCH
    assert len(reader.entries_after(0, 10**6)) == 1 + (BATCHES - 1) * PER_BATCH
    reader.close()
    other.close()


def test_the_log_is_folded_once_no_reader_holds_it(writer: Writer, tmp_path: Path) -> None:
    """While a reader stays, the log grows; when it has gone, the same room is used again."""
    reader = reader_of(tmp_path)
    with reader.snapshot():
        reader.counts()
        for k in range(BATCHES):
            _commit(writer, k)
            writer.checkpoint()
    grown = reader.sizes().log
    _commit(writer, BATCHES)
    writer.checkpoint()
    held = reader.sizes().log
    assert held < grown * 1.1
    for k in range(BATCHES + 1, 3 * BATCHES):
        _commit(writer, k)
        writer.checkpoint()
    assert reader.sizes().log == held
    reader.close()


def test_one_reader_serves_several_threads_in_turn(writer: Writer, tmp_path: Path) -> None:
    add(writer, *[reading(k) for k in range(50)])
    reader = reader_of(tmp_path)
    with ThreadPoolExecutor(4) as pool:
        counts = list(pool.map(lambda _: len(reader.entries_after(0, 99)), range(40)))
    assert counts == [50] * 40
    reader.close()


def test_a_reader_opened_after_a_crash_sees_what_was_committed(tmp_path: Path) -> None:
    """The log lies there, no writer lives: a reader reads through it and leaves it for the writer."""
    writer = writer_of(tmp_path / "lives")
    add(writer, *[reading(k) for k in range(50)])
    (tmp_path / "crashed").mkdir()
    for name in ("journal.db", "journal.db-wal"):
        (tmp_path / "crashed" / name).write_bytes((tmp_path / "lives" / name).read_bytes())
    log = (tmp_path / "crashed" / "journal.db-wal").read_bytes()

    reader = reader_of(tmp_path / "crashed")
    assert len(reader.entries_after(0, 99)) == 50
    reader.close()
    assert (tmp_path / "crashed" / "journal.db-wal").read_bytes() == log
    writer.close()
