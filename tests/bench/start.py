"""How long from starting the program to the first alarm from readings that waited, on a store with a past."""

import argparse
import statistics
import tempfile
import time
from pathlib import Path
from typing import Any

from gateway.edges.sqlite import Reader, open_reader
from gateway.ports import AlarmLine
from tests.bench import load
from tests.bench.town import Town, until

#: A bed's on-delay is 10 min; the newest is fresh enough to call somebody.
HOT_AGO_S = (800, 600, 400, 200, 1)


def options(parser: argparse.ArgumentParser) -> None:
    """Its own words on the command line."""
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--past", type=int, default=50_000, help="readings in the store before")


def run(chosen: argparse.Namespace) -> dict[str, Any]:
    """Seconds until readings that waited in the broker are committed, and until the alarm that follows from
    them is: a bed that has been hot for some minutes."""
    committed: list[float] = []
    judged: list[float] = []
    with tempfile.TemporaryDirectory() as folder, Town(Path(folder), 60) as town:
        town.start()
        until(lambda: b"connected to" in (town.folder / "daemon.log").read_bytes(), 0.05)
        load.publish(town.broker.host, town.broker.port, chosen.past, time.time() - 3600)
        reader = open_reader(town.store)
        until(lambda: reader.counts().get("kept", 0) >= chosen.past, 0.1)
        town.stop()
        for bed in range(chosen.runs):
            one, two = _once(town, reader, bed)
            committed.append(one)
            judged.append(two)
        reader.close()
    return {
        "probes": len(load.site().probes),
        "past": chosen.past,
        "runs": chosen.runs,
        "committed_s": round(statistics.median(committed), 2),
        "judged_s": round(statistics.median(judged), 2),
        "committed_worst_s": round(max(committed), 2),
        "judged_worst_s": round(max(judged), 2),
    }


def _once(town: Town, reader: Reader, bed: int) -> tuple[float, float]:
    before = reader.counts()["kept"]
    probe = load.site().probes[bed * load.PROBES_IN_BED]
    now_s = time.time()
    readings = [(probe.topic, f'{{"v":35.5,"t":{now_s - ago_s:.3f}}}'.encode()) for ago_s in HOT_AGO_S]
    with load.Publisher(town.broker.host, town.broker.port) as out:
        out.send(readings)
    began = time.perf_counter()
    town.start()
    until(lambda: reader.counts()["kept"] >= before + len(readings))
    committed_s = time.perf_counter() - began
    until(lambda: any(one.alarm.place == probe.place for one in reader.alarms(False) if _hot(one)))
    judged_s = time.perf_counter() - began
    town.stop()
    return committed_s, judged_s


def _hot(line: AlarmLine) -> bool:
    return line.alarm.kind == "bed_hot"
