"""What a person does at the demonstration: turn a bed, answer a call, look."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

_LOOKS = ("beds", "probes", "alarms", "turns", "notices", "rejected", "health", "tonight")
_USAGE = "expected: turn BED | answer ALARM going|heard|cant | " + " | ".join(_LOOKS)


class Said(NamedTuple):
    """What to print, and the exit code that goes with it."""

    text: str
    code: int


def act(folder: Path, words: list[str]) -> Said:
    """Do what the words say at the demonstration whose folder this is."""
    try:
        running = json.loads((folder / "running.json").read_text())
    except (OSError, ValueError):
        return Said("no demonstration is running here: start one with deploy/demo", 3)
    match words:
        case ["turn", bed]:
            return _turn(folder, running, bed)
        case ["answer", alarm, word]:
            return gateway(folder, "answer", alarm, word, "--by", "you")
        case [look] if look in _LOOKS:
            return gateway(folder, look)
        case _:
            return Said(f"{' '.join(words)[:60]!r}: {_USAGE}", 2)


def _turn(folder: Path, running: dict[str, object], bed: str) -> Said:
    """The simulated floor is turned for real; the gateway is told, as whoever turned it would."""
    recorded = gateway(folder, "turned", bed, "--by", "you")
    if recorded.code:
        return recorded
    order = json.dumps({"turn": bed})
    client = paho.Client(CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", int(str(running["port"])))
    client.loop_start()
    sent = client.publish(f"{running['root']}/sim/command", order, qos=1)
    sent.wait_for_publish(5)
    client.disconnect()
    client.loop_stop()
    if not sent.is_published():
        return Said(f"the turn is recorded ({recorded.text}), but the simulated bed was not reached", 3)
    return Said(f"{bed} is being turned, and the turn is recorded: {recorded.text}", 0)


def gateway(folder: Path, *words: str) -> Said:
    """Run one command of the gateway's own command line."""
    done = subprocess.run(
        [
            sys.executable,
            "-m",
            "gateway",
            "--site",
            folder / "site.toml",
            "--store",
            folder / "store",
            *words,
        ],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    return Said((done.stdout + done.stderr).strip(), done.returncode)
