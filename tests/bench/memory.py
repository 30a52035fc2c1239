"""How much memory the daemon takes: 200 probes, each every 10 s, over a real broker for ten minutes."""

import argparse
import random
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

from gateway.edges.sqlite import open_reader
from tests.bench import load
from tests.bench.town import Town, memory_mb, until


def options(parser: argparse.ArgumentParser) -> None:
    """Its own words on the command line."""
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--every-s", type=int, default=10)


def run(chosen: argparse.Namespace) -> dict[str, Any]:
    """Resident memory at the end and at its highest, and how many readings were judged meanwhile."""
    with tempfile.TemporaryDirectory() as folder, Town(Path(folder), chosen.every_s) as town:
        pid = town.start()
        until(lambda: b"connected to" in (town.folder / "daemon.log").read_bytes(), 0.05)
        begin_mb, _ = memory_mb(pid)
        sent = talk(town, chosen.minutes * 60, chosen.every_s)
        reader = open_reader(town.store)
        until(lambda: reader.counts().get("kept", 0) >= sent and _all_judged(reader), 0.1)
        now_mb, most_mb = memory_mb(pid)
        kept = reader.counts()["kept"]
        reader.close()
        town.stop()
    return {
        "probes": len(load.site().probes),
        "every_s": chosen.every_s,
        "minutes": chosen.minutes,
        "readings": kept,
        "begin_mb": round(begin_mb, 1),
        "resident_mb": round(now_mb, 1),
        "highest_mb": round(most_mb, 1),
    }


def _all_judged(reader: Any) -> bool:
    return bool(reader.load_judge()[0].n >= reader.last_stamp()[0])


def talk(town: Town, for_s: float, every_s: int) -> int:
    """Let every probe speak in its turn, evenly spread; how many messages the broker has confirmed."""
    probes, draw, pause = load.site().probes, random.Random(7), threading.Event()
    began, sent = time.monotonic(), 0
    with load.Publisher(town.broker.host, town.broker.port) as out:
        while (now_s := time.monotonic() - began) < for_s:
            due = int(now_s * len(probes) / every_s)
            batch = []
            for number in range(sent, due):
                at_s = time.time()
                value = 16.0 + draw.uniform(-0.3, 0.3)
                topic = probes[number % len(probes)].topic
                batch.append((topic, f'{{"v":{value:.2f},"t":{at_s:.3f}}}'.encode()))
            out.send(batch)
            sent = max(sent, due)
            pause.wait(0.2)
    return sent
