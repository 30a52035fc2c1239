"""The words for an alarm, a notice and a state: the same on the phone, on the page and in the record.

Every text is at most 160 septets of GSM 7-bit letters, so that it goes as one short message on any way to a
phone; every title is at most 40, for a lock screen. A notice's number stands at the end in brackets: it may
arrive twice, and is then known as the same one.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from gateway.core.finding import Finding
from gateway.core.site import Site
from gateway.core.wording import gsm
from gateway.core.wording.calls import ANSWER, answer_part, say_call
from gateway.core.wording.overs import say_over
from gateway.core.wording.parts import Part, Told, fit
from gateway.core.wording.sheet import SHEETS, Sheet, sheet

__all__ = ["SHEETS", "TITLE_MOST", "Line", "Sheet", "Words", "call", "morning", "over", "person", "sheet",
           "test"]  # fmt: skip

TITLE_MOST = 40


class Words(NamedTuple):
    """What a phone shows: the title on the lock screen, the text below it."""

    title: str
    text: str


class Line(NamedTuple):
    """One alarm of the morning list: its number, its finding, and its grade (0 low to 3 highest)."""

    number: int
    finding: Finding
    grade: int


def call(finding: Finding, site: Site, at_ms: int, alarm: int, notice: int) -> Words:
    """The words of a call or a repeat, at a Unix time in ms."""
    told = Told(finding, site, at_ms)
    title, parts = say_call(told)
    return _words(title, parts, [answer_part(told, alarm)], notice)


def over(
    finding: Finding, site: Site, at_ms: int, alarm: int, notice: int, cleared_at_ms: int | None = None
) -> Words:
    """The words when an alarm is over; for gas, that the reading is down and somebody must say all are out.

    `cleared_at_ms` is when the condition ended; for gas the time below the limit is counted from there to
    the newest reading, and the off-delay before it is added, which is what the reading had to stand.
    """
    down_min = None
    if cleared_at_ms is not None and finding.measured_at_ms is not None:
        since_ms = max(0, min(at_ms, finding.measured_at_ms) - cleared_at_ms)
        down_min = int((since_ms / 1000 + site.air.off_delay_s) // 60)
    told = Told(finding, site, at_ms)
    title, parts = say_over(told, down_min)
    gas = finding.subject.kind.startswith("gas_")
    out = Part(f" All out? Reply {alarm} OUT", ANSWER, f" All out: {alarm} OUT")
    end = out if gas else Part(f" Call {alarm} is over.")
    return _words(title, parts, [end], notice)


def morning(lines: Sequence[Line], site: Site, at_ms: int, notice: int) -> Words:
    """The morning list: how many stand, and the gravest by name as far as there is room."""
    order = sorted(lines, key=lambda line: (-line.grade, not line.finding.on, line.number))
    heads = [_head(line, site, at_ms) for line in order]
    texts = (_list(heads, count, notice) for count in range(len(heads), -1, -1))
    text = next(text for text in texts if (gsm.septets(text) or 0) <= gsm.MOST)
    return Words("MORNING LIST", text)


def _list(heads: list[str], count: int, notice: int) -> str:
    more = len(heads) - count
    said = "; ".join(heads[:count] + ([f"{more} more"] if more else []))
    return f"MORNING LIST, {len(heads)} to look at: {said}. ({notice})"


def _head(line: Line, site: Site, at_ms: int) -> str:
    title, _ = say_call(Told(line.finding, site, at_ms))
    head = gsm.clip(f"{line.number} {title}", 48)
    return head if line.finding.on else f"{head} (over)"


def test(site: Site, who: str, notice: int) -> Words:
    """The words of a test call to a person."""
    place, name = gsm.name(site.name or site.id, 40), person(who, site)
    return _words("TEST call", [Part(f"TEST call from {place} to {name}. Nothing is wrong.")], [], notice)


def person(who: str | None, site: Site | None) -> str:
    """A person's name, sendable and short; "somebody" where nobody is named."""
    if not who:
        return "somebody"
    known = site.person.get(who) if site else None
    return gsm.name(known.name if known else who, 20)


def _words(title: str, parts: list[Part], ends: list[Part], notice: int) -> Words:
    return Words(gsm.clip(title, TITLE_MOST), fit(parts, [*ends, Part(f" ({notice})")]))
