"""Figures, times and names in a message, and how a message that is too long gives up its parts."""

from __future__ import annotations

import re
from math import isfinite
from typing import NamedTuple

from gateway.core.finding import Finding
from gateway.core.people import local
from gateway.core.site import Site
from gateway.core.wording import gsm

_HOUR_MS = 3_600_000
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
#: Words that are never said to people: they promise too much, or are the workshop's and not the floor's.
NEVER = re.compile(
    r"\b(safe|all[- ]?clear|clear(ed)?|ok|resolved|critical|anomal(y|ies|ous)|thresholds?|offline|nodes?"
    r"|unacknowledged|predict(ed|s|ion)?|optimal|journal(s|led)?|mirror(s|ed)?|settled?|replay(s|ed)?)\b",
    re.IGNORECASE,
)
#: A value older than this is told with its time (ours: twice the slowest probes' usual interval).
OLD_MS = 1_200_000
#: A bed changing by less than this in an hour is called steady (ours: below a probe's own noise).
STEADY_PER_H = 0.05


class Part(NamedTuple):
    """A piece of a message. The highest `drop` goes first and leaves `short` behind; 0 never goes."""

    text: str
    drop: int = 0
    short: str = ""


def fit(parts: list[Part], ends: list[Part], most: int = gsm.MOST) -> str:
    """The parts and then the ends, all of sendable letters, as one text of at most `most` septets.

    They go from the highest `drop` down until the text fits; then the room that is left is used again. What
    is still too long is cut before the ends: how to answer, and the number, are never cut.
    """
    kept = [*parts, *ends]
    told = list(kept)
    order = sorted((at for at, part in enumerate(kept) if part.drop), key=lambda at: -told[at].drop)
    gone = []
    for at in order:
        if _cost(kept) <= most:
            break
        kept[at] = Part(told[at].short)
        gone.append(at)
    for at in reversed(gone):
        whole = [*kept[:at], told[at], *kept[at + 1 :]]
        kept = whole if _cost(whole) <= most else kept
    end = "".join(part.text for part in kept[len(parts) :])
    return gsm.clip(_joined(kept[: len(parts)]), most - (gsm.septets(end) or 0)) + end


def _cost(parts: list[Part]) -> int:
    return gsm.septets(_joined(parts)) or 0


def _joined(parts: list[Part]) -> str:
    return "".join(part.text for part in parts).strip()


class Told:
    """One finding with its site and moment: gives the words a message is made of, each sendable and short."""

    def __init__(self, finding: Finding, site: Site, at_ms: int) -> None:
        self.finding, self.site, self.at_ms = finding, site, at_ms
        place = site.place.get(finding.subject.place or "")
        self.place = gsm.name(place.name or place.id if place else finding.subject.place or "No place", 20)
        self.piece = gsm.name(finding.piece, 8) if finding.piece else ""
        self.probe = gsm.name(finding.subject.probe or finding.hottest_probe or "?", 16)

    def loud(self) -> str:
        """The place in capitals."""
        return gsm.name(self.place.upper(), 20)

    def value(self) -> str:
        """The value with its unit, or "no value"."""
        return figure(self.finding.value, self.finding.unit)

    def last_value(self) -> str:
        """The value, and when it was measured where that is long ago."""
        at_ms, value = self.finding.measured_at_ms, self.value()
        old = self.finding.value is not None and at_ms is not None and self.at_ms - at_ms > OLD_MS
        return f"{value} at {self.time(at_ms)}" if old else value

    def limit(self) -> str:
        """The limit without its unit."""
        return bare(self.finding.limit, self.finding.unit)

    def time(self, ms: int | None) -> str:
        """HH:MM by the site's clock, with the day where it is not within 20 hours; empty for None."""
        # Nothing was turned before 1970 or will be after 6400: such a time is a fault and is not told.
        if ms is None or not 0 <= ms < 2**47:
            return ""
        wall = local(self.site.time_zone, ms)
        near = abs(ms - self.at_ms) < 20 * _HOUR_MS
        return f"{wall:%H:%M}" if near else f"{_DAYS[wall.weekday()]} {wall:%H:%M}"

    def trend(self) -> str:
        """ "up 0.9 an hour", "down 0.4 an hour", "steady"; empty where unknown."""
        slope = self.finding.trend_per_h
        if slope is None or not isfinite(slope):
            return ""
        if abs(slope) < STEADY_PER_H:
            return "steady"
        size = bare(abs(slope), self.finding.unit)
        return f"{'up' if slope > 0 else 'down'} {size} an hour"

    def drift(self) -> str:
        """The trend in one word."""
        return {"u": "rising", "d": "falling", "s": "steady", "": ""}[self.trend()[:1]]

    def next_limit(self) -> str:
        """ "25 by 05:20", where the next limit is less than a day ahead."""
        at_ms, limit = self.finding.next_at_ms, self.finding.next_limit
        if at_ms is None or limit is None or not 0 < at_ms - self.at_ms < 24 * _HOUR_MS:
            return ""
        return f"{bare(limit, self.finding.unit)} by {self.time(at_ms)}"

    def day(self) -> str:
        """ " day 4", or nothing."""
        day = self.finding.day
        return f" day {day}" if day is not None and 0 <= day < 1000 else ""

    def cast(self) -> str:
        """Says so where the grain's cast was never recorded."""
        unknown = self.finding.piece is None and self.finding.day is None
        return "no cast recorded" if unknown else ""

    def turned(self, lead: str = " Last turned ", end: str = ".") -> str:
        """ " Last turned 20:55.", or nothing."""
        when = self.time(self.finding.last_turned_ms)
        return f"{lead}{when}{end}" if when else ""

    def detail(self) -> str:
        """What the rule adds, if it is fit to be told to people."""
        said = gsm.name(self.finding.detail, 48) if self.finding.detail else ""
        return "" if said == self.cast() or NEVER.search(said) else said

    def gas(self) -> str:
        """Which gas the finding's probe measures: CO2, CO, or gas where it is not known."""
        ids = (self.finding.subject.probe, self.finding.hottest_probe)
        known = next((self.site.probe[one] for one in ids if one in self.site.probe), None)
        quantity = known.quantity if known else "co2" if self.finding.unit == "ppm" else ""
        return {"co2": "CO2", "co": "CO"}.get(quantity, "Gas")

    def since(self, ms: int | None) -> str:
        """ " since 01:40", or nothing."""
        when = self.time(ms)
        return f" since {when}" if when else ""


def figure(value: float | None, unit: str | None) -> str:
    """A measured value as people read it: 22.6 C, 18,000 ppm; "no value" where there is none."""
    if value is None or not isfinite(value):
        return "no value"
    if unit == "ppm":
        return f"{_ppm(value)} ppm"
    name = {"Cel": " C", "%RH": " %"}.get(unit or "", "")
    return f"{value:.1f}{name}" if abs(value) < 99_999 else "off scale"


def bare(value: float | None, unit: str | None) -> str:
    """A limit or a rate without its unit: 22, 22.5, 5,000."""
    if value is None or not isfinite(value):
        return "unknown"
    if unit == "ppm":
        return _ppm(value)
    return f"{round(value, 1):g}" if abs(value) < 99_999 else "off scale"


def _ppm(value: float) -> str:
    return f"{value:,.0f}" if abs(value) < 9_999_999 else "off scale"
