"""Which topic belongs to whom, and the one way from a message's bytes to readings and refusals."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Protocol

from gateway.core.reading import Reading, Reason, Rejected
from gateway.core.site import Probe, Site
from gateway.core.wire.gauge import AHEAD_MS, Arrival
from gateway.core.wire.json import Json
from gateway.core.wire.number import Number
from gateway.core.wire.refusal import Refusal

#: How much of a refused message is kept.
KEPT_BYTES = 256
KEPT_TOPIC = 256


class Form(Protocol):
    """The probes of one topic that speak one payload form."""

    def take(self, payload: bytes, arrival: Arrival) -> list[Reading | tuple[str, Refusal]]:
        """For each probe its reading, or its id and why not."""


FORMS: dict[str, Callable[[Sequence[Probe]], Form]] = {"number": Number, "json": Json}


class Book:
    """The probes of a site by topic. Topics of the gateway's own (contract C3) belong to nobody."""

    def __init__(self, site: Site, root: str, ahead_ms: int = AHEAD_MS) -> None:
        """`root` is the first part of every own topic; a reading may be `ahead_ms` ahead of the gateway.

        Raises ValueError for what `settings` lets nobody write: an own topic as a probe's, an unknown
        payload form, a pointer that is none.
        """
        self.ahead_ms = ahead_ms
        self.clock_topic = f"{root}/clock"
        self._own = (f"{root}/gateway/", f"{root}/sim/")
        self._own_exact = frozenset((self.clock_topic, f"{root}/gateway", f"{root}/sim"))
        grouped: dict[str, dict[str, list[Probe]]] = {}
        for probe in site.probes:
            if self.own(probe.topic):
                raise ValueError(f"probe {probe.id}: topic {probe.topic!r} is the gateway's own")
            grouped.setdefault(probe.topic, {}).setdefault(probe.payload, []).append(probe)
        self.forms: dict[str, tuple[Form, ...]] = {
            topic: tuple(_form(word, probes) for word, probes in forms.items())
            for topic, forms in grouped.items()
        }

    def own(self, topic: str) -> bool:
        """Whether this topic is the gateway's own and never a probe's."""
        return topic.startswith(self._own) or topic in self._own_exact


def _form(word: str, probes: Sequence[Probe]) -> Form:
    make = FORMS.get(word)
    if make is None:
        raise ValueError(f"probe {probes[0].id}: payload {word!r} is not one of {', '.join(FORMS)}")
    return make(probes)


def decode(
    book: Book, topic: str, payload: bytes, retained: bool, at_ms: int, trusted: bool
) -> list[Reading | Rejected]:
    """What a message says: for each probe of its topic one Reading or one Rejected, in the site's order.

    A topic nobody has gives one Rejected, an own topic nothing. `at_ms` (Unix ms) is the gateway's time,
    `trusted` whether its clock has been set. Raises nothing, whatever the bytes.
    """
    forms = book.forms.get(topic)
    if forms is None:
        if book.own(topic):
            return []
        return [rejected(topic, payload, Refusal(Reason.UNKNOWN_TOPIC, "no probe has this topic"), None)]
    arrival = Arrival(at_ms, retained, trusted, book.ahead_ms)
    found: list[Reading | Rejected] = []
    for form in forms:
        for one in form.take(payload, arrival):
            found.append(one if isinstance(one, Reading) else _why(topic, payload, one))
    return found


def rejected(topic: str, payload: bytes, why: Refusal, probe: str | None) -> Rejected:
    """A message kept aside, cut to what is kept of it."""
    return Rejected(topic[:KEPT_TOPIC], payload[:KEPT_BYTES], why.reason, why.detail, probe)


def _why(topic: str, payload: bytes, one: tuple[str, Refusal]) -> Rejected:
    probe, why = one
    # An empty payload is how a kept message is deleted: it says nothing about numbers or JSON.
    if not payload:
        why = Refusal(Reason.EMPTY, "an empty message")
    return rejected(topic, payload, why, probe)
