"""What a batch of messages comes to before it is committed: readings, refusals, repeats, and their counts."""

from __future__ import annotations

import hashlib
import logging
from collections import Counter
from collections.abc import Iterator, Sequence

from gateway.core import wire
from gateway.core.inputs import Refused
from gateway.core.reading import OWN_TIME, Reading, Reason, Rejected
from gateway.ports import Added, Journal, Message

log = logging.getLogger(__name__)

#: So many unknown topics are named in one commit's events; the rest are one more. All are counted.
TOPICS_NAMED = 20
OTHER_TOPICS = "(other topics)"


class Batch:
    """Filled inside one `atomic()`, with the time of that commit. No message makes `fill` raise."""

    def __init__(self, book: wire.Book, at_ms: int, trusted: bool) -> None:
        self.readings: list[Reading] = []
        self.rejected: list[Rejected] = []
        self.received = 0
        self.redelivered = 0
        self._book = book
        self._at_ms = at_ms
        self._trusted = trusted
        self._origin: list[Message] = []

    def fill(self, messages: Sequence[Message], journal: Journal, repeats_kept: int) -> None:
        """Read every message; one without a time of its own that was committed before is only counted."""
        for message in messages:
            found = self._read(message)
            if not found:
                continue
            self.received += 1
            timeless = True
            for one in found:
                if isinstance(one, Reading) and one.flags & OWN_TIME:
                    timeless = False
            if timeless and message.qos and self._repeated(message, journal, repeats_kept):
                self.redelivered += 1
                continue
            for one in found:
                if isinstance(one, Reading):
                    self.readings.append(one)
                    self._origin.append(message)
                else:
                    self.rejected.append(one)

    def _read(self, message: Message) -> Sequence[Reading | Rejected]:
        topic, payload = message.topic, message.payload
        try:
            return wire.decode(self._book, topic, payload, message.retain, self._at_ms, self._trusted)
        except Exception as fault:  # a fault of ours must not stop the intake: the message is kept aside
            log.exception("a message on %s could not be read", topic)
            why = wire.Refusal(Reason.NOT_A_NUMBER, f"a fault of the gateway: {fault!r}"[:200])
            return [wire.rejected(topic, payload, why, None)]

    def _repeated(self, message: Message, journal: Journal, keep: int) -> bool:
        # Asked for every such message and not only for repeats: what comes first must be remembered.
        known = journal.remember_delivery(digest(message), keep)
        return known and message.dup

    def refuse(self, added: Added) -> None:
        """Put aside what contradicts what is kept for its probe and time, or may have been kept once."""
        origin = (
            dict(zip(self.readings, self._origin, strict=True)) if added.conflicts or added.too_old else {}
        )
        for readings, why in (
            (added.conflicts, wire.Refusal(Reason.CONFLICT, "another value is kept for this probe and time")),
            (added.too_old, wire.Refusal(Reason.TOO_OLD, "the readings of its minute were let go long ago")),
        ):
            for reading in readings:
                message = origin[reading]
                self.rejected.append(wire.rejected(message.topic, message.payload, why, reading.probe))

    def refused(self) -> Iterator[Refused]:
        """One event for each probe, or topic where no probe is known, and reason."""
        counts: Counter[tuple[str, str | None, str]] = Counter()
        unknown: set[str] = set()
        for one in self.rejected:
            topic = one.topic
            if one.probe is None and topic not in unknown:
                if len(unknown) < TOPICS_NAMED:
                    unknown.add(topic)
                else:
                    topic = OTHER_TOPICS
            counts[topic, one.probe, one.reason.value] += 1
        for (topic, probe, reason), count in counts.items():
            yield Refused(topic, probe, reason, count)

    def counts(self, kept: int, duplicates: int) -> dict[str, int]:
        """What to add to the running totals."""
        found = {
            "received": self.received,
            "kept": kept,
            "duplicates": duplicates,
            "refused": len(self.rejected),
            "redelivered": self.redelivered,
        }
        return {name: count for name, count in found.items() if count}


def digest(message: Message) -> bytes:
    """What tells a repeated delivery from a new message with the same words."""
    head = f"{message.session} {message.mid} {message.topic}\0".encode("utf-8", "surrogatepass")
    return hashlib.blake2b(head + message.payload, digest_size=16).digest()
