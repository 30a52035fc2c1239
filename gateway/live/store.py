"""What the command line does with a store: read it, and hand in what somebody records, daemon or not."""

from __future__ import annotations

import json
import threading
from contextlib import suppress
from pathlib import Path
from typing import Any

from gateway.core import asked, engine
from gateway.core.engine import State
from gateway.core.inputs import Event, NotedAt, event_from_plain, event_to_plain
from gateway.core.inputs_journey import Corrected
from gateway.core.site import Site
from gateway.edges import control
from gateway.edges.clock import WallClock, real_mono_ms, real_wall_ms
from gateway.edges.sqlite import open_reader, open_writer
from gateway.errors import NoAnswer, SettingsFault, StoreFault, StoreHeld
from gateway.pipeline_judge import CANNOT_BEGIN_AGAIN
from gateway.ports import READINGS_GONE, Journal, Reader

FACTS = "health.json"
#: What is known of the newest back-up.
COPIED = "back-up.json"
WITHIN_S = 5.0
_TOGETHER = 5000
_LOOK_AGAIN_S = 0.1
_NOTED_FOR_MS = 60_000


def reader_of(store: Path) -> Reader:
    """The store's reading side; raises SettingsFault where there is no store."""
    if not store.is_dir():
        raise SettingsFault(f"--store {store}: there is no such directory")
    try:
        return open_reader(store)
    except StoreFault as fault:
        if "there is no store" in str(fault):
            raise SettingsFault(f"--store {fault}") from fault
        raise


def state_of(reader: Reader) -> State:
    """The judge's state as of the newest entry and the judge's place; raises NoAnswer for an empty store.

    What follows from it is left alone: only the daemon keeps effects.
    """
    with reader.snapshot():
        cursor, snapshot, at = reader.load_judge()
        gone = int(reader.get_meta(READINGS_GONE) or 0)
    state, n = _restored(snapshot, at.n)
    if gone and not n:
        raise NoAnswer(CANNOT_BEGIN_AGAIN)
    while entries := reader.entries_after(n, _TOGETHER):
        engine.advance(state, entries, entries[-1].run_ms)
        n = entries[-1].n
    if not state.site.id:
        raise NoAnswer("nothing has happened in this store yet: start the gateway once")
    engine.advance(state, [], cursor.run_ms)
    return state


def _restored(snapshot: bytes | None, n: int) -> tuple[State, int]:
    if snapshot is not None:
        # A snapshot of another version: begin again with the journal, as the daemon will.
        with suppress(ValueError):
            return engine.load(snapshot), n
    return engine.new(), 0


class _AlarmNumbers:
    """Every number an alarm has had. A restored store goes on far above the last: they are no range."""

    def __init__(self, reader: Reader) -> None:
        self._reader = reader

    def __contains__(self, number: object) -> bool:
        return isinstance(number, int) and self._reader.has_alarm(number)


def runs(store: Path) -> bool:
    """Whether a gateway watches this store now."""
    return control.answers(store)


def daemon_facts(store: Path) -> tuple[dict[str, Any] | None, float | None]:
    """What the daemon last said of itself, and how many real seconds ago; (None, None) where it never did.

    `state` is "gone" where it said that it runs and nobody answers.
    """
    facts, age_s = _told(store / FACTS, "written_ms")
    if facts and facts.get("state") == "running" and not control.answers(store):
        facts["state"] = "gone"
    return facts, age_s


def last_backup(store: Path) -> tuple[dict[str, Any] | None, float | None]:
    """What the newest back-up said of itself, and its age in real seconds; (None, None) without one."""
    return _told(store / COPIED, "made_ms")


def _told(file: Path, key: str) -> tuple[dict[str, Any] | None, float | None]:
    try:
        facts = json.loads(file.read_text(encoding="utf-8"))
        return facts, max(0.0, (real_wall_ms() - int(facts[key])) / 1000)
    except (OSError, ValueError, TypeError, KeyError):
        return None, None


def record(store: Path, kind: str, body: dict[str, Any], within_s: float = WITHIN_S) -> int:
    """Have an event committed; its journal number. By the daemon, or by this process where none runs.

    Raises SettingsFault for what cannot be, NoAnswer where neither could be had in time.
    """
    if not store.is_dir():
        raise SettingsFault(f"--store {store}: there is no such directory")
    until_ms = real_mono_ms() + round(within_s * 1000)
    pause = threading.Event()
    while True:
        left_s = max(0.1, (until_ms - real_mono_ms()) / 1000)
        try:
            return _answer(control.ask(store, {"kind": kind, **body}, left_s))
        except TimeoutError as fault:
            said = f"the gateway did not answer within {within_s:g} s; look whether it was kept"
            raise NoAnswer(said) from fault
        except OSError:
            held = _try_alone(store, kind, body)
        if isinstance(held, int):
            return held
        if real_mono_ms() >= until_ms:
            raise NoAnswer(f"{held}, and did not answer within {within_s:g} s")
        pause.wait(_LOOK_AGAIN_S)


def _answer(reply: dict[str, Any]) -> int:
    number = reply.get("journal")
    if isinstance(number, int):
        return number
    if reply.get("again"):
        raise NoAnswer(str(reply.get("fault")))
    raise SettingsFault(str(reply.get("fault", "the gateway gave no reason")))


def _try_alone(store: Path, kind: str, body: dict[str, Any]) -> int | StoreHeld:
    """Commit as the writer, where nobody else is; the number, or who holds the place."""
    reader = reader_of(store)
    try:
        state = state_of(reader)
        site = state.site
        clock_kind = reader.get_meta("clock") or "wall"
        _, at_ms, _ = reader.last_stamp()
        wall = WallClock().wall_ms() if clock_kind == "wall" else at_ms
        event = checked(kind, body, wall, reader, site)
        if clock_kind == "wall":
            event = _dated(event, wall)
        writer = open_writer(store, site_id=reader.get_meta("site") or site.id, clock_kind=clock_kind)
    except StoreHeld as held:
        return held
    finally:
        reader.close()
    try:
        return _commit(writer, event, wall, state.noted_ms)
    finally:
        writer.close()


def checked(kind: str, body: dict[str, Any], now_ms: int, reader: Reader, site: Site) -> Event:
    """The event asked for; raises SettingsFault in plain words where this site cannot have it."""
    try:
        event = asked.read(kind, asked.by_id(body, site), now_ms, site.time_zone)
    except ValueError as fault:
        raise SettingsFault(str(fault)) from fault
    fault_text = asked.cannot_be(event, site, _AlarmNumbers(reader))
    if fault_text:
        raise SettingsFault(fault_text)
    return event


def _dated(event: Event, wall_ms: int) -> Event:
    """The event with its real time: the journal's own stands still while the gateway is down.

    A correction says when the old entry really happened, where it says it: its own time is none of it.
    """
    if isinstance(event, Corrected):
        return event
    word, body = event_to_plain(event)
    if body.get("when_ms") is None:
        body["when_ms"] = wall_ms
    return event_from_plain(word, body)


def _commit(writer: Journal, event: Event, wall_ms: int, noted_ms: int) -> int:
    """Keep the event, and before it what time it really is, where nobody has said so in the last minute."""
    _, at_ms, run_ms = writer.last_stamp()
    with writer.atomic():
        if wall_ms > at_ms and not 0 <= wall_ms - noted_ms < _NOTED_FOR_MS:
            writer.add_event(at_ms, run_ms, NotedAt(wall_ms))
        return writer.add_event(at_ms, run_ms, event).n
