"""What the tests of the mirror share: a store with a bit of everything, and a mirror turned by hand."""

import re
import threading
from collections.abc import Iterable, Sequence
from pathlib import Path

from gateway import mirror
from gateway.core.inputs import Condition, Event, KilnWorked, SiteChanged, Turned
from gateway.core.points import Pen, effect_at_ms
from gateway.core.reading import OWN_TIME, Reading
from gateway.core.site import Place, Probe, Site
from gateway.edges.clock import TopicClock
from gateway.edges.influx import Influx
from gateway.errors import StoreFault
from gateway.ports import Aside, MirrorState
from tests.contracts.store import BEGAN_MS, alarm, notice, reader_of, save, turn, writer_of
from tests.timeseries import Sample

SITE = Site(
    "quern-hill", "Quern Hill Maltings", "Europe/London",
    places=(Place("bed-c", "bed", "Bed C"), Place("floor-1", "room", "Floor 1")),
    probes=tuple(
        Probe(name, place, quantity, unit, f"q/{place}/{name}", 60.0)
        for name, place, quantity, unit in (
            ("c-low", "bed-c", "temperature", "Cel"), ("c-mid", "bed-c", "temperature", "Cel"),
            ("c-top", "bed-c", "temperature", "Cel"), ("f-co2", "floor-1", "co2", "ppm"),
        )
    ),
)  # fmt: skip


def read(line: str) -> tuple[str, dict[str, str], dict[str, float], int]:
    """A line taken apart, written from the reference (backslash before comma, equals sign, space)."""
    head, fields, at = re.split(r"(?<!\\) ", line)
    name, *tags = re.split(r"(?<!\\),", head)
    values = {key: float(value) for key, value in _pairs(re.split(r"(?<!\\),", fields)).items()}
    return _plain(name), _pairs(tags), values, int(at)


def _plain(text: str) -> str:
    return re.sub(r"\\([,= ])", r"\1", text)


def _pairs(parts: list[str]) -> dict[str, str]:
    return {_plain(k): _plain(v) for k, v in (re.split(r"(?<!\\)=", part) for part in parts)}


def samples_of(lines: Sequence[str]) -> set[Sample]:
    """What a server must hold after these lines."""
    found: set[Sample] = set()
    for name, tags, fields, at_ms in map(read, lines):
        key = tuple(sorted(tags.items()))
        found |= {(f"{name}_{field}", key, at_ms, value) for field, value in fields.items()}
    return found


def short(samples: Iterable[Sample]) -> set[Sample]:
    """The same with ten digits of what is no whole number, for a server that keeps about twelve."""
    return {
        (name, tags, at_ms, value if value.is_integer() else float(f"{value:.10g}"))
        for name, tags, at_ms, value in samples
    }


class Rig:
    """A store, a mirror of it to `url`, and a clock that stands until it is moved."""

    def __init__(
        self,
        directory: Path,
        url: str,
        *,
        org: str = "quern",
        bucket: str = "malt",
        token: str = "a token",  # noqa: S107 - made up
        batch: int = 5000,
        newest_days: float | None = None,
    ) -> None:
        self.directory = directory
        self.writer = writer_of(directory)
        self.reader = reader_of(directory)
        self.clock = TopicClock(BEGAN_MS)
        self.said: list[Condition] = []
        self.broken = False  #: the store keeps nothing of the mirror's
        self.series = Influx(url, org, bucket, token, self.clock, timeout_s=0.5)
        self.mirror = mirror.Mirror(
            self.series, f"{url} {org}/{bucket}", self.reader, keep=self.keep, record=self.record,
            clock=self.clock, jitter=lambda: 0.0, batch=batch, alarm_after_s=600.0, newest_days=newest_days,
        )  # fmt: skip
        self._at_ms = BEGAN_MS
        self._turn = threading.Lock()  # in the gateway one thread writes

    def keep(self, state: MirrorState, aside: Sequence[Aside], gone: Sequence[int]) -> None:
        """As the writer's thread does it."""
        if self.broken:
            raise StoreFault("it cannot keep that")
        with self._turn, self.writer.atomic():
            self.writer.save_mirror(state, aside, gone)

    def record(self, event: Event) -> None:
        """As the writer's thread does it."""
        if isinstance(event, Condition):
            self.said.append(event)
        self.event(event)

    def event(self, event: Event) -> int:
        """Commit one event now."""
        with self._turn, self.writer.atomic():
            return self.writer.add_event(self._at_ms, self._at_ms, event).n

    def fill(self, readings: int, began: int = 0) -> None:
        """Commit so many readings, each probe's one a second, 100 in a commit, from second `began` on."""
        names = [probe.id for probe in SITE.probes]
        made = [
            Reading(
                names[k % 4], BEGAN_MS + (began + k // 4) * 1000, round(15 + (k % 997) / 100, 2), OWN_TIME, k
            )
            for k in range(readings)
        ]
        for first in range(0, readings, 100):
            self._at_ms = max(self._at_ms, made[first].measured_at_ms)
            with self._turn, self.writer.atomic():
                self.writer.add_readings(self._at_ms, self._at_ms, made[first : first + 100])

    def everything(self, readings: int = 200) -> None:
        """A site file, readings, what people did, alarms, turns and notices."""
        self.event(SiteChanged(SITE))
        self.fill(readings)
        self.event(Turned("bed-c", 0.0, 12.5, "ben", "early", BEGAN_MS - 60_000))
        self.event(Turned("bed-c", by="ada"))
        self.event(KilnWorked("lit", "kiln-1"))
        steps = [alarm((7, 1)), alarm((7, 2), state="acknowledged", was="unacknowledged", signal="answer")]
        save(self.writer, *steps, notice((7, 3), 1), turn((8, 0), 1), turn((9, 0), 1, state="withdrawn"))

    def pass_s(self, seconds: float) -> None:
        """Let so much time pass for the mirror."""
        self.clock.set_ms(self.clock.wall_ms() + round(seconds * 1000))

    def settle(self, turns: int = 400) -> int:
        """Turn until there is nothing left to write; how many turns that took."""
        for k in range(turns):
            waited_s = self.mirror.turn()
            if self._is_done():
                return k + 1
            self.pass_s(waited_s)
        raise AssertionError(f"not done after {turns} turns: {self.reader.mirror()}")

    def _is_done(self) -> bool:
        state, reader = self.state(), self.reader
        if reader.aside(1, again=True) or reader.effects_in_order(state.place.effect, 1):
            return False
        left = reader.entries_after(state.place.n, 500)
        return len(left) < 500 and all(Pen("").entry(entry) is None for entry in left)

    def expected(self) -> list[str]:
        """The lines of everything in the store, in no order: entries first, then effects."""
        pen = Pen("quern-hill")
        lines = [pen.entry(entry) for entry in self.reader.entries_after(0, 10**9)]
        effects = self.reader.effects_in_order(0, 10**9)
        assert all(effect_at_ms(one.kind, one.body) for one in effects)
        lines += [pen.effect(one.kind, one.body) for one in effects]
        return [line for line in lines if line is not None]

    def state(self) -> MirrorState:
        """The mirror as the store has it."""
        state = self.reader.mirror()
        assert state is not None
        return state

    def close(self) -> None:
        """Close everything but the directory."""
        self.series.close()
        self.reader.close()
        self.writer.close()
