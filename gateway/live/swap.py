"""A probe is swapped: its entry in the site file, the running gateway's site, a note to the next shift."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

from gateway import settings
from gateway.errors import GatewayError, NoAnswer, SettingsFault
from gateway.live import ask as live_ask
from gateway.live import store as live_store
from gateway.settings.read import MOST_BYTES, read_bounded
from gateway.settings.swap import Value, swapped


class Swap(NamedTuple):
    """Which probe, what its entry says from now on, who swapped it, and why."""

    probe: str
    changes: Mapping[str, Value]
    by: str | None
    why: str


def swap(site: Path, env: Mapping[str, str], store: Path, wanted: Swap) -> list[str]:
    """Do it; what to tell whoever asked.

    The file is written beside the old one, checked whole, and put in its place in one step; where the
    gateway that runs does not take it, the old one is put back. Raises SettingsFault where it cannot be
    (nothing has changed then), NoAnswer where the gateway did not answer (the file has).
    """
    if not store.is_dir():
        raise SettingsFault(f"--store {store}: there is no such directory")
    file = site.resolve()
    try:
        raw = read_bounded(file, MOST_BYTES)
        text, before = swapped(raw.decode(), wanted.probe, wanted.changes)
        _put(file, raw, text.encode(), env)
    except (OSError, ValueError) as fault:
        raise SettingsFault(f"{site}: {fault}") from fault
    said = [f"{site}: {_in_words(wanted, before)}"]
    if not live_store.runs(store):
        # Not committed by this command: it may be another user's, and the store must stay the gateway's own.
        said.append(
            "no gateway runs on this store: it reads the site file when it starts, and no note was left"
        )
        return said
    return [*said, *_reloaded(file, raw, text.encode(), store, env), _noted(store, wanted, before)]


def _noted(store: Path, wanted: Swap, before: Mapping[str, Any]) -> str:
    note = f"Probe {wanted.probe} was swapped: {_in_words(wanted, before)}. {wanted.why}"
    try:
        body = {"note": " ".join(note.split())[:1000], "by": wanted.by}
        return f"noted for the next shift as entry {live_store.record(store, 'hand-over', body)}"
    except GatewayError as fault:
        return f"warning: the note for the next shift could not be kept: {fault}"


def _in_words(wanted: Swap, before: Mapping[str, Any]) -> str:
    return ", ".join(
        f"{key} {value} (before: {before.get(key, 'none')})" for key, value in wanted.changes.items()
    )


def _reloaded(file: Path, raw: bytes, fresh: bytes, store: Path, env: Mapping[str, str]) -> list[str]:
    try:
        said = live_ask.ask(store, {"kind": "reload"})
    except NoAnswer as fault:
        raise NoAnswer(f"{file} is changed, and {fault}: ask again with reload") from fault
    except SettingsFault as fault:
        _put(file, fresh, raw, env)
        raise SettingsFault(f"the running gateway does not take it; {file} is as it was:\n{fault}") from fault
    if any(line.startswith("nothing has changed") for line in said):
        said.append(f"warning: the running gateway reads another site file than {file}")
    return said


def _put(file: Path, old: bytes, new: bytes, env: Mapping[str, str]) -> None:
    """Put a checked file in the place of one that still is what it was."""
    # In the same folder: what it names beside itself is found, and it can take the place in one step.
    fresh = file.with_name(f".{file.name}.new")
    fresh.unlink(missing_ok=True)
    there = file.stat()
    handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(new)
            out.flush()
            os.fchmod(out.fileno(), there.st_mode & 0o777)
            if (there.st_uid, there.st_gid) != (os.geteuid(), os.getegid()):
                os.fchown(out.fileno(), there.st_uid, there.st_gid)
            os.fsync(out.fileno())
        _check(file, fresh, env)
        if file.read_bytes() != old:
            raise SettingsFault(f"{file}: somebody else has just changed it; look at it and try again")
        fresh.replace(file)
    finally:
        fresh.unlink(missing_ok=True)
    folder = os.open(file.parent, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)


def _check(file: Path, fresh: Path, env: Mapping[str, str]) -> None:
    try:
        settings.load(fresh, env)
    except SettingsFault as fault:
        said = str(fault).replace(str(fresh), str(file)).replace(fresh.name, file.name)
        raise SettingsFault(f"{file} is as it was; with the change it could not be used:\n{said}") from fault
