"""What the tests of the store share: a store in a fresh directory, and inputs and effects to put into it."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from gateway.core.effects import AlarmChange, Change, Effect, Notice, TurnKnown
from gateway.core.inputs import Delivery, Entry
from gateway.core.reading import OWN_TIME, Reading
from gateway.edges.sqlite import Reader, Writer, open_reader, open_writer
from gateway.ports import Cursor

#: A whole minute in November 2023.
BEGAN_MS = 1_700_000_040_000
SMALL_RESERVE = 64 * 1024


def writer_of(directory: Path, reserve_bytes: int = SMALL_RESERVE) -> Writer:
    """The writer's side of the Quern Hill store."""
    return open_writer(directory, site_id="quern-hill", clock_kind="wall", reserve_bytes=reserve_bytes)


def reader_of(directory: Path) -> Reader:
    """The reading side of it."""
    return open_reader(directory)


def reading(k: int, value: float = 15.0, probe: str = "bed-c/mid", flags: int = OWN_TIME) -> Reading:
    """The probe's k-th reading, one a minute."""
    return Reading(probe, BEGAN_MS + k * 60_000, value, flags, k, 2.9)


def readings_of(entries: Sequence[Entry]) -> list[Reading]:
    """What these entries hold, which must all be readings."""
    found = [entry.what for entry in entries if isinstance(entry.what, Reading)]
    assert len(found) == len(entries)
    return found


class Undone(Exception):
    """Raised in the middle of a transaction, to undo it."""


@contextmanager
def undone(writer: Writer) -> Iterator[None]:
    """A transaction in which everything works, until something else fails at its end."""
    with suppress(Undone), writer.atomic():
        yield
        raise Undone


def add(writer: Writer, *readings: Reading, at_ms: int = BEGAN_MS, run_ms: int = BEGAN_MS) -> None:
    """Commit some readings."""
    with writer.atomic():
        writer.add_readings(at_ms, run_ms, readings)


def alarm(
    cause: tuple[int, int],
    number: int = 101,
    state: str = "unacknowledged",
    was: str = "normal",
    signal: str = "raise",
    quiet_until_ms: int | None = None,
) -> AlarmChange:
    """One step of a hot bed."""
    change = Change(BEGAN_MS + cause[1], was, state, signal, "ada" if signal == "answer" else None)
    return AlarmChange(
        cause, number, 1, "bed_hot", "bed-c", None, "high", "urgent", state, 23.4, "Cel", 23.0, BEGAN_MS,
        BEGAN_MS - 5000, None, False, change.by, quiet_until_ms, change,
    )  # fmt: skip


def notice(
    cause: tuple[int, int],
    number: int,
    alarm: int | None = 101,
    phone: str = "ada-1",
    kind: str = "call",
) -> Notice:
    """A message to one phone."""
    return Notice(
        cause, number, alarm, None if alarm is None else 1, phone[:-2], phone, kind, "high", "bed-c",
        "Bed C hot", f"Bed C 23.4 C. Turn it now. Reply {alarm} GO", False, BEGAN_MS + number,
    )  # fmt: skip


def turn(cause: tuple[int, int], number: int, by: str | None = "ben", state: str = "kept") -> TurnKnown:
    """A recorded turn."""
    ended_ms = BEGAN_MS + 1_200_000
    return TurnKnown(
        cause, number, "bed-c", None, None, "recorded", BEGAN_MS, ended_ms, ended_ms, by, state=state
    )


def save(writer: Writer, *effects: Effect, n: int = 1, snapshot: bytes | None = None) -> None:
    """Commit some effects."""
    with writer.atomic():
        writer.save_effects(effects, Cursor(n, BEGAN_MS), snapshot)


def deliver(writer: Writer, number: int, outcome: str, phone: str = "ada-1", at_ms: int = BEGAN_MS) -> None:
    """Commit the outcome of an attempt."""
    with writer.atomic():
        writer.add_event(at_ms, at_ms, Delivery(number, phone, outcome, 503 if outcome == "failed" else 200))


def due(directory: Path) -> Sequence[int]:
    """The numbers of the notices that wait."""
    reader = reader_of(directory)
    try:
        return [one.number for one in reader.due_notices()]
    finally:
        reader.close()
