"""The payload form `json`: one document, JSON pointers (RFC 6901) to value, time, sequence and battery."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from json import JSONDecodeError, JSONDecoder
from math import isfinite
from typing import Any, NamedTuple

from gateway.core.reading import Reading, Reason
from gateway.core.site import Probe
from gateway.core.wire.gauge import Arrival, Gauge
from gateway.core.wire.moment import moment_ms
from gateway.core.wire.pointer import MISSING, Getter, getter
from gateway.core.wire.refusal import Refusal

MOST_BYTES = 65_536
#: What the journal can hold of a sequence number.
MOST_SEQUENCE = 2**63 - 1


class _Part(NamedTuple):
    gauge: Gauge
    value: Getter
    time: Getter
    sequence: Getter
    battery: Getter


class Json:
    """The probes that are read from the documents of one topic."""

    def __init__(self, probes: Sequence[Probe]) -> None:
        """Raises ValueError for a pointer that is none."""
        self._parts = [
            _Part(
                Gauge(probe),
                getter(probe.value),
                _optional(probe.time),
                _optional(probe.sequence),
                _optional(probe.battery),
            )
            for probe in probes
        ]

    def take(self, payload: bytes, arrival: Arrival) -> list[Reading | tuple[str, Refusal]]:
        """For each probe its reading, or its id and why not."""
        try:
            document = parse(payload)
        except Refusal as why:
            return [(part.gauge.id, why) for part in self._parts]
        taken: list[Reading | tuple[str, Refusal]] = []
        for part in self._parts:
            try:
                taken.append(_reading(part, document, arrival))
            except Refusal as why:
                taken.append((part.gauge.id, why))
        return taken


def parse(payload: bytes) -> Any:
    """The document (RFC 8259: UTF-8; a key may stand once). Raises Refusal: TOO_LONG or NOT_JSON.

    The words NaN and Infinity become numbers that are not finite, so that only the one who needs
    that number refuses it.
    """
    if len(payload) > MOST_BYTES:
        raise Refusal(Reason.TOO_LONG, f"more than {MOST_BYTES} bytes")
    try:
        return _decoder.decode(payload.decode())
    except UnicodeDecodeError:
        raise Refusal(Reason.NOT_JSON, "not UTF-8; expected a JSON document") from None
    except JSONDecodeError as fault:
        raise Refusal(Reason.NOT_JSON, f"{fault.msg} at character {fault.pos}") from None
    except RecursionError:
        raise Refusal(Reason.NOT_JSON, "nested too deep") from None
    except ValueError as fault:
        # A key that stands twice, and whole numbers with more digits than Python reads.
        raise Refusal(Reason.NOT_JSON, str(fault)[:200]) from None


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        [(twice, _)] = Counter(key for key, _ in pairs).most_common(1)
        raise ValueError(f"the key {twice[:60]!r} stands twice in one object")
    return found


_decoder = JSONDecoder(object_pairs_hook=_once)


def _optional(pointer: str) -> Getter:
    # The empty pointer is the whole document: as a value it can be meant, as anything else it says "none".
    return getter(pointer) if pointer else _nothing


def _nothing(_document: Any) -> Any:
    return MISSING


def _reading(part: _Part, document: Any, arrival: Arrival) -> Reading:
    value = part.value(document)
    if type(value) is not float and type(value) is not int:
        raise _no_number(value)
    when = part.time(document)
    own_ms = None if when is MISSING or when is None else moment_ms(when)
    return part.gauge.reading(
        _as_float(value),
        own_ms,
        arrival,
        _sequence(part.sequence(document)),
        _battery(part.battery(document)),
    )


def _no_number(value: Any) -> Refusal:
    if value is MISSING or value is None:
        return Refusal(Reason.NO_VALUE, "expected a number where the site file points")
    return Refusal(Reason.NOT_A_NUMBER, f"got a {type(value).__name__}; expected a number")


def _as_float(value: float) -> float:
    try:
        return float(value)
    except OverflowError:
        raise Refusal(Reason.NOT_FINITE, "a whole number too large") from None


def _sequence(value: Any) -> int | None:
    if type(value) is int and 0 <= value <= MOST_SEQUENCE:
        return value
    return None


def _battery(value: Any) -> float | None:
    if type(value) is float and isfinite(value):
        return value
    return float(value) if type(value) is int and abs(value) < MOST_SEQUENCE else None
