"""Journal entries and effects as points of the site's time-series server, in line protocol.

For whoever queries that server. Numbers and codes only: names of people, reasons and other free text stay in
the store. Every value is a float, every time Unix milliseconds, UTC; every point has the tag `site`. The same
input always gives the same point (measurement, tags, time, values), so that writing it twice changes nothing.

`reading`: one for each reading kept, at the time it was measured.
    Tags `place` and `quantity` (as the site file in force when it came said), `probe`.
    `value`: as the probe sent it, in the fixed unit of its quantity: temperature degrees Celsius, humidity
    %RH, co2 and co ppm (by volume), pressure_difference Pa, air_flow m3/s. Not calibrated: the calibrated
    value is gain x value + offset with the probe's `gain` and `offset` of the site file, so that a later
    calibration holds for the past too.
    `battery`: as the probe sent it, where it did. `flags`: only where not 0; the sum of 2 kept by the broker
    from before, 4 at or beyond the upper end of the instrument (the truth is at least this), 8 the lower end,
    16 lies in the future while the gateway's clock was not sure.
`alarm`: one for each step in an alarm's life, at the time of the step.
    Tags `kind`, `level`, `place`, `priority`, `probe`, `signal` (what happened), `state` (after it), `unit`.
    `number` (of the alarm, as on the phone), `occurrence`, `active` (0 once it is normal again, else 1),
    `late` (1: found in old readings, called nobody), `value` and `limit` in `unit`.
`turn`: one for each time something new is known of a turn, at the time it became known; of several points
    with one `turn` number the newest holds.
    Tags `place` (the bed), `source`, `state`.
    `turn`, `began_ms` and `ended_ms` (Unix ms), `from_m`, `to_m` (metres along the floor), `sureness` (0 to
    1), `fall_k`, `spread_before_k`, `spread_after_k` (kelvin).
`event`: one for each thing somebody recorded, at the time it was recorded.
    Tags `kind` (cast, turned, kiln, answer …), `place`, `to` (where it went), `out_of` (which steep it was
    cast out of), `probe`, `code` (what was done at a kiln, the answer, a steep's stand).
    `n` (journal number), `ago_s` (how long before the recording it happened), and what was recorded with it
    in numbers, under the names of the command line: `from_m`, `to_m`, `for_s`, `alarm`, …, and `piece` where
    that is a number.

Of two steps, turns or events in one millisecond the later goes one millisecond on, so that both are kept.
Line protocol: InfluxDB v2 reference, https://docs.influxdata.com/influxdb/v2/reference/syntax/line-protocol/.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from gateway.core.inputs import VERBS, Entry, Event, SiteChanged, event_to_plain
from gateway.core.reading import OWN_TIME, Reading
from gateway.core.site import Site
from gateway.core.timeline import REBASE_MS

Tags = Iterable[tuple[str, str | None]]
Fields = Iterable[tuple[str, float | None]]

# A backslash before a comma, an equals sign, a space or the end of a value reads differently from server to
# server, and a line end ends the point.
_UNWRITABLE = re.compile(r"[\x00-\x1f\x7f\\\u2028\u2029]")
_IN_NAME = re.compile(r"([, ])")
_IN_TAG = re.compile(r"([,= ])")

#: What of an event names a place or a probe, and under which tag; the second where the first is taken.
_EVENT_TAGS = {
    "bed": ("place", "place"), "place": ("place", "place"), "kiln": ("place", "to"), "to": ("to", "to"),
    "steep": ("place", "out_of"), "probe": ("probe", "probe"),
}  # fmt: skip
#: What of which event is a code. All other text is left out: somebody typed it.
_EVENT_CODES = {("kiln", "what"), ("answer", "answer"), ("steep-stand", "kind")}
_EVENT_LEFT_OUT = frozenset({"when_ms", "by", "why"})
_ALARM_TAGS = ("kind", "level", "place", "priority", "probe", "state", "unit")
_TURN_FIELDS = ("turn", "from_m", "to_m", "sureness", "fall_k", "spread_before_k", "spread_after_k")


def line(measurement: str, tags: Tags, fields: Fields, at_ms: int) -> str | None:
    """One line, without its end; None where no field has a finite value.

    Tags come sorted, those without a value are left out; what no server reads alike (line ends and other
    control characters, backslashes) is replaced by an underscore.
    """
    values = ",".join(f"{_tag(key)}={_number(v)}" for key, v in fields if v is not None and math.isfinite(v))
    return f"{_head(measurement, tags)} {values} {at_ms}" if values else None


def _head(measurement: str, tags: Tags) -> str:
    kept = sorted((_tag(key), _tag(value)) for key, value in tags if value)
    name = _IN_NAME.sub(r"\\\1", _UNWRITABLE.sub("_", measurement))
    return "".join([name, *(f",{key}={value}" for key, value in kept)])


def _tag(text: str) -> str:
    return _IN_TAG.sub(r"\\\1", _UNWRITABLE.sub("_", text))


def _number(value: float) -> str:
    return repr(float(value)).removesuffix(".0")


class Marks(NamedTuple):
    """The times last given to an event, an alarm's step and a turn, in ms; kept with the mirror's place."""

    event_ms: int = 0
    alarm_ms: int = 0
    turn_ms: int = 0


class Pen:
    """Writes lines in the order of the journal. `site` is the one in force before the next entry."""

    def __init__(self, site_id: str, site: Site | None = None, marks: Marks | None = None) -> None:
        """`site_id` is the store's; the site file may not have been journalled yet."""
        self._site_id = site_id
        self._site = site
        self.marks = marks or Marks()
        self._heads: dict[str, str] = {}

    def entry(self, entry: Entry) -> str | None:
        """The line of a journal entry; None for what is not mirrored (the gateway's own inputs)."""
        what = entry.what
        if isinstance(what, Reading):
            return self._reading(what)
        if isinstance(what, SiteChanged):
            self._site = what.site
            self._heads = {}
        return self._event(entry, what)

    def effect(self, kind: str, body: Mapping[str, Any]) -> str | None:
        """The line of an effect as kept (`ports.KeptEffect`); None for notices, which stay in the store."""
        if kind == "alarm":
            return self._alarm(body)
        return self._turn(body) if kind == "turn" else None

    def _reading(self, what: Reading) -> str | None:
        if not math.isfinite(what.value):
            return None
        head = self._heads.get(what.probe)
        if head is None:
            head = self._heads[what.probe] = self._reading_head(what.probe)
        line = f"{head} value={_number(what.value)}"
        if what.battery is not None and math.isfinite(what.battery):
            line += f",battery={_number(what.battery)}"
        flags = what.flags & ~OWN_TIME
        return f"{line},flags={flags} {what.measured_at_ms}" if flags else f"{line} {what.measured_at_ms}"

    def _reading_head(self, probe: str) -> str:
        known = self._site.probe.get(probe) if self._site else None
        place, quantity = (known.place, known.quantity) if known else (None, None)
        tags = [("site", self._site_id), ("probe", probe), ("place", place), ("quantity", quantity)]
        return _head("reading", tags)

    def _event(self, entry: Entry, event: Event) -> str | None:
        kind, body = event_to_plain(event)
        if kind not in VERBS:
            return None
        happened_ms = body.get("when_ms")
        tags = {"site": self._site_id, "kind": kind}
        fields: dict[str, float | None] = {"n": entry.n}
        fields["ago_s"] = 0.0 if happened_ms is None else (entry.at_ms - happened_ms) / 1000
        for key, value in body.items():
            if key in _EVENT_LEFT_OUT or value is None:
                continue
            if isinstance(value, str):
                if key in _EVENT_TAGS:
                    first, second = _EVENT_TAGS[key]
                    tags[second if first in tags else first] = value
                elif (kind, key) in _EVENT_CODES:
                    tags["code"] = value
                elif key == "piece" and value.isascii() and value.isdigit():
                    fields[key] = float(value[:15])
            elif isinstance(value, int | float):
                fields[key] = float(value)
        at_ms = _spaced(self.marks.event_ms, entry.at_ms)
        self.marks = self.marks._replace(event_ms=at_ms)
        return line("event", tags.items(), fields.items(), at_ms)

    def _alarm(self, body: Mapping[str, Any]) -> str | None:
        tags = [("site", self._site_id), ("signal", body["change"]["signal"])]
        tags += [(key, body[key]) for key in _ALARM_TAGS]
        fields = [
            ("number", body["number"]),
            ("occurrence", body["occurrence"]),
            ("active", 0.0 if body["state"] == "normal" else 1.0),
            ("late", float(body["late"])),
            ("value", body["value"]),
            ("limit", body["limit"]),
        ]
        at_ms = _spaced(self.marks.alarm_ms, body["change"]["at_ms"])
        self.marks = self.marks._replace(alarm_ms=at_ms)
        return line("alarm", tags, fields, at_ms)

    def _turn(self, body: Mapping[str, Any]) -> str | None:
        tags = [
            ("site", self._site_id),
            ("place", body["bed"]),
            ("source", body["source"]),
            ("state", body["state"]),
        ]
        fields = [(key, body[key]) for key in _TURN_FIELDS]
        fields += [("began_ms", body["began_at_ms"]), ("ended_ms", body["ended_at_ms"])]
        at_ms = _spaced(self.marks.turn_ms, body["known_at_ms"])
        self.marks = self.marks._replace(turn_ms=at_ms)
        return line("turn", tags, fields, at_ms)


def effect_at_ms(kind: str, body: Mapping[str, Any]) -> int:
    """When an effect came about, Unix ms by the gateway's clock."""
    at_ms = body["change"]["at_ms"] if kind == "alarm" else body["known_at_ms" if kind == "turn" else "at_ms"]
    return int(at_ms)


def line_at_ms(line: str) -> int:
    """The time of a line of this module, Unix ms."""
    return int(line[line.rindex(" ") :])


def _spaced(last_ms: int, at_ms: int) -> int:
    """A time of its own after the last one, unless the clock has been set back since."""
    return last_ms + 1 if last_ms - REBASE_MS < at_ms <= last_ms else at_ms
