"""How long the page of a bed takes over seven days: twenty probes each 10 s, ninety days in the store.

    python -m tests.bench chart [--probes 20] [--every-s 10] [--times 60]

The last seven days are raw, as a site has them that keeps a week; the days before are put in as what is left
of readings that were let go. The last minute is not summed yet, as live. The page is made whole: from the
store, the judge's state and the template, without HTTP.
"""

import argparse
import gc
import statistics
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from random import Random
from typing import Any, TypeVar

from gateway.core import engine
from gateway.core.inputs import Cast, Entry, Input, SiteChanged, Started
from gateway.core.reading import OWN_TIME, Reading
from gateway.core.site import Floor, Place, Probe, Site
from gateway.core.state import State
from gateway.edges.sqlite import Reader, Writer, open_reader, open_writer
from gateway.live.retention import MANY
from gateway.web.given import Account

Seen = TypeVar("Seen")
HOUR_MS = 3_600_000
DAYS, RAW_DAYS = 90, 7
#: 2026-03-09 06:00 UTC.
NOW_MS = 1_773_036_000_000
#: What was let go: rows of one probe in one of the two tables of sums.
_OLD = """
    WITH RECURSIVE tally(i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM tally WHERE i + 1 < ?)
    INSERT INTO {table} SELECT ?, ? + i, {count}, 16.5, 1000, 1, 16.0, 17.0, 16.5 * {count} FROM tally
"""


def options(parser: argparse.ArgumentParser) -> None:
    """How many probes hang in the bed, how often they speak, how often the page is asked for."""
    parser.add_argument("--probes", type=int, default=20)
    parser.add_argument("--every-s", type=int, default=10)
    parser.add_argument("--times", type=int, default=60)


def run(chosen: argparse.Namespace) -> dict[str, Any]:
    """Milliseconds for a page, one after another; and what reading the same span by the minute takes."""
    here = _site(chosen.probes, chosen.every_s)
    with tempfile.TemporaryDirectory() as name:
        writer = open_writer(Path(name), site_id="bench", clock_kind="wall", reserve_bytes=4096)
        step_ms = _fill(writer, here, chosen.every_s)
        with closing(open_reader(Path(name))) as reader:
            given = _Given(here, reader)
            _page(given)  # the templates are compiled once
            gc.collect()
            gc.freeze()  # as the daemon does once its page is made (gateway/live/web.py)
            took, worked = zip(*(_page(given) for _ in range(chosen.times)), strict=True)
            by_minute = [_by_minute(reader, here) for _ in range(3)]
            gc.unfreeze()
        writer.close()
    return {
        "probes": chosen.probes,
        "every_s": chosen.every_s,
        "raw_readings": RAW_DAYS * 86_400 // chosen.every_s * chosen.probes,
        "days": DAYS,
        "times": chosen.times,
        "p50_ms": round(statistics.median(took), 1),
        "p95_ms": round(statistics.quantiles(took, n=20)[-1], 1),
        "cpu_p50_ms": round(statistics.median(worked), 1),
        "cpu_p95_ms": round(statistics.quantiles(worked, n=20)[-1], 1),
        "reading_by_minute_ms": round(statistics.median(by_minute), 1),
        "summing_longest_ms": round(step_ms, 1),
        "scaling": "grows with the probes of the bed shown and the quarters of the span (672 a week each); "
        "200 probes are ten such beds and a page shows one, its rows sought by probe and time, so ten times "
        "the store is no more rows to read; only a minute's readings, not summed yet, are looked through",
    }


class _Given:
    """What the page is given: a bed's state and the store."""

    def __init__(self, site: Site, reader: Reader) -> None:
        self._site, self._reader, self._state = site, reader, engine.new()
        cast = Cast("bed", "1", when_ms=NOW_MS - 170 * HOUR_MS)
        inputs: list[Input] = [Started("bench"), SiteChanged(site), cast]
        inputs += [Reading(one.id, NOW_MS - 1000, 16.5, OWN_TIME) for one in site.probes]
        engine.advance(
            self._state, [Entry(n, NOW_MS, NOW_MS, one) for n, one in enumerate(inputs, 1)], NOW_MS
        )

    def site(self) -> Site:
        return self._site

    def now_ms(self) -> int:
        return NOW_MS

    def real_ms(self) -> int:
        return NOW_MS

    def ask(self, view: Callable[[State], Seen]) -> Seen:
        return view(self._state)

    def reader(self) -> Reader:
        return self._reader

    def record(self, word: str, body: dict[str, Any]) -> int:
        raise ValueError("nothing is written down here")

    def facts(self) -> dict[str, Any]:
        return {}


