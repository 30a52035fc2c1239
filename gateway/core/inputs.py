"""The vocabulary of inputs: everything that can happen to the gateway, as past events (`Turned`, `Answered`).

All times are Unix milliseconds, UTC. Inputs made by people carry who, why, and when it really happened
(`when_ms`, None for "now"); the journal's own stamp is in `Entry`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

from gateway.core import codec
from gateway.core.inputs_air import AIR_EVENTS, CheckedIn, CheckedOut
from gateway.core.inputs_journey import JOURNEY_EVENTS, Later
from gateway.core.inputs_note import NOTE_EVENTS, HandedOver, HandoverRead
from gateway.core.reading import Reading
from gateway.core.site import Site


@dataclass(frozen=True, slots=True)
class Started:
    """The gateway began to run, in this version."""

    version: str


@dataclass(frozen=True, slots=True)
class Resumed:
    """The gateway runs again after it was down; `down_ms` is what the running-time axis leaves out."""

    down_ms: int


@dataclass(frozen=True, slots=True)
class Restored:
    """The store was put back from a copy: what is numbered from here on goes so much further, past all that
    was numbered after the copy was made."""

    alarms: int
    notices: int
    turns: int


@dataclass(frozen=True, slots=True)
class ClockStepped:
    """The gateway's clock was set: from here on `at` = running time + an offset changed by `by_ms`."""

    by_ms: int


@dataclass(frozen=True, slots=True)
class NotedAt:
    """The real time of the next entries: they were recorded while the gateway was down and its time stood."""

    at_ms: int


@dataclass(frozen=True, slots=True)
class SiteChanged:
    """From here on this site file holds (whole, without its secrets)."""

    site: Site


@dataclass(frozen=True, slots=True)
class Refused:
    """`count` payloads of one probe (or topic, if no probe is known) refused for one reason in one commit."""

    topic: str
    probe: str | None
    reason: str
    count: int


@dataclass(frozen=True, slots=True)
class Condition:
    """The state of one of the gateway's surroundings: broker, session, disk, clock, twin …"""

    name: str
    on: bool
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Delivery:
    """One attempt to reach a phone. `outcome`: delivered, failed (may be tried again), gone (never again)."""

    notice: int
    phone: str
    outcome: str
    status: int | None = None
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Cast:
    """Steeped grain was cast onto a bed, or a stretch of it: a new piece lies there, out of `steep`."""

    bed: str
    piece: str | None = None
    by: str | None = None
    why: str | None = None
    when_ms: int | None = None
    steep: str | None = None
    from_m: float | None = None
    to_m: float | None = None


@dataclass(frozen=True, slots=True)
class CouchBroken:
    """The couch was spread to working depth."""

    bed: str
    by: str | None = None
    why: str | None = None
    when_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Turned:
    """A bed, or a stretch of it in metres along the floor, was turned; `onto`: where it lies since."""

    bed: str
    from_m: float | None = None
    to_m: float | None = None
    by: str | None = None
    why: str | None = None
    when_ms: int | None = None
    onto_from_m: float | None = None
    onto_to_m: float | None = None


@dataclass(frozen=True, slots=True)
class Moved:
    """What lies on a bed, or on a stretch of it, went to another bed, or onto a stretch of that."""

    bed: str
    to: str
    by: str | None = None
    why: str | None = None
    when_ms: int | None = None
    from_m: float | None = None
    to_m: float | None = None
    onto_from_m: float | None = None
    onto_to_m: float | None = None


@dataclass(frozen=True, slots=True)
class Loaded:
    """What lies on a bed, or on a stretch of it, went into a kiln; nothing lies there from here on."""

    bed: str
    kiln: str | None = None
    by: str | None = None
    why: str | None = None
    when_ms: int | None = None
    from_m: float | None = None
    to_m: float | None = None


