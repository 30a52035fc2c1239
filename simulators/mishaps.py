"""What goes wrong between a probe and a broker: seeded, pure, the same for a test and for a run.

A `Link` takes messages in the order of their time and gives back what comes out of it, and when.
Each mishap is a chance per message; silence and stuck then last for a while, on that topic alone.
"""

import heapq
import json
from collections.abc import Iterable
from dataclasses import dataclass, fields
from random import Random
from typing import NamedTuple


class Timed(NamedTuple):
    """A message and the moment it leaves the link, Unix seconds."""

    at_s: float
    topic: str
    payload: bytes


class Fault(NamedTuple):
    """One mishap that happened; `until_s` where it lasts."""

    at_s: float
    kind: str
    topic: str
    until_s: float


@dataclass(frozen=True)
class Mishaps:
    """Chances from 0 to 1 per message, and how long the lasting ones last."""

    drop: float = 0.0
    double: float = 0.0
    delay: float = 0.0
    delay_s: float = 300.0
    reorder: float = 0.0
    stuck: float = 0.0
    stuck_s: float = 7200.0
    silence: float = 0.0
    silence_s: float = 2700.0
    garbage: float = 0.0

    def __post_init__(self) -> None:
        for item in fields(self):
            value = getattr(self, item.name)
            high = 604_800.0 if item.name.endswith("_s") else 1.0
            if not 0.0 <= value <= high:
                raise ValueError(f"mishap {item.name} = {value}: expected 0 to {high:g}")


def read_mishaps(text: str) -> Mishaps:
    """Mishaps from `drop=0.02,delay=0.1,delay_s=600`; raises ValueError naming what is wrong."""
    known = {item.name for item in fields(Mishaps)}
    found: dict[str, float] = {}
    for part in filter(None, (piece.strip() for piece in text.split(","))):
        name, _, value = part.partition("=")
        if name not in known:
            raise ValueError(f"mishap {name!r} is unknown: expected one of {', '.join(sorted(known))}")
        try:
            found[name] = float(value)
        except ValueError:
            raise ValueError(f"mishap {name} = {value!r}: expected a number") from None
    return Mishaps(**found)


class Link:
    """A bad link. `send` in the order of time; `due` gives what has come through by then."""

    def __init__(self, mishaps: Mishaps, seed: int | str) -> None:
        self.mishaps = mishaps
        self.faults: list[Fault] = []
        self._rng = Random(f"link {seed}")
        self._heap: list[tuple[float, int, Timed]] = []
        self._count = 0
        self._silent: dict[str, float] = {}
        self._stuck: dict[str, tuple[float, bytes]] = {}
        self._held: dict[str, Timed] = {}

    def send(self, message: Timed) -> None:
        """Put one message in."""
        if self._is_silent(message):
            return
        message = self._spoilt(self._as_stuck(message))
        if self._happens("drop", message, self.mishaps.drop):
            return
        late_s = 0.0
        if self._happens("delay", message, self.mishaps.delay):
            late_s = self._rng.uniform(0.0, self.mishaps.delay_s)
        out = message._replace(at_s=message.at_s + late_s)
        held = self._held.pop(message.topic, None)
        if held is None and self._happens("reorder", message, self.mishaps.reorder):
            self._held[message.topic] = out
            return
        self._push(out)
        if held is not None:
            self._push(held._replace(at_s=max(held.at_s, out.at_s)))
        if self._happens("double", message, self.mishaps.double):
            self._push(out._replace(at_s=out.at_s + self._rng.uniform(0.0, 5.0)))

    def due(self, now_s: float) -> list[Timed]:
        """Everything that has come out of the link up to `now_s`, in order."""
        out = []
        while self._heap and self._heap[0][0] <= now_s:
            out.append(heapq.heappop(self._heap)[2])
        return out

    def drain(self) -> list[Timed]:
        """Everything that is still in the link, held ones too: the end of a run."""
        for held in self._held.values():
            self._push(held)
        self._held.clear()
        return self.due(float("inf"))

    def _push(self, message: Timed) -> None:
        self._count += 1
        heapq.heappush(self._heap, (message.at_s, self._count, message))

    def _happens(self, kind: str, message: Timed, chance: float, lasts_s: float = 0.0) -> bool:
        if chance <= 0.0 or self._rng.random() >= chance:
            return False
        self.faults.append(Fault(message.at_s, kind, message.topic, message.at_s + lasts_s))
        return True

    def _is_silent(self, message: Timed) -> bool:
        if message.at_s < self._silent.get(message.topic, 0.0):
            return True
        if self._happens("silence", message, self.mishaps.silence, self.mishaps.silence_s):
            self._silent[message.topic] = message.at_s + self.mishaps.silence_s
            return True
        return False

    def _as_stuck(self, message: Timed) -> Timed:
        until_s, frozen = self._stuck.get(message.topic, (0.0, b""))
        if message.at_s < until_s:
            return message._replace(payload=_frozen(frozen, message.payload))
        if self._happens("stuck", message, self.mishaps.stuck, self.mishaps.stuck_s):
            self._stuck[message.topic] = (message.at_s + self.mishaps.stuck_s, message.payload)
        return message

    def _spoilt(self, message: Timed) -> Timed:
        if not self._happens("garbage", message, self.mishaps.garbage):
            return message
        rng = self._rng
        kinds = (
            rng.randbytes(rng.randint(0, 64)),
            message.payload[: rng.randint(0, max(0, len(message.payload) - 1))],
            b'{"v":"wet","t":null}',
            b"NaN",
            b"-9999",
        )
        return message._replace(payload=rng.choice(kinds))


def _frozen(old: bytes, new: bytes) -> bytes:
    """The old payload with the new one's time and sequence: the instrument is stuck, not its clock."""
    try:
        was, now = json.loads(old), json.loads(new)
    except ValueError:
        return old
    if not isinstance(was, dict) or not isinstance(now, dict):
        return old
    kept = {**was, **{name: now[name] for name in ("t", "n") if name in now}}
    return json.dumps(kept, separators=(",", ":")).encode()


def spoil(messages: Iterable[Timed], mishaps: Mishaps, seed: int | str) -> tuple[list[Timed], list[Fault]]:
    """A whole list of messages through a bad link: what came out, in order, and what went wrong."""
    link = Link(mishaps, seed)
    for message in messages:
        link.send(message)
    return link.drain(), link.faults
