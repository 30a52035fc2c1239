"""What somebody asks to record: plain words to a checked event, from a command, a socket or a file."""

from __future__ import annotations

import dataclasses
import math
import types
import typing
from collections import Counter
from collections.abc import Container, Sequence
from functools import cache
from typing import Any

from gateway.core import moment
from gateway.core.inputs import (
    EVENTS,
    VERBS,
    Answered,
    Event,
    KilnWorked,
    PutInService,
    PutOutOfService,
    Quieted,
    TestCallAsked,
    Unquieted,
    event_from_plain,
)
from gateway.core.inputs_air import CheckedIn, CheckedOut
from gateway.core.inputs_journey import Ordered, Stood, Voided
from gateway.core.site import Person, Place, Site

LONGEST_TEXT = 200
LONGEST_NOTE = 1000
LONGEST_QUIET_S = 24 * 3600.0
#: Longer than a shift nobody is inside.
LONGEST_INSIDE_S = 12 * 3600.0
KILN_WORK = (
    "lit",
    "damped",
    "relit",
    "drawn",
    "turned",
    "levelled",
    "fan-on",
    "fan-off",
    "stripped",
    "to-store",
    "hand-dry",
    "moisture",
)
STANDS = ("wet", "dry")
ANSWERS = ("going", "heard", "cant", "all-out")
#: What is found at the place asked for, in the words of a fault.
_KINDS = {"bed": ("bed",), "kiln": ("kiln",), "to": ("bed",), "steep": ("steep",)}
#: The longest standing order.
LONGEST_ORDER_MS = 48 * 3_600_000
_EARLIEST_MS, _LATEST_MS = 0, 10**14


def read(word: str, body: dict[str, Any], now_ms: int, time_zone: str) -> Event:
    """The event that a verb and its plain body mean.

    Besides the event's own fields a body may say `when` (RFC 3339 with offset, or HH:MM for the last such
    local time before `now_ms`) for `when_ms`, `until` (likewise, for the next such time) for `until_ms`, and
    `for` (seconds, or a span like 2h) for `for_s`.
    Raises ValueError naming the key, the value and what was expected; nothing odd in the body gets further.
    """
    body = _typed(body, now_ms, time_zone)
    if word not in VERBS:
        raise ValueError(f"kind: {_show(word)} is not one of {', '.join(sorted(VERBS))}")
    wanted = _fields(EVENTS[word])
    unknown = sorted(str(key)[:40] for key in body if key not in wanted)
    if unknown:
        raise ValueError(f"{word}: unknown {', '.join(unknown)}; expected {', '.join(wanted)}")
    missing = [name for name, (_, needed) in wanted.items() if needed and body.get(name) is None]
    if missing:
        raise ValueError(f"{word}: {', '.join(missing)} missing")
    checked = {key: _value(key, value, wanted[key][0]) for key, value in body.items() if value is not None}
    event = event_from_plain(word, checked)
    fault = _word_fault(event) or _order_fault(event, now_ms)
    if fault:
        raise ValueError(f"{word}: {fault}")
    return event


def by_id(body: dict[str, Any], site: Site) -> dict[str, Any]:
    """The body with ids where a person wrote names: `Bed C` for bed-c, `Ada` for ada.

    `by` may be anybody: a name nobody has stays as it is.
    """
    people = _names(site.people)
    places = _names(site.places)
    found = dict(body)
    known = dict.fromkeys(("bed", "to", "kiln", "steep", "place"), places) | dict.fromkeys(
        ("by", "person", "done_by"), people
    )
    for key, ids in known.items():
        value = body.get(key)
        if isinstance(value, str):
            found[key] = ids.get(value.casefold().strip(), value)
    return found


def _names(things: Sequence[Person] | Sequence[Place]) -> dict[str, str]:
    """Ids by name and by id, in small letters; an id goes before a name, and a name that two have is none."""
    count = Counter(thing.name.casefold() for thing in things)
    names = {thing.name.casefold(): thing.id for thing in things if count[thing.name.casefold()] == 1}
    return names | {thing.id.casefold(): thing.id for thing in things}


def cannot_be(event: Event, site: Site, alarms: Container[int]) -> str | None:
    """Why this site has nothing that the event speaks of (an unknown bed, probe, person or alarm); else None.

    Odd but possible things are not refused: they are kept and settled in daylight.
    """
    for key, kinds in _KINDS.items():
        place = getattr(event, key, None)
        if isinstance(place, str):
            known = [one.id for one in site.places if one.kind in kinds]
            if place not in known:
                return _unknown(f"{kinds[0]} {place}", site, known)
    if isinstance(event, PutOutOfService | PutInService) and event.probe not in site.probe:
        return _unknown(f"probe {event.probe}", site, list(site.probe))
    if isinstance(event, CheckedIn) and event.place not in site.place:
        return _unknown(f"place {event.place}", site, list(site.place))
    asks = event.person if isinstance(event, TestCallAsked | CheckedIn | CheckedOut) else None
    if asks is not None and asks not in site.person:
        return _unknown(f"person {asks}", site, list(site.person))
    if isinstance(event, Answered | Quieted | Unquieted) and event.alarm not in alarms:
        return f"there is no alarm {event.alarm}; `alarms --all` lists them"
    return None


