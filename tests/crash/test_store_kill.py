"""kill -9 at random moments: all that was said to be committed is there once, and the file is sound."""

import random
import signal
import sqlite3
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from gateway.core.inputs import Condition
from gateway.core.reading import Reading
from gateway.edges.sqlite.place import DATABASE
from tests.contracts.store import reader_of, reading
from tests.crash.store_victim import PER_BATCH, PROBES

ROOT = Path(__file__).resolve().parents[2]
SEED = 20_241


def _live_and_die(directory: Path, begin: int, moment: random.Random) -> int:
    """Let a writer work for a while and kill it; returns the last batch it said it had committed."""
    command = [sys.executable, "-m", "tests.crash.store_victim", str(directory), str(begin)]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as victim:
        assert victim.stdout is not None
        said = [victim.stdout.readline().strip() for _ in range(moment.randrange(1, 40))]
        threading.Event().wait(moment.uniform(0, 0.02))
        victim.kill()
        said += victim.stdout.read().splitlines()
    assert all(line.isdigit() for line in said), "the writer ended by itself"
    assert victim.returncode == -signal.SIGKILL
    return int(said[-1])


def _check(directory: Path, said: int) -> int:
    """Everything up to `said` is there once, whole batches only; returns the last batch that is there."""
    reader = reader_of(directory)
    with reader.snapshot():
        entries = reader.entries_after(0, 10**6)
        batches = reader.counts()["batches"]
        cursor, state, _ = reader.load_judge()
        notices = [line.notice.number for line in reader.notices(10**6)]
    reader.close()
    assert batches > said, f"batch {said} was said to be committed"
    assert [entry.n for entry in entries] == list(range(1, batches * (PER_BATCH + 1) + 1))
    kept = [entry.what for entry in entries if isinstance(entry.what, Reading)]
    assert kept == [
        reading(k * PER_BATCH + i, k / 8, f"bed-{i % PROBES}/mid")
        for k in range(batches)
        for i in range(PER_BATCH)
    ]
    events = [entry.what.detail for entry in entries if isinstance(entry.what, Condition)]
    assert events == [str(k) for k in range(batches)]
    assert notices == list(range(batches))[::-1]
    assert (cursor.n, state) == (entries[-1].n, b"state %d" % (batches - 1))
    db = sqlite3.connect(f"file:{directory / DATABASE}?mode=ro", uri=True)
    assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    db.close()
    return batches - 1


def _kill(directory: Path, times: int) -> int:
    moment = random.Random(SEED)
    last = 0
    for _ in range(times):
        said = _live_and_die(directory, last, moment)
        last = _check(directory, max(said, last))
    return last


def test_a_few_kills_lose_nothing_and_double_nothing(tmp_path: Path) -> None:
    assert _kill(tmp_path, 4) > 4


@pytest.mark.long
def test_thirty_kills_lose_nothing_and_double_nothing(tmp_path: Path) -> None:
    assert _kill(tmp_path, 30) > 30
