"""Back-up, restore, verify: by the daemon on a connection of its own, or by this process without one."""

from __future__ import annotations

import fcntl
import hashlib
import json
import logging
import os
import re
import secrets
import threading
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any, NamedTuple

from gateway.core.inputs import Restored
from gateway.core.moment import rfc3339
from gateway.edges import control
from gateway.edges.clock import real_wall_ms
from gateway.edges.sqlite import copying
from gateway.edges.sqlite.copying import Contents, Look
from gateway.edges.sqlite.place import DATABASE
from gateway.errors import GatewayError, NoAnswer, SettingsFault, StoreFault, StoreHeld
from gateway.live.store import COPIED

log = logging.getLogger(__name__)

#: A large store on a slow card may take this long to be copied and checked.
WITHIN_S = 3600.0
LOCK, PARTS = "back-up.lock", "back-up-*.part"
#: A part that nobody came for is from a process that was killed.
LEFT_S = 7200.0
#: A restored store numbers its alarms and turns 100 further, and 10 for each hour begun since the copy was
#: made, its notices 1,000, and 10 for each minute: more than a bad night gives, no more than a message has
#: room for. As after 30 days where it is not known since when.
A_START, A_WHILE, UNKNOWN_MS = 100, 10, 30 * 86_400_000
#: After each megabyte, so that commits get at the disk.
BREATH_S = 0.01


class Done(NamedTuple):
    """A finished back-up: the file, what is in it, and which older ones had to go."""

    file: Path
    contents: Contents
    removed: list[Path]


class Backups:
    """The daemon's side: makes one copy at a time in the store's directory, in the thread of the caller."""

    def __init__(self, store: Path) -> None:
        self._store = store
        self._stopping = threading.Event()

    def asked(self, _request: dict[str, Any]) -> dict[str, Any]:
        """Answer one request: {"file", "contents"} or {"fault"}. Any thread may call it."""
        try:
            part, held = _make(self._store, self._breathe)
        except GatewayError as fault:
            log.error("back-up: %s", fault)
            return {"fault": str(fault)}
        log.info("back-up made: %d entries up to %s", held.newest, rfc3339(held.last_at_ms))
        return {"file": str(part), "contents": held._asdict()}

    def stop(self) -> None:
        """End a copy that is under way."""
        self._stopping.set()

    def _breathe(self) -> None:
        if self._stopping.wait(BREATH_S):
            raise NoAnswer("the gateway is stopping")


