"""The store's directory: the writer's place in it, and the reserve that is given up when the disk is full."""

from __future__ import annotations

import fcntl
import os
import shutil
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

from gateway.errors import StoreFault, StoreHeld

DATABASE = "journal.db"
LOCK = "writer.lock"
RESERVE = "reserve"
RESERVE_BYTES = 4 * 1024 * 1024


class Lock(NamedTuple):
    """The open lock file; the place is held until it is closed or the process ends, however it ends."""

    descriptor: int

    def release(self) -> None:
        """Give the writer's place up."""
        os.close(self.descriptor)


def make_directory(directory: Path) -> None:
    """Make the store's directory, for its owner alone; one that is there stays as it is."""
    try:
        directory.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as fault:
        raise StoreFault(f"{directory}: the store's directory cannot be made ({fault})") from fault


def take_writers_place(directory: Path) -> Lock:
    """Hold the writer's place; raises StoreHeld, naming the process that has it, at once."""
    path = directory / LOCK
    try:
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    except OSError as fault:
        raise StoreFault(f"{path}: the writer's place cannot be taken ({fault})") from fault
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as fault:
        holder = os.pread(descriptor, 32, 0).decode("ascii", "replace").strip()
        os.close(descriptor)
        who = f"process {holder}" if holder else "another process"
        raise StoreHeld(f"{directory}: {who} already writes to this store") from fault
    with suppress(OSError):  # the number is a courtesy; on a full disk the place is held without it
        os.ftruncate(descriptor, 0)
        os.pwrite(descriptor, str(os.getpid()).encode("ascii"), 0)
    return Lock(descriptor)


class Reserve:
    """A file that does nothing but take up room, so that alarms can still be kept when the disk is full."""

    def __init__(self, directory: Path, size: int) -> None:
        self._path = directory / RESERVE
        self._size = size

    def free(self) -> bool:
        """Give the room up; whether there was any to give."""
        try:
            self._path.unlink()
        except OSError:
            return False
        return True

    def restore(self) -> bool:
        """Take the room again if as much stays free beside it; whether the reserve stands afterwards."""
        with suppress(OSError):
            if self._path.stat().st_size >= self._size:
                return True
        try:
            self._take()
        except OSError:
            self.free()
            return False
        return True

    def _take(self) -> None:
        if shutil.disk_usage(self._path.parent).free < 2 * self._size:
            raise OSError("too little room")
        descriptor = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        try:
            if self._size:  # blocks that are really taken: a file with a hole would keep nothing free
                os.posix_fallocate(descriptor, 0, self._size)
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
