"""Input files: one JSON line a reading, something a person did, or a tick; checked like all that comes in."""

from __future__ import annotations

import json
import math
from array import array
from bisect import bisect_left
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any, BinaryIO, NamedTuple

from gateway.core import asked
from gateway.core.inputs import VERBS, Event
from gateway.core.reading import Reading, Reason, Rejected
from gateway.core.site import Site
from gateway.core.wire.gauge import Arrival, Gauge
from gateway.core.wire.moment import moment_ms
from gateway.core.wire.refusal import Refusal

LONGEST_LINE = 64 * 1024
#: Before this a running time could be taken for a journal number (2001-09-09T01:46:40Z).
EARLIEST_MS = 10**12
#: From here on a time is a slip of the pen (2100-01-01T00:00:00Z).
LATEST_MS = 4_102_444_800_000
#: Each ten seconds of a gap are judged: a season and a year of standing idle pass, a wrong year does not.
LONGEST_STEP_DAYS = 400
#: What is typed on the command line in other words than the journal has, and `event` at a kiln.
_AS_TYPED = {
    "kiln": {"event": "what"},
    "chit": {"share": "share_pct"},
    "spire": {"share": "share_pct"},
    "joined": {"with": "other"},
}
_READING_KEYS = frozenset("at kind probe measured_at value sequence battery".split())


class Line(NamedTuple):
    """One checked line: when, and what happened (None for a tick)."""

    at_ms: int
    what: Reading | Rejected | Event | None


class LineFault(ValueError):
    """A line that cannot be taken; its text names the key, the value and what was expected."""


def lines(source: BinaryIO) -> Iterator[tuple[int, bytes]]:
    """(line number from 1, bytes) of each line that is not blank; an endless line comes in pieces."""
    for number, text in enumerate(iter(lambda: source.readline(LONGEST_LINE + 1), b""), 1):
        if text.strip():
            yield number, text


