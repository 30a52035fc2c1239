"""How pages write moments, ages, temperatures and names: the site's clock, and the reader's own unit."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime

from gateway.core import people
from gateway.core.site import Site

_MINUTE_MS, _HOUR_MS = 60_000, 3_600_000
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
#: A figure and its unit stay on one line (U+00A0).
_NO_BREAK = "\u00a0"
_NEAR_MS = 20 * _HOUR_MS
_RANGE = re.compile(r"(-?\d+(?:\.\d+)?)-(\d+(?:\.\d+)?) C\b")
_HOURS = re.compile(r"(\d\d:\d\d)-(\d\d:\d\d)")
_METRES = re.compile(r"\b(\d+(?:\.\d+)?)-(\d+(?:\.\d+)?) m\b")
_ONE = re.compile(r"(-?\d+(?:\.\d+)?) C\b")
_SHUT = re.compile(r", shut ([\d,]+) in (.+)$")
_RATE = re.compile(r"\b(up|down) (\d+(?:\.\d+)?)(?= an hour| since the turn)")
SIGNALS = {
    "raise": "began",
    "rise": "got worse",
    "clear": "reading down",
    "latch": "reading down",
    "answer": "answered",
    "reset": "ended by hand",
    "realarm": "called again",
    "lapse": "ended, nobody answered",
    "shelve": "made quiet",
    "unshelve": "quiet ended",
    "suppress": "held back",
    "unsuppress": "no longer held back",
    "remove": "out of service",
    "restore": "back in service",
    "cant": "cannot come",
    "eased": "eased",
    "all-out": "“all out” said, reading not down yet",
}
ANSWERS = {"going": "going", "heard": "heard", "cant": "can’t", "all-out": "all out"}
QUANTITIES = {
    "temperature": "temperature",
    "humidity": "humidity",
    "co2": "CO2",
    "co": "CO",
    "pressure_difference": "draught (pressure)",
    "air_flow": "air flow",
}
UNITS = {"humidity": "%RH", "co2": "ppm", "co": "ppm", "pressure_difference": "Pa", "air_flow": "m³/s"}


@dataclass(frozen=True, slots=True)
class Say:
    """Writes for one reader: `site`, the time it is (Unix ms), and whether they read Fahrenheit."""

    site: Site
    now_ms: int
    fahrenheit: bool = False

    def wall(self, at_ms: int) -> datetime:
        """The clock on the wall."""
        return people.local(self.site.time_zone, at_ms)

    def clock(self, at_ms: int | None) -> str:
        """HH:MM, with the day where it is not within 20 hours; a dash where unknown."""
        if at_ms is None:
            return "–"
        wall = self.wall(at_ms)
        return f"{wall:%H:%M}" if abs(at_ms - self.now_ms) < _NEAR_MS else f"{self.day(at_ms)} {wall:%H:%M}"

    def day(self, at_ms: int) -> str:
        """Tue 5 Nov; with the year where it is not this one."""
        wall = self.wall(at_ms)
        year = "" if wall.year == self.wall(self.now_ms).year else f" {wall.year}"
        return f"{self.weekday(at_ms)} {wall.day} {_MONTHS[wall.month - 1]}{year}"

    def weekday(self, at_ms: int) -> str:
        """Tue."""
        return _DAYS[self.wall(at_ms).weekday()]

    def full(self, at_ms: int | None) -> str:
        """Tue 5 Nov 02:40."""
        return "–" if at_ms is None else f"{self.day(at_ms)} {self.wall(at_ms):%H:%M}"

    def iso(self, at_ms: int | None) -> str:
        """For the `datetime` of a time element."""
        return "" if at_ms is None else self.wall(at_ms).isoformat(timespec="seconds")

    def ago(self, at_ms: int | None) -> str:
        """ "5 h 10 ago", "in 40 min", "now"."""
        if at_ms is None:
            return "not known"
        apart = self.now_ms - at_ms
        if abs(apart) < _MINUTE_MS:
            return "now"
        return f"{span(apart)} ago" if apart > 0 else f"in {span(-apart)}"

    @property
    def unit(self) -> str:
        """°C or °F."""
        return "°F" if self.fahrenheit else "°C"

    def degrees(self, c: float | None) -> str:
        """The bare figure in the reader's unit, with one decimal."""
        return "–" if c is None else f"{self.scaled(c):.1f}"

    def scaled(self, c: float) -> float:
        """Degrees Celsius in the reader's unit."""
        return c * 1.8 + 32 if self.fahrenheit else c

    def temp(self, c: float | None) -> str:
        """22.6 °C."""
        return "no reading" if c is None else f"{self.scaled(c):.1f}{_NO_BREAK}{self.unit}"

    def limit(self, c: float | None) -> str:
        """22 °C: a limit, without needless decimals."""
        return "–" if c is None else f"{round(self.scaled(c), 1):g}{_NO_BREAK}{self.unit}"

    def band(self, low: float | None, high: float | None) -> str:
        """14.9 to 16.2 °C; one figure where both are the same."""
        if low is None or high is None:
            return self.temp(high if low is None else low)
        if self.degrees(low) == self.degrees(high):
            return self.temp(low)
        return f"{self.degrees(low)} to {self.temp(high)}"

    def rate(self, k_per_h: float | None) -> str:
        """up 0.9 °C an hour, steady."""
        if k_per_h is None:
            return "trend not known yet"
        if abs(k_per_h) < 0.05:
            return "steady"
        size = abs(k_per_h) * (1.8 if self.fahrenheit else 1)
        return f"{'up' if k_per_h > 0 else 'down'} {size:.1f}{_NO_BREAK}{self.unit} an hour"

    def unit_of(self, quantity: str, place_kind: str = "") -> str:
        """The unit in which `value` writes a quantity."""
        if quantity == "temperature":
            return self.unit
        return "%" if quantity == "co2" and place_kind == "bed" else UNITS.get(quantity, "")

    def value(self, value: float | None, quantity: str, place_kind: str = "") -> str:
        """A probe's value with its unit, as the trade writes it: CO2 in grain in per cent."""
        if value is None:
            return "no reading"
        if quantity == "temperature":
            return self.temp(value)
        if quantity == "co2" and place_kind == "bed":
            return f"{value / 10_000:.1f}{_NO_BREAK}%"
        if quantity == "humidity":
            return f"{value:.0f}{_NO_BREAK}%RH"
        return (
            f"{value:,.0f}{_NO_BREAK}ppm"
            if quantity in ("co2", "co")
            else f"{value:.1f}{_NO_BREAK}{UNITS.get(quantity, '')}"
        )

    def amount(self, value: float | None, unit: str | None, probe: str | None = None) -> str:
        """An alarm's value or limit by its unit, or by what its probe measures."""
        if value is None:
            return ""
        known = self.site.probe.get(probe or "")
        quantity = {"Cel": "temperature", "ppm": "co2", "%RH": "humidity"}.get(
            unit or "", known.quantity if known else ""
        )
        kind = self.site.place[known.place].kind if known else ""
        return self.value(value, quantity, kind) if quantity else f"{value:g}"

    def bound(self, value: float | None, unit: str | None, probe: str | None = None) -> str:
        """An alarm's limit as `amount`, degrees without needless decimals."""
        return self.limit(value) if unit == "Cel" else self.amount(value, unit, probe)

    def person(self, who: str | None) -> str:
        """The name of somebody by id; whoever the site file does not know keeps what was written."""
        known = self.site.person.get(who or "")
        return known.name if known else (who or "somebody")

    def place(self, place: str | None) -> str:
        """A place's name by its id."""
        known = self.site.place.get(place or "")
        return known.name if known else (place or "the gateway")

    def said(self, text: str | None) -> str:
        """A line of the judge's in the reader's unit: its degrees are Celsius and read "19 C"."""
        # A figure and its unit, and the two ends of a span, stay on one line: U+00A0, U+2060.
        text = _HOURS.sub("\\1–\u2060\\2", text or "")
        text = _METRES.sub("\\1–\u2060\\2\u00a0m", text)
        if not self.fahrenheit:
            text = _RATE.sub("\\1 \\2\u00a0°C", text)
            return _ONE.sub("\\1\u00a0°C", _RANGE.sub("\\1–\u2060\\2\u00a0°C", text))
        text = _RATE.sub(lambda m: f"{m[1]} {float(m[2]) * 1.8:.1f}\u00a0°F", text)
        text = _RANGE.sub(lambda m: f"{self._f(m[1])}–\u2060{self._f(m[2])}\u00a0°F", text)
        return _ONE.sub(lambda m: f"{self._f(m[1])}\u00a0°F", text)

    def air(self, text: str) -> str:
        """The air in a message's few words, as a sentence: shut means that somebody shuts the room now."""
        told = _SHUT.sub(r"; if the room is shut, \1 ppm in \2", text)
        return told if told.startswith(("Air ", "No ", "Gas ")) else f"Air: {told}"

    def _f(self, figure: str) -> str:
        made = self.scaled(float(figure))
        return f"{made:.1f}" if "." in figure else f"{round(made, 1):g}"


def span(ms: int) -> str:
    """5 h 10, 40 min, 3 d 4 h."""
    minutes = abs(ms) // _MINUTE_MS
    hours, minutes = divmod(minutes, 60)
    if hours >= 48:
        return f"{hours // 24} d {hours % 24} h"
    return f"{hours} h {minutes:02d}" if hours else f"{minutes} min"


def lasting(minutes: float) -> str:
    """Minutes as people say them: 14 min, 1 h 27, 20 h, 3 days."""
    whole = round(minutes)
    if whole < 5 * 60:
        return span(whole * _MINUTE_MS)
    return f"{whole / 60:.0f} h" if whole < 48 * 60 else f"{whole / 1440:.0f} days"


def share(value: float | None) -> str:
    """12 %, or a dash."""
    return "–" if value is None else f"{value * 100:.0f}{_NO_BREAK}%"


def times(count: int) -> str:
    """once, 2 times."""
    return "once" if count == 1 else f"{count:,} times"