def _typed(body: dict[str, Any], now_ms: int, time_zone: str) -> dict[str, Any]:
    """The body with `when` and `for` turned into what the event holds."""
    body = dict(body)
    when, span, until = body.pop("when", None), body.pop("for", None), body.pop("until", None)
    try:
        if until is not None:
            body["until_ms"] = moment.ahead(_time("until", until), now_ms, time_zone)
    except ValueError as fault:
        text = str(fault)
        raise ValueError(text if text.startswith("until:") else f"until: {text}") from fault
    try:
        if when is not None:
            body["when_ms"] = moment.typed(_time("when", when), now_ms, time_zone)
        if span is not None:
            body["for_s"] = moment.span_s(span) if isinstance(span, str) else span
    except ValueError as fault:
        key = "when" if when is not None and "when_ms" not in body else "for"
        text = str(fault)
        raise ValueError(text if text.startswith(f"{key}:") else f"{key}: {text}") from fault
    return body


def _time(key: str, value: Any) -> str:
    """A time's text, were it empty: what a time may be is for `moment` to say."""
    return value if isinstance(value, str) else _text(key, value)


def _unknown(what: str, site: Site, known: list[str]) -> str:
    shown = ", ".join(known[:12]) + (" …" if len(known) > 12 else "")
    return f"{site.name} has no {what}; it has {shown or 'none at all'}"


def _kiln_fault(event: KilnWorked) -> str | None:
    if event.what not in KILN_WORK:
        return f"what: {_show(event.what)} is not one of {', '.join(KILN_WORK)}"
    if (event.what == "moisture") != (event.moisture_wb is not None):
        return "moisture_wb: belongs to moisture, and moisture needs it (% of the wet weight)"
    return None


def _word_fault(event: Event) -> str | None:
    if isinstance(event, KilnWorked):
        return _kiln_fault(event)
    if isinstance(event, Answered) and event.answer not in ANSWERS:
        return f"answer: {_show(event.answer)} is not one of {', '.join(ANSWERS)}"
    if isinstance(event, Quieted) and not 0 < event.for_s <= LONGEST_QUIET_S:
        return _no_span(event.for_s, LONGEST_QUIET_S)
    if isinstance(event, CheckedIn) and event.for_s is not None and not 0 < event.for_s <= LONGEST_INSIDE_S:
        return _no_span(event.for_s, LONGEST_INSIDE_S)
    if isinstance(event, Stood) and event.stand not in STANDS:
        return f"stand: {_show(event.stand)} is not one of {', '.join(STANDS)}"
    if isinstance(event, Voided | Ordered) and not event.why:
        return "why missing: others will wonder"
    return None


def _no_span(given_s: float, most_s: float) -> str:
    return (
        f"for_s: {given_s:g} s ({given_s / 3600:.3g} h) is not above 0 and at most {most_s:.0f} s "
        f"({most_s / 3600:g} h)"
    )


def _order_fault(event: Event, now_ms: int) -> str | None:
    """An order has an end, and that is not behind us and not days ahead."""
    if not isinstance(event, Ordered) or event.when_ms is not None:
        return None
    if not now_ms < event.until_ms <= now_ms + LONGEST_ORDER_MS:
        until = moment.rfc3339(event.until_ms)
        return f"until: {until} is not within the next {LONGEST_ORDER_MS // 3_600_000} h"
    return None


@cache
def _fields(kind: type) -> dict[str, tuple[type, bool]]:
    """Each field's name with its type (None left out) and whether it must be given."""
    hints = typing.get_type_hints(kind)
    return {
        field.name: (_bare(hints[field.name]), field.default is dataclasses.MISSING)
        for field in dataclasses.fields(kind)
    }


def _bare(hint: Any) -> type:
    if typing.get_origin(hint) in (types.UnionType, typing.Union):
        hint = next(part for part in typing.get_args(hint) if part is not types.NoneType)
    return typing.cast(type, hint)


def _value(key: str, value: Any, kind: type) -> Any:
    if kind is str:
        return _text(key, value)
    if isinstance(value, bool) or not isinstance(value, int if kind is int else int | float):
        raise ValueError(f"{key}: {_show(value)}: expected a {'whole ' if kind is int else ''}number")
    # Beyond this no float is exact, and a database's whole number would overflow.
    if abs(value) > 10**15 or not math.isfinite(value):
        raise ValueError(f"{key}: {_show(value)}: expected a number of a sensible size")
    if key in ("when_ms", "until_ms") and not _EARLIEST_MS <= value <= _LATEST_MS:
        raise ValueError(f"{key}: {value}: expected Unix milliseconds")
    return value if kind is int else float(value)


def _text(key: str, value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError(f"{key}: {_show(value)}: expected text")
    most = LONGEST_NOTE if key == "note" else LONGEST_TEXT
    if not value.strip() or len(value) > most or not value.isprintable():
        raise ValueError(f"{key}: {_show(value)}: expected 1 to {most} printable characters")
    return value


def _show(value: Any) -> str:
    try:
        return repr(value)[:60]
    except (ValueError, RecursionError):
        return f"a {type(value).__name__}"
