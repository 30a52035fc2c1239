"""Books with few probes, and what one message comes to in them."""

from typing import Any

from gateway.core.reading import Reading, Reason, Rejected
from gateway.core.site import Probe, Site
from gateway.core.wire import Book, decode

ROOT = "quern"
TOPIC = "quern/bed-c/c2"
#: 2025-10-09T08:53:20Z.
AT_MS = 1_760_000_000_000


def probe(**given: Any) -> Probe:
    """A bed's temperature probe; `given` replaces its fields."""
    fields: dict[str, Any] = {
        "id": "c2",
        "place": "bed-c",
        "quantity": "temperature",
        "unit": "Cel",
        "topic": TOPIC,
        "every_s": 60.0,
    }
    return Probe(**{**fields, **given})


def book(*probes: Probe) -> Book:
    """A book of these probes."""
    return Book(Site("quern-hill", "Quern Hill Maltings", "Europe/London", probes=probes), ROOT)


def outcomes(
    payload: bytes, *probes: Probe, retained: bool = False, trusted: bool = True, topic: str = TOPIC
) -> list[Reading | Rejected]:
    """What a message at AT_MS comes to."""
    return decode(book(*(probes or (probe(),))), topic, payload, retained, AT_MS, trusted)


def reading(payload: bytes, *probes: Probe, **how: bool) -> Reading:
    """The one reading of a message."""
    [found] = outcomes(payload, *probes, **how)  # type: ignore[arg-type]
    assert isinstance(found, Reading), found
    return found


def refusal(payload: bytes, *probes: Probe, **how: bool) -> Rejected:
    """The one refusal of a message."""
    [found] = outcomes(payload, *probes, **how)  # type: ignore[arg-type]
    assert isinstance(found, Rejected), found
    assert isinstance(found.reason, Reason)
    assert found.detail
    return found
