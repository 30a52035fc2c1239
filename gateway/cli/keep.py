"""The commands that look after the gateway itself: each gives an exit code and what to print."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from gateway.core.moment import rfc3339
from gateway.errors import SettingsFault
from gateway.live import ask as live_ask
from gateway.live import backup as live_backup
from gateway.live import credentials as live_credentials

Find = Callable[[], Path]
Said = tuple[int, list[str]]


def credentials(asked: argparse.Namespace, environ: Mapping[str, str], site: Find, store: Find) -> Said:
    """Make what is missing of the broker's accounts."""
    said = live_credentials.make(
        site(), environ, Path(asked.folder), asked.name or (), certificates=asked.certificates
    )
    return 0, said or [f"{asked.folder}: everything is there already"]


def backup(asked: argparse.Namespace, environ: Mapping[str, str], site: Find, store: Find) -> Said:
    """Copy the store."""
    done = live_backup.backup(store(), Path(asked.file), asked.keep)
    return 0, [f"{done.file}: {_in_words(done.contents)}", *(f"removed {path}" for path in done.removed)]


def restore(asked: argparse.Namespace, environ: Mapping[str, str], site: Find, store: Find) -> Said:
    """Put a copy in the store's place."""
    where = store()
    found = live_backup.restore(Path(asked.file), where)
    if found.faults or found.contents is None:
        raise SettingsFault("nothing was put back:\n" + "\n".join(found.faults))
    until = rfc3339(found.contents.last_at_ms)
    later = f"It stands as it did then. What came after {until} is not in it: record what was done on the"
    return 0, [
        f"{where}: {_in_words(found.contents)}",
        f"{later} floor since, and look at `alarms` and `beds` once it runs.",
    ]


def verify(asked: argparse.Namespace, environ: Mapping[str, str], site: Find, store: Find) -> Said:
    """Look at a store or a copy; 1 where something is wrong."""
    path = Path(asked.file) if asked.file else store()
    found = live_backup.verify(path)
    bad = int(bool(found.faults))
    if asked.json:
        return bad, [json.dumps(_document(path, found))]
    said = f"{path}: {_in_words(found.contents)}" if found.contents else f"{path}: nothing can be read"
    return bad, [said, *found.faults, "not whole" if bad else "whole"]


def reload(asked: argparse.Namespace, environ: Mapping[str, str], site: Find, store: Find) -> Said:
    """Have the running gateway read its site file again."""
    return 0, live_ask.ask(store(), {"kind": "reload"}, "it reads the site file when it starts")


def swap(asked: argparse.Namespace, environ: Mapping[str, str], site: Find, store: Find) -> Said:
    """Another instrument in a probe's place."""
    from gateway.live import swap as live_swap

    given = {
        "topic": asked.topic, "value": asked.value, "offset": asked.offset, "gain": asked.gain,
        "calibrated": asked.calibrated, "bump_tested": asked.bump_tested,
    }  # fmt: skip
    changes = {key: value for key, value in given.items() if value is not None}
    wanted = live_swap.Swap(asked.probe, changes, asked.by, asked.why)
    return 0, live_swap.swap(site(), environ, store(), wanted)


def account(asked: argparse.Namespace, environ: Mapping[str, str], site: Find, store: Find) -> Said:
    """Ask the running gateway about accounts, or for a link."""
    body = {"what": asked.what, "name": asked.name, "role": asked.role, "person": asked.person}
    return 0, live_ask.ask(store(), {"kind": "account", **body})


def token(asked: argparse.Namespace, environ: Mapping[str, str], site: Find, store: Find) -> Said:
    """Ask the running gateway about tokens."""
    body = {"what": asked.what, "name": asked.name, "role": asked.role}
    return 0, live_ask.ask(store(), {"kind": "token", **body})


def _document(path: Path, found: Any) -> dict[str, Any]:
    held = found.contents
    until = rfc3339(held.last_at_ms) if held else None
    row = {
        "file": str(path),
        "whole": not found.faults,
        "faults": found.faults,
        "site": held.site if held else None,
        "clock": held.clock if held else None,
        "store_schema": held.schema if held else None,
        "newest": held.newest if held else None,
        "first_at": rfc3339(held.first_at_ms) if held else None,
        "last_at": until,
        "counts": held.rows if held else None,
    }
    return {"schema": 1, "at": until, "rows": [row]}


def _in_words(held: Any) -> str:
    rows = held.rows
    return (
        f"site {held.site}, {held.newest:,} entries from {rfc3339(held.first_at_ms)} to "
        f"{rfc3339(held.last_at_ms)}: {rows['reading']:,} readings, {rows['event']:,} events, "
        f"{rows['alarm']:,} alarms, {rows['notice']:,} messages, {rows['turn']:,} turns"
    )


COMMANDS = {
    "credentials": credentials,
    "backup": backup,
    "restore": restore,
    "verify": verify,
    "reload": reload,
    "swap": swap,
    "account": account,
    "token": token,
}