def _site(probes: int, every_s: int) -> Site:
    return Site(
        "bench", "Quern Hill Maltings", "UTC",
        floors=(Floor("lower", 20.0),),
        places=(Place("bed", "bed", "Bed A", "lower", 0.0, 20.0),),
        probes=tuple(
            Probe(f"t{i:03}", "bed", "temperature", "Cel", f"qh/{i}", float(every_s),
                  height_cm=3.0 + i % 4, at_m=i * 20.0 / probes)
            for i in range(probes)
        ),
    )  # fmt: skip


def _page(given: _Given) -> tuple[float, float]:
    """Ms by the clock, and of the processor: the first is longer where others use the machine, too."""
    from gateway.web import turn_page  # here: the page's libraries are no part of what others measure

    began_s, own_s = time.perf_counter(), time.thread_time()
    reply = turn_page.get(given, Account("vic", "viewer"), "/bed/bed", {"span": "week"}, "t")
    took = (time.perf_counter() - began_s) * 1000, (time.thread_time() - own_s) * 1000
    if reply.status != 200 or reply.html.count("<path") < len(given.site().probes):
        raise RuntimeError("the page does not show every probe")
    return took


def _by_minute(reader: Reader, site: Site) -> float:
    began_s = time.perf_counter()
    with reader.snapshot():
        for probe in site.probes:
            reader.minutes(probe.id, NOW_MS - 168 * HOUR_MS, NOW_MS, 20_000)
    return (time.perf_counter() - began_s) * 1000


def _fill(writer: Writer, site: Site, every_s: int) -> float:
    """Ninety days; the longest step of summing, in ms."""
    db, longest_s = writer._db, 0.0
    db.execute("PRAGMA synchronous = OFF")  # reading is measured here, not the speed of the disk
    from_ms = NOW_MS - RAW_DAYS * 24 * HOUR_MS
    for at_ms, batch in _batches(site, from_ms, every_s):
        if at_ms >= NOW_MS - 60_000:
            longest_s = max(longest_s, _sum_up(writer))
        with writer.atomic():
            writer.add_readings(at_ms, at_ms, batch)
    for table, width_ms in (("minute", 60_000), ("quarter", 900_000)):
        rows = (DAYS - RAW_DAYS) * 24 * HOUR_MS // width_ms
        sql = _OLD.format(table=table, count=width_ms // (every_s * 1000))
        with writer.atomic():
            for (probe,) in db.execute("SELECT id FROM probe").fetchall():
                db.execute(sql, (rows, probe, from_ms // width_ms - rows))
    return longest_s * 1000


def _sum_up(writer: Writer) -> float:
    """Everything so far, in steps as large as the daemon makes them at most; the longest in seconds."""
    longest_s, done = 0.0, MANY
    while done == MANY:
        began_s = time.perf_counter()
        with writer.atomic():
            done = writer.add_quarters(MANY)
        longest_s = max(longest_s, time.perf_counter() - began_s)
    return longest_s


def _batches(site: Site, from_ms: int, every_s: int) -> Iterator[tuple[int, list[Reading]]]:
    """All probes' readings of a minute at a time, in order; the last minute comes by itself."""
    draw, step_ms = Random("chart"), every_s * 1000
    for at_ms in range(from_ms, NOW_MS, 60_000):
        yield (
            at_ms,
            [
                Reading(
                    probe.id, ms, 15.0 + (probe.height_cm or 0.0) / 9 + round(draw.gauss(0, 0.2), 2), OWN_TIME
                )
                for ms in range(at_ms, at_ms + 60_000, step_ms)
                for probe in site.probes
            ],
        )
