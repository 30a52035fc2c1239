"""People's words for levels, states and kinds. The standard's state names stay in JSON."""

from __future__ import annotations

from textwrap import wrap
from typing import Any, NamedTuple

from gateway.core import moment
from gateway.core.site import Site
from gateway.core.wording.screen import WRONG

#: A phone's terminal has some 48 columns; an id has a third of them.
ID_WIDTH = 16
LEVELS = {
    "low": "cold",
    "aim": "as wanted",
    "turn_at": "warm, turn",
    "high": "HOT",
    "urgent": "HOT, URGENT",
}
ALARMS = WRONG | {
    "bed_hot": "too hot",
    "bed_low": "cold",
    "kiln_fire": "FIRE? ring the fire service",
    "steep_drain": "to be drained",
    "steep_fill": "to be filled",
    "gas_high": "gas, stay out",
    "gas_over_range": "gas, more than the probe can show",
    "probe_clock": "its times contradict each other",
}
PROBE_STATES = {
    "alive": "heard",
    "late": "late",
    "silent": "not heard",
    "waiting": "not heard yet",
    "stuck": "stuck",
    "not_back": "not back in the grain",
    "high": "over the grain",
    "sentinel": "sends a fault value",
    "jumping": "jumps",
    "noisy": "unrestful",
    "low": "reads too low",
    "drifting": "off from the others",
    "off": "off from hand thermometer",
    "out_of_service": "out of service",
}
UNITS = {"temperature": "°C", "humidity": "%RH", "co2": "ppm", "co": "ppm"}
UNITS |= {"pressure_difference": "Pa", "air_flow": "m³/s"}
SHOWN_UNITS = {"Cel": "°C", "C": "°C", "K": "K"}
OUTCOMES = {"delivered": "reached", "failed": "not reached", "gone": "phone is gone"}
WITHDRAWN = {"newer": "a newer one went", "answered": "not needed any more", "gone": "phone is gone"}
TURN_STATES = {
    "flagged": "does not fit what is known, see by daylight",
    "void": "taken back",
    "withdrawn": "the probes show now that it was none",
    "perhaps": "perhaps",
    "nobody recorded it": "nobody recorded it",
    "probes did not show it": "probes did not show it",
}
SOURCES = {"recorded": "recorded", "seen": "seen by probes", "both": "recorded and seen"}


class Eyes(NamedTuple):
    """Who looks: the site's names and local time, as of `now_ms`."""

    site: Site
    now_ms: int

    def time(self, at: str | None) -> str:
        """A document's moment as local time; a dash for none."""
        return "–" if at is None else moment.local(moment.parse(at), self.site.time_zone, self.now_ms)

    def place(self, place: str | None) -> str:
        """The name of a place."""
        known = self.site.place.get(place or "")
        return known.name if known else (place or "")

    def subject(self, row: dict[str, Any]) -> str:
        """What an alarm is about: a place, a probe with its place, or the gateway."""
        if row["place"] is not None and not row["kind"].startswith("probe_"):
            return self.place(row["place"])
        if row["probe"] is not None:
            probe = self.site.probe.get(row["probe"])
            return f"{row['probe']}, {self.place(probe.place)}" if probe else str(row["probe"])
        return self.place(row["place"]) or "Gateway"

    def who(self, person: str | None) -> str:
        """The name of a person."""
        known = self.site.person.get(person or "")
        return known.name if known else (person or "")


def alarm_kind(kind: str) -> str:
    """What is wrong, in words."""
    return ALARMS.get(kind) or kind.removeprefix("gateway_").removeprefix("gas_").replace("_", " ")


def number(value: float | None, unit: str | None, digits: int = 1) -> str:
    """A number with its unit; a dash for none. Whole where the number is large."""
    if value is None:
        return "–"
    unit = SHOWN_UNITS.get(unit or "", unit or "")
    text = f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.{digits}f}"
    return f"{text} {unit}".strip()


def count(number: int, noun: str) -> str:
    """`1 bed`, `2 beds`."""
    return f"{number:,} {noun}" if number == 1 else f"{number:,} {noun}s"


def broken(name: str) -> str:
    """A long id or topic in lines that a narrow screen has room for, broken where it is joined."""
    if len(name) <= ID_WIDTH:
        return name
    return "\n".join(wrap(name.replace("/", "/ "), ID_WIDTH, break_on_hyphens=True)).replace("/ ", "/")


def size(size_bytes: int) -> str:
    """Bytes for people."""
    value = float(size_bytes)
    for unit in ("B", "kB", "MB", "GB"):
        if value < 1000:
            return f"{value:.0f} {unit}"
        value /= 1000
    return f"{value:.1f} TB"


def span(seconds: float) -> str:
    """A span for people: 40 s, 12 min, 3 h, 2 days."""
    for limit, divisor, unit in ((120, 1, "s"), (7200, 60, "min"), (172_800, 3600, "h")):
        if seconds < limit:
            return f"{seconds / divisor:.0f} {unit}"
    return f"{seconds / 86_400:.0f} days"