def _make(store: Path, breathe: Callable[[], None]) -> tuple[Path, Contents]:
    """A copy under a name of its own. Only one is made at a time, by whichever process."""
    handle = os.open(store / LOCK, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        for left in store.glob(PARTS):
            if real_wall_ms() / 1000 - left.stat().st_mtime > LEFT_S:
                left.unlink(missing_ok=True)
        part = store / PARTS.replace("*", secrets.token_hex(4))
        return part, copying.make(store, part, breathe)
    except BlockingIOError as fault:
        raise NoAnswer("another back-up is being made") from fault
    except OSError as fault:
        raise StoreFault(f"{store}: the copy cannot be made ({fault})") from fault
    finally:
        os.close(handle)


def backup(store: Path, target: Path, keep: int | None = None) -> Done:
    """Copy the store to a file that is not there yet, or under a name of its own into a directory.

    With `keep`, and a directory, only so many of this site's copies stay there, the newest. Raises
    SettingsFault for a target that cannot be, StoreFault where the copy cannot be made, NoAnswer.
    """
    if not (store / DATABASE).is_file():
        raise SettingsFault(f"--store {store}: there is no store here")
    if keep is not None and (keep < 1 or not target.is_dir()):
        raise SettingsFault(f"--keep {keep}: expected at least 1 and a directory, not {target}")
    if target.exists() and not target.is_dir():
        raise SettingsFault(f"{target}: there is a file already; name another one, or a directory")
    part, held = _made(store)
    now = re.sub(r"[-:]|\.\d+", "", rfc3339(real_wall_ms()))
    file = target / f"{held.site}-{now}.db" if target.is_dir() else target
    try:
        _move(part, file)
    finally:
        part.unlink(missing_ok=True)
    digest = _beside(file)
    digest.write_text(f"{_digest(file)}  {file.name}\n")
    _note(store, file, held)
    removed = _let_go(file.parent, held.site, keep) if keep is not None else []
    return Done(file, held, removed)


def _made(store: Path) -> tuple[Path, Contents]:
    try:
        reply = control.ask(store, {"kind": "backup"}, WITHIN_S)
    except TimeoutError as fault:
        raise NoAnswer(f"the gateway did not answer within {WITHIN_S:g} s") from fault
    except OSError:
        return _make(store, lambda: None)
    if "file" not in reply:
        raise StoreFault(str(reply.get("fault", "the gateway gave no reason")))
    return Path(reply["file"]), Contents(**reply["contents"])


def _move(part: Path, file: Path) -> None:
    try:
        try:
            os.link(part, file)
        except OSError:
            if file.exists():
                raise
            copying.write_through(part, file)  # another file system
        handle = os.open(file.parent, os.O_RDONLY | os.O_CLOEXEC)
        os.fsync(handle)
        os.close(handle)
    except OSError as fault:
        raise SettingsFault(f"{file}: cannot be written ({fault.strerror or fault})") from fault


def _note(store: Path, file: Path, held: Contents) -> None:
    """For `health`; not having it written is no reason to call the back-up failed."""
    with suppress(OSError):
        fresh = store / f"{COPIED}.new"
        fresh.write_text(json.dumps({"made_ms": real_wall_ms(), "file": str(file), "newest": held.newest}))
        fresh.replace(store / COPIED)


def _let_go(folder: Path, site: str, keep: int) -> list[Path]:
    ours = re.compile(re.escape(site) + r"-\d{8}T\d{6}Z\.db\Z")
    files = sorted(path for path in folder.iterdir() if ours.match(path.name))
    removed = files[:-keep]
    for path in removed:
        path.unlink()
        _beside(path).unlink(missing_ok=True)
    return removed


def _beside(file: Path) -> Path:
    """Where the copy's SHA-256 stands, as sha256sum writes it: the database itself has no such check."""
    return file.with_name(f"{file.name}.sha256")


def _digest(file: Path) -> str:
    with file.open("rb") as data:
        return hashlib.file_digest(data, "sha256").hexdigest()


def _look(file: Path) -> Look:
    found = copying.look(file)
    with suppress(OSError):
        if _beside(file).read_text().split()[:1] != [_digest(file)]:
            found.faults.insert(0, f"{file}: not the bytes that were written (see {_beside(file).name})")
    return found


def restore(file: Path, store: Path) -> Look:
    """Put a copy in the place of a store that is not there; what was found in it, before and after.

    Raises SettingsFault where there is a store already, StoreFault where the copy is not whole.
    """
    if any(store.glob(f"{DATABASE}*")):
        raise SettingsFault(f"--store {store}: there is a store here already; move it away, or name another")
    found = _look(file)
    if found.faults:
        return found
    try:
        copying.place(file, store, _moved(found.contents, real_wall_ms()))
    except StoreHeld as fault:
        raise SettingsFault(str(fault)) from fault
    return copying.look(store / DATABASE)


def _moved(held: Contents | None, now_ms: int) -> Restored:
    """How far to move the numbers on: as many as can have been given since the copy's last entry.

    Where the store does not live by the world's clock, or this machine's is wrong, nobody knows since when.
    """
    since_ms = now_ms - held.last_at_ms if held and held.clock == "wall" else 0
    if since_ms <= 0:
        since_ms = UNKNOWN_MS
    hours, minutes = -(-since_ms // 3_600_000), -(-since_ms // 60_000)
    further = A_START + A_WHILE * hours
    return Restored(further, 10 * A_START + A_WHILE * minutes, further)


def verify(path: Path) -> Look:
    """What is in a store or a copy, and everything that is wrong with it."""
    return copying.look(path / DATABASE) if path.is_dir() else _look(path)