@dataclass(frozen=True, slots=True)
class KilnWorked:
    """Something done at the kiln: lit, damped, relit, drawn, turned, levelled, fan-on, fan-off, stripped,
    to-store; or found: hand-dry, moisture (`moisture_wb`, % of the wet weight)."""

    what: str
    kiln: str | None = None
    by: str | None = None
    why: str | None = None
    when_ms: int | None = None
    moisture_wb: float | None = None


@dataclass(frozen=True, slots=True)
class Answered:
    """`answer`: going, heard or cant."""

    alarm: int
    answer: str
    by: str | None = None
    why: str | None = None
    when_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Quieted:
    """No calls for an alarm for a time; it goes on being judged."""

    alarm: int
    for_s: float
    why: str | None = None
    by: str | None = None
    when_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Unquieted:
    """The quiet of an alarm was ended early."""

    alarm: int
    why: str | None = None
    by: str | None = None
    when_ms: int | None = None


@dataclass(frozen=True, slots=True)
class PutOutOfService:
    """A probe is not to be trusted or expected until put back."""

    probe: str
    why: str | None = None
    by: str | None = None
    when_ms: int | None = None


@dataclass(frozen=True, slots=True)
class PutInService:
    """A probe is to be trusted and expected again."""

    probe: str
    why: str | None = None
    by: str | None = None
    when_ms: int | None = None


@dataclass(frozen=True, slots=True)
class TestCallAsked:
    """Ring one person's phones with a test call, or everybody's where `person` is None."""

    person: str | None = None
    by: str | None = None
    why: str | None = None
    when_ms: int | None = None


Event = (
    Started | Resumed | Restored | ClockStepped | NotedAt | SiteChanged | Refused | Condition | Delivery
    | Cast | CouchBroken | Turned | Moved | Loaded | KilnWorked | Answered | Quieted | Unquieted
    | PutOutOfService | PutInService | TestCallAsked | CheckedIn | CheckedOut | HandedOver
    | HandoverRead | Later
)  # fmt: skip
Input = Reading | Event

#: The word for each event in the journal and in input files (contract C6, C7).
EVENTS: dict[str, type] = (
    {
        "started": Started,
        "resumed": Resumed,
        "restored": Restored,
        "clock-stepped": ClockStepped,
        "noted-at": NotedAt,
        "site": SiteChanged,
        "refused": Refused,
        "condition": Condition,
        "delivery": Delivery,
        "cast": Cast,
        "couch-broken": CouchBroken,
        "turned": Turned,
        "moved": Moved,
        "loaded": Loaded,
        "kiln": KilnWorked,
        "answer": Answered,
        "quiet": Quieted,
        "unquiet": Unquieted,
        "out-of-service": PutOutOfService,
        "in-service": PutInService,
        "test-call": TestCallAsked,
    }
    | AIR_EVENTS
    | NOTE_EVENTS
    | JOURNEY_EVENTS
)
KINDS: dict[type, str] = {kind: word for word, kind in EVENTS.items()}

#: What a person may record, by the verb typed (contract C6).
VERBS: frozenset[str] = frozenset(EVENTS) - {
    "started", "resumed", "restored", "clock-stepped", "noted-at", "site", "refused", "condition", "delivery",
}  # fmt: skip


def event_to_plain(event: Event) -> tuple[str, dict[str, Any]]:
    """The word and the plain body under which the journal keeps an event."""
    return KINDS[type(event)], codec.plain(event)


def event_from_plain(word: str, body: dict[str, Any]) -> Event:
    """The event of a word and body; raises ValueError for an unknown word or a body that does not fit."""
    kind = EVENTS.get(word)
    if kind is None:
        raise ValueError(f"kind: {word!r} is not one of {', '.join(sorted(EVENTS))}")
    try:
        event: Event = codec.restore(kind, body)
    except TypeError as fault:
        raise ValueError(f"{word}: {fault}") from fault
    return event


class Entry(NamedTuple):
    """One line of the journal. `run_ms` is running time: it stands still while the gateway is down."""

    n: int
    at_ms: int
    run_ms: int
    what: Input