class Lines:
    """Reads lines for one site, in order. `at` never goes backwards: where a line's does, the last stands."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self._gauges = {probe.id: Gauge(probe) for probe in site.probes}
        self._at_ms = EARLIEST_MS
        self._begun = False
        self.backward = 0

    def read(self, text: bytes) -> Line:
        """The line, checked; raises LineFault."""
        row = _object(text)
        at_ms = self._take_at(row)
        kind = row.get("kind")
        if kind == "tick":
            return Line(at_ms, None)
        if kind == "reading":
            return Line(at_ms, self._reading(at_ms, row))
        if isinstance(kind, str) and kind in VERBS:
            return Line(at_ms, self._event(at_ms, kind, row))
        expected = ", ".join(["reading", "tick", *sorted(VERBS)])
        raise LineFault(f"kind = {_show(kind)}: expected one of {expected}")

    def _take_at(self, row: dict[str, Any]) -> int:
        at_ms = _moment(row, "at")
        if at_ms < EARLIEST_MS:
            raise LineFault(f"at = {_show(row['at'])}: expected a time after 2001-09-09T01:46:40Z")
        if at_ms >= LATEST_MS:
            raise LineFault(f"at = {_show(row['at'])}: expected a time before 2100-01-01T00:00:00Z")
        if self._begun and at_ms - self._at_ms > LONGEST_STEP_DAYS * 86_400_000:
            days = (at_ms - self._at_ms) // 86_400_000
            raise LineFault(
                f"at = {_show(row['at'])}: {days} days after the line before; "
                f"expected at most {LONGEST_STEP_DAYS} days"
            )
        self._begun = True
        if at_ms < self._at_ms:
            self.backward += 1
        self._at_ms = max(self._at_ms, at_ms)
        return self._at_ms

    def _reading(self, at_ms: int, row: dict[str, Any]) -> Reading | Rejected:
        unknown = row.keys() - _READING_KEYS
        if unknown:
            raise LineFault(f"{_show(min(unknown))}: expected only {', '.join(sorted(_READING_KEYS))}")
        gauge = self._gauges.get(row["probe"]) if isinstance(row.get("probe"), str) else None
        if gauge is None:
            raise LineFault(f"probe = {_show(row.get('probe'))}: expected a probe of {self._site.name}")
        own_ms = None if row.get("measured_at") is None else _moment(row, "measured_at")
        value, battery = _sent(row), row.get("battery")
        sequence = row.get("sequence")
        if sequence is not None and (type(sequence) is not int or abs(sequence) >= 2**63):
            raise LineFault(f"sequence = {_show(sequence)}: expected a whole number")
        try:
            return gauge.reading(
                value,
                own_ms,
                Arrival(at_ms, False, True),
                sequence,
                None if battery is None else _number(row, "battery"),
            )
        except Refusal as why:
            topic = self._site.probe[gauge.id].topic
            return Rejected(topic, b"", why.reason, why.detail, gauge.id)

    def _event(self, at_ms: int, kind: str, row: dict[str, Any]) -> Event:
        names = _AS_TYPED.get(kind, {})
        body = {names.get(key, key.replace("-", "_")): row[key] for key in row if key not in ("at", "kind")}
        try:
            event = asked.read(kind, asked.by_id(body, self._site), at_ms, self._site.time_zone)
        except ValueError as fault:
            raise LineFault(str(fault)) from fault
        # An alarm's number is known only while judging; an answer to none is judged as live does it.
        fault_text = asked.cannot_be(event, self._site, range(2**62))
        if fault_text:
            raise LineFault(f"{kind}: {fault_text}")
        return event


@dataclass(slots=True)
class _Times:
    ms: array[int] = field(default_factory=lambda: array("q"))
    values: array[float] = field(default_factory=lambda: array("d"))


class Kept:
    """Which (probe, measured at) have been kept, as the store knows them: 16 bytes a reading."""

    def __init__(self) -> None:
        self._of: dict[str, _Times] = {}

    def add(self, reading: Reading, own_time: bool) -> Reading | Reason | None:
        """The reading as it is kept; None for a duplicate; CONFLICT where another value has its time.

        A reading without a time of its own is never either: it gets the probe's next free millisecond.
        """
        of = self._of.get(reading.probe)
        if of is None:
            of = self._of[reading.probe] = _Times()
        measured_ms = reading.measured_at_ms
        if not own_time and of.ms and measured_ms <= of.ms[-1]:
            measured_ms = of.ms[-1] + 1
            reading = reading._replace(measured_at_ms=measured_ms)
        if not of.ms or measured_ms > of.ms[-1]:
            of.ms.append(measured_ms)
            of.values.append(reading.value)
            return reading
        place = bisect_left(of.ms, measured_ms)
        if of.ms[place] == measured_ms:
            return None if of.values[place] == reading.value else Reason.CONFLICT
        of.ms.insert(place, measured_ms)
        of.values.insert(place, reading.value)
        return reading


def faults(
    source: BinaryIO, name: str, take: Callable[[Line], None], site: Site, most: int = 20
) -> tuple[list[str], int, int]:
    """Give each good line to `take` until the first fault; (faults, lines, lines whose `at` was backward).

    After the first fault lines are only checked, so that `most` of them are named at once.
    """
    reader, found, count = Lines(site), list[str](), 0
    for number, text in lines(source):
        count += 1
        try:
            line = reader.read(text)
        except LineFault as fault:
            found.append(f"{name}:{number}: {fault}")
            if len(found) >= most:
                found.append(f"{name}: reading stopped after {most} faults")
                break
            continue
        if not found:
            take(line)
    return found, count, reader.backward


def _object(text: bytes) -> dict[str, Any]:
    if len(text) > LONGEST_LINE:
        raise LineFault(f"expected at most {LONGEST_LINE} bytes on a line")
    try:
        row = json.loads(text)
    except (ValueError, RecursionError) as fault:
        raise LineFault(f"expected one JSON object: {str(fault)[:120]}") from fault
    if not isinstance(row, dict):
        raise LineFault(f"expected one JSON object, got {type(row).__name__}")
    return row


def _moment(row: dict[str, Any], key: str) -> int:
    try:
        return moment_ms(row.get(key))
    except Refusal as why:
        raise LineFault(f"{key} = {_show(row.get(key))}: {why.detail}") from why


def _number(row: dict[str, Any], key: str) -> float:
    value = row.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise LineFault(f"{key} = {_show(value)}: expected a number")
    if abs(value) > 1e300:
        raise LineFault(f"{key} = {_show(value)}: expected a number of a sensible size")
    return value


def _sent(row: dict[str, Any]) -> float:
    """What a probe sent: a number too great for any is as good as none, and refused as it is live."""
    value = row.get("value")
    if isinstance(value, int | float) and not isinstance(value, bool) and not abs(value) <= 1e300:
        return math.inf if value > 0 else -math.inf if value < 0 else math.nan
    return _number(row, "value")


def _show(value: Any) -> str:
    try:
        return repr(value)[:60]
    except (ValueError, RecursionError):
        return f"a {type(value).__name__}"
