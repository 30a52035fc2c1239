"""Whatever operation fails or is the last before a crash: before or after, never between, and it goes on."""

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from gateway.edges.sqlite import Writer, open_writer
from gateway.edges.sqlite.place import DATABASE
from gateway.errors import StoreFault
from tests.crash.store_story import LOG, STORY, after_crash, all_of, image, states

Hook = Callable[[str], None]


class Hooked(sqlite3.Connection):
    """A connection that tells each statement before it is run; what the hook raises, the statement raises."""

    hook: Hook = staticmethod(lambda _: None)

    def execute(self, sql: str, *args: Any) -> sqlite3.Cursor:
        Hooked.hook(sql)
        return super().execute(sql, *args)

    def executemany(self, sql: str, *args: Any) -> sqlite3.Cursor:
        Hooked.hook(sql)
        return super().executemany(sql, *args)


@contextmanager
def _hooked(hook: Hook) -> Iterator[None]:
    Hooked.hook = staticmethod(hook)
    try:
        yield
    finally:
        Hooked.hook = staticmethod(lambda _: None)


class Failing:
    """The hook of a disk that fails from the n-th operation on, `times` times."""

    def __init__(self, n: int, times: int) -> None:
        self.left, self.times = n, times

    def __call__(self, sql: str) -> None:
        if self.left > 0:
            self.left -= 1
        elif self.times > 0:
            self.times -= 1
            raise sqlite3.OperationalError(f"disk I/O error at {sql}")


def _open(directory: Path) -> Writer:
    return open_writer(directory, site_id="quern-hill", clock_kind="wall", reserve_bytes=0, connection=Hooked)


def _operations(directory: Path) -> int:
    """How many operations the whole story takes, opening left out."""
    seen: list[str] = []
    writer = _open(directory)
    with _hooked(seen.append):
        for step in STORY:
            with writer.atomic():
                step(writer)
    writer.close()
    return len(seen)


def _insist(writer: Writer, step: Callable[[Writer], None], directory: Path) -> list[dict[str, Any]]:
    """Run a step until it is committed; returns what the store told each time that it was not."""
    told = []
    while True:
        try:
            with writer.atomic():
                step(writer)
        except StoreFault:
            told.append(all_of(directory))
            assert len(told) < 9, "it never recovers"
        else:
            return told


@pytest.mark.parametrize("times", [1, 2])
def test_a_failed_operation_undoes_its_transaction_and_the_next_try_goes_through(
    tmp_path: Path, times: int
) -> None:
    """For every N the N-th operation fails, then also the one after it, which is mostly the rollback."""
    told = states(tmp_path / "whole")
    operations = _operations(tmp_path / "counted")
    assert operations > 60
    for n in range(operations):
        directory = tmp_path / str(n)
        writer = _open(directory)
        failures = 0
        with _hooked(Failing(n, times)):
            for k, step in enumerate(STORY):
                undone = _insist(writer, step, directory)
                assert all(state == told[k] for state in undone)
                assert all_of(directory) == told[k + 1]
                failures += len(undone)
        writer.close()
        assert failures in range(1, times + 1)


def _tell_until_it_fails(writer: Writer) -> int:
    committed = 0
    try:
        for step in STORY:
            with writer.atomic():
                step(writer)
            committed += 1
    except StoreFault:
        return committed
    raise AssertionError("nothing failed")


def test_a_disk_that_fails_for_good_leaves_whole_transactions(tmp_path: Path) -> None:
    """Even the rollback fails; the process ends; what is there when it starts again is a whole state."""
    told = states(tmp_path / "whole")
    for n in range(_operations(tmp_path / "counted")):
        directory = tmp_path / str(n)
        writer = _open(directory)
        with _hooked(Failing(n, 10**9)):
            committed = _tell_until_it_fails(writer)
        assert after_crash(image(directory, tmp_path / f"{n}-after")) == told[committed]
        writer.close()


def test_a_crash_at_any_operation_leaves_whole_transactions(tmp_path: Path) -> None:
    """The files as they lie there before every single operation, opened as after a crash."""
    told = states(tmp_path / "whole")
    writer = _open(tmp_path / "lives")
    images: list[tuple[int, Path]] = []
    committed = 0

    def keep(_: str) -> None:
        images.append((committed, image(tmp_path / "lives", tmp_path / f"crash-{len(images)}")))

    with _hooked(keep):
        for step in STORY:
            with writer.atomic():
                step(writer)
            committed += 1
    writer.close()
    assert len(images) > 60
    for known, directory in images:
        assert after_crash(directory) == told[known]


def test_a_log_torn_anywhere_leaves_whole_transactions(tmp_path: Path) -> None:
    """Power lost: of the log only a part is on the disk, or behind that part lies what was there before."""
    told = states(tmp_path / "whole")
    writer = _open(tmp_path / "lives")
    for step in STORY:
        with writer.atomic():
            step(writer)
    log = (tmp_path / "lives" / LOG).read_bytes()
    base = (tmp_path / "lives" / DATABASE).read_bytes()
    writer.close()
    reached: set[int] = set()
    # A frame is a page and 24 bytes, behind a head of 32 (https://sqlite.org/fileformat.html, 4.1).
    cuts = [*range(0, len(log) + 1, 1009), *range(32, len(log) + 1, 4096 + 24), len(log)]
    for number, cut in enumerate(sorted(set(cuts))):
        for fill in {b"", b"\xa5" * (len(log) - cut)}:
            directory = tmp_path / f"torn-{number}-{len(fill)}"
            directory.mkdir()
            (directory / DATABASE).write_bytes(base)
            (directory / LOG).write_bytes(log[:cut] + fill)
            reached.add(told.index(after_crash(directory)))
    assert reached == set(range(len(told))), "every state must have been met"
