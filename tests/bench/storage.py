"""How many bytes a reading takes, raw and by the minute; how long letting old ones go holds the writer."""

import argparse
import random
import tempfile
import time
from pathlib import Path
from typing import Any

from gateway.core.reading import OWN_TIME, Reading
from gateway.edges.sqlite import Writer, open_writer
from gateway.ports import Cursor

BEGAN_MS = 1_730_772_000_000
STEP = 200


def options(parser: argparse.ArgumentParser) -> None:
    """Its own words on the command line."""
    parser.add_argument("--readings", type=int, default=200_000, help="in each of the two stores")


def run(chosen: argparse.Namespace) -> dict[str, Any]:
    """Two sites: 32 probes a minute, and 200 probes each 10 s. One commit a second, as the daemon does."""
    return {
        "readings": chosen.readings,
        "probes_32_every_60_s": _site(32, 60, chosen.readings),
        "probes_200_every_10_s": _site(200, 10, chosen.readings),
    }


def _site(probes: int, every_s: int, count: int) -> dict[str, Any]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        writer = open_writer(folder, site_id="bench", clock_kind="wall", reserve_bytes=4096)
        empty = _used(writer)
        _fill(writer, probes, every_s, count)
        raw = _used(writer) - empty
        longest_s, steps = _let_go(writer)
        minutes = writer._db.execute("SELECT count(*) FROM minute").fetchone()[0]
        left = _used(writer) - empty
        writer.close()
    a_day = probes * 86_400 // every_s
    per_reading, per_minute = raw / count, left / max(1, minutes)
    return {
        "bytes_a_reading": round(per_reading, 1),
        "raw_mb_a_day": round(per_reading * a_day / 1e6, 2),
        "raw_mb_for_90_days": round(per_reading * a_day * 90 / 1e6),
        "bytes_a_minute_and_probe": round(per_minute, 1),
        "by_the_minute_mb_a_year": round(per_minute * probes * 1440 * 365 / max(1, every_s / 60) / 1e6),
        "letting_go_steps": steps,
        "letting_go_longest_ms": round(longest_s * 1000, 1),
    }


def _fill(writer: Writer, probes: int, every_s: int, count: int) -> None:
    writer._db.execute("PRAGMA synchronous = OFF")  # the size is asked for here, not the speed of the disk
    draw = random.Random(3)
    names = [f"bed-{i // 5:02d}-t{i % 5}" for i in range(probes)]
    sent, second = 0, 0
    while sent < count:
        now_ms = BEGAN_MS + second * 1000
        due = min(count, probes * (second + 1) // every_s)
        batch = [
            Reading(
                names[i % probes], now_ms - 200, round(16 + draw.uniform(-1, 1), 2), OWN_TIME, i // probes
            )
            for i in range(sent, due)
        ]
        if batch:
            with writer.atomic():
                writer.add_readings(now_ms, now_ms, batch)
        sent, second = due, second + 1
    n, _, run_ms = writer.last_stamp()
    with writer.atomic():
        writer.save_effects([], Cursor(n, run_ms), b"state")
    writer._db.execute("PRAGMA synchronous = FULL")


def _let_go(writer: Writer) -> tuple[float, int]:
    """Everything, in steps of a size that holds; the longest in seconds."""
    longest_s, steps, passed = 0.0, 0, 1
    while passed:
        began_s = time.perf_counter()
        with writer.atomic():
            passed = writer.let_go(10**15, STEP, mirrored=False)
        longest_s = max(longest_s, time.perf_counter() - began_s)
        steps += 1
    return longest_s, steps


def _used(writer: Writer) -> int:
    """Bytes of the database that hold something."""
    pages = [
        int(writer._db.execute(f"PRAGMA {name}").fetchone()[0])
        for name in ("page_count", "freelist_count", "page_size")
    ]
    return (pages[0] - pages[1]) * pages[2]
