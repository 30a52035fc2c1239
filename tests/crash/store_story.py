"""A short life of a store, as transactions, and all that can be read of it afterwards."""

import shutil
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

from gateway.core.effects import Effect
from gateway.core.inputs import Cast, Delivery, Started
from gateway.core.reading import Reason, Rejected
from gateway.edges.sqlite import Writer
from gateway.edges.sqlite.place import DATABASE
from gateway.ports import Cursor
from tests.contracts.store import BEGAN_MS, alarm, notice, reader_of, reading, turn, writer_of

LOG = f"{DATABASE}-wal"


def _begin(writer: Writer) -> None:
    writer.add_event(BEGAN_MS, BEGAN_MS, Started("1"))
    writer.set_meta("session", "one")


def _intake(writer: Writer) -> None:
    batch = [reading(0), reading(1, probe="bed-d/mid"), reading(1), reading(2, flags=0), reading(2, flags=0)]
    kept = writer.add_readings(BEGAN_MS + 1, BEGAN_MS + 1, batch)
    writer.remember_delivery(b"digest", 2)
    writer.note_counts(received=5, kept=len(kept.entries))


def _again(writer: Writer) -> None:
    """Some of it once more, with a contradiction: the slow way through."""
    added = writer.add_readings(
        BEGAN_MS + 2, BEGAN_MS + 2, [reading(0), reading(1, 9.0), reading(3), reading(4)]
    )
    refused = [Rejected("qh/bed-c/mid", b"9.0", Reason.CONFLICT, "15.0 is kept", "bed-c/mid")] * len(
        added.conflicts
    )
    writer.keep_rejected(BEGAN_MS + 2, [*refused, Rejected("qh/attic", b"?", Reason.UNKNOWN_TOPIC, "")])
    writer.note_counts(duplicates=added.duplicates)


def _judge(writer: Writer) -> None:
    effects: list[Effect] = [
        alarm((2, 0)),
        notice((2, 1), 1),
        notice((2, 2), 2, phone="ben-1"),
        turn((3, 0), 1),
    ]
    writer.save_effects(effects, Cursor(8, BEGAN_MS), b"state one" * 50)


def _outcome(writer: Writer) -> None:
    writer.add_event(BEGAN_MS + 3, BEGAN_MS + 3, Delivery(1, "ada-1", "delivered", 200))
    writer.add_event(BEGAN_MS + 3, BEGAN_MS + 3, Delivery(2, "ben-1", "failed", 503))
    writer.add_event(BEGAN_MS + 3, BEGAN_MS + 3, Cast("bed-d", by="ada"))


def _judge_again(writer: Writer) -> None:
    answered = alarm((9, 0), state="acknowledged", was="unacknowledged", signal="answer")
    writer.save_effects([notice((2, 1), 1), answered], Cursor(10, BEGAN_MS + 10_000), b"state two" * 50)


STORY: tuple[Callable[[Writer], None], ...] = (_begin, _intake, _again, _judge, _outcome, _judge_again)


def all_of(directory: Path) -> dict[str, Any]:
    """Everything the reading side can tell."""
    reader = reader_of(directory)
    with reader.snapshot():
        told = {
            "entries": reader.entries_after(0, 999),
            "judge": reader.load_judge(),
            "stamp": reader.last_stamp(),
            "session": reader.get_meta("session"),
            "alarms": reader.alarms(True),
            "notices": reader.notices(99),
            "due": reader.due_notices(),
            "turns": reader.turns(),
            "rejected": reader.rejected(99),
            "refusals": reader.rejected_counts(),
            "counts": reader.counts(),
            "effects": reader.effects(),
        }
    reader.close()
    return told


def states(directory: Path) -> list[dict[str, Any]]:
    """What can be told before the story and after each of its transactions, where nothing goes wrong."""
    writer = writer_of(directory)
    told = [all_of(directory)]
    for step in STORY:
        with writer.atomic():
            step(writer)
        told.append(all_of(directory))
    writer.close()
    assert all(before != after for before, after in pairwise(told)), "each step must show"
    return told


def image(directory: Path, to: Path) -> Path:
    """What a killed process would leave of it at this moment: the file and its log."""
    to.mkdir()
    for name in (DATABASE, LOG):
        shutil.copy(directory / name, to / name)
    return to


def after_crash(directory: Path) -> dict[str, Any]:
    """Open it as the gateway would when it starts again, and tell all."""
    writer_of(directory).close()
    return all_of(directory)
