"""How fast a backlog drains: the whole line against a bare paho loop, over the same mosquitto.

Before each run the messages are queued in the broker for a client that is away; then a process of its own
connects and drains them. Bare and whole runs take turns, so that what else the machine does hits both.
"""

import argparse
import json
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from tests.bench import load
from tests.broker import Broker

# The number must hold a whole run; 0 means "no limit" in some versions of mosquitto and not in others.
CONFIG = "max_queued_messages 1000000\nmax_queued_bytes 0\n"


def options(parser: argparse.ArgumentParser) -> None:
    """Its own words on the command line."""
    parser.add_argument("--messages", type=int, default=200_000)
    parser.add_argument("--runs", type=int, default=5, help="of each kind")


def run(chosen: argparse.Namespace) -> dict[str, Any]:
    """Medians of alternating runs; `ratio` is whole line to bare loop in messages a second."""
    runs: dict[str, list[dict[str, Any]]] = {"bare": [], "line": []}
    with tempfile.TemporaryDirectory() as folder:
        broker = Broker(Path(folder), CONFIG)
        broker.start()
        try:
            _drain(broker, "bare", 0)
            for _ in range(chosen.runs):
                for way, found in runs.items():
                    load.publish(broker.host, broker.port, chosen.messages, time.time())
                    found.append(_drain(broker, way, chosen.messages))
        finally:
            broker.discard()
    rate = {
        way: chosen.messages / statistics.median(r["took_s"] for r in found) for way, found in runs.items()
    }
    return {
        "messages": chosen.messages,
        "runs": chosen.runs,
        "bare_per_s": round(rate["bare"]),
        "line_per_s": round(rate["line"]),
        "ratio": round(rate["line"] / rate["bare"], 3),
        "bare_s": [round(r["took_s"], 2) for r in runs["bare"]],
        "line_s": [round(r["took_s"], 2) for r in runs["line"]],
        "bare_peak_mb": round(max(r["peak_mb"] for r in runs["bare"]), 1),
        "line_peak_mb": round(max(r["peak_mb"] for r in runs["line"]), 1),
    }


def _drain(broker: Broker, way: str, count: int) -> dict[str, Any]:
    command = [sys.executable, "-m", "tests.bench.drain", way, broker.host, str(broker.port), str(count)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise RuntimeError(f"{way}: {done.stderr[-2000:]}")
    found: dict[str, Any] = json.loads(done.stdout)
    return found
