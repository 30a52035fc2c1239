"""What a person does at the demonstration: turn a bed, answer a call, look, play a trick on a probe."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import textwrap
from pathlib import Path
from typing import NamedTuple

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from gateway.cli.words import COMMANDS
from gateway.core import asked


def _filled(words: tuple[str, ...]) -> str:
    return textwrap.fill(", ".join(words), 80, break_on_hyphens=False).replace("\n", "\n" + " " * 20)


#: What the simulated floor can be told, with the kind of thing it is told about (simulators/orders.py).
ORDERS = {
    "turn": "BED",
    "damp": "KILN",
    "draught": "0 to 3",
    "shutters": "0 to 3",
    "hook": "PROBE",
    "back": "PROBE",
    "silent": "PROBE",
    "stuck": "PROBE",
}
ANSWERS = {"go": "going"} | {word: word for word in asked.ANSWERS}
#: Commands of the gateway's own that work here too; not those that start a second one.
LOOKS = tuple(name for name, word in COMMANDS.items() if word.group == "read")
RECORDS = tuple(name for name, word in COMMANDS.items() if word.group == "write")
USAGE = f"""\
  101 go            you are on your way to what message 101 is about (also: heard, cant)
  turn bed-c        the simulated bed is turned, and the turn is recorded
  look:             {_filled(LOOKS)}
  on the floor:     damp kiln; draught 0.5; shutters 0 (carbon dioxide gathers), shutters 3; a probe is
                    forgotten on its hook and put back, falls silent, sticks:
                    hook bed-c-mid, back bed-c-mid, silent bed-c-mid, stuck bed-c-mid
  record:           {_filled(RECORDS)}
  Each command tells more: beds --help"""


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
        case ["help"]:
            return Said(USAGE, 0)
        case ["turn", bed]:
            return _turn(folder, running, bed)
        case ["answer", alarm, word] | [alarm, word] if word in ANSWERS:
            return _answer(folder, alarm, ANSWERS[word])
        case [verb, target] if verb in ORDERS:
            return _order(running, verb, target)
        case [command, *_] if command in LOOKS:
            return gateway(folder, *words)
        case [command, *_] if command in RECORDS:
            return _recorded(gateway(folder, *words))
        case _:
            return Said(f"{' '.join(words)[:60]!r} means nothing here. What does:\n{USAGE}", 2)


def _answer(folder: Path, alarm: str, word: str) -> Said:
    done = gateway(folder, "answer", alarm, word, "--by", "you")
    return done if done.code else Said(f"{alarm} is answered: {word}.", 0)


def _recorded(done: Said) -> Said:
    """The gateway's command prints the number of the entry; a person wants to know that it is kept."""
    return Said("recorded.", 0) if done.code == 0 and done.text.startswith('{"journal"') else done


def _turn(folder: Path, running: dict[str, object], bed: str) -> Said:
    """The gateway is told, as whoever turned it would; then the simulated floor is turned for real."""
    recorded = gateway(folder, "turned", bed, "--by", "you")
    if recorded.code:
        return recorded
    ordered = _order(running, "turn", bed)
    if ordered.code:
        return Said(f"the turn is recorded, but {ordered.text}", ordered.code)
    return Said(f"{bed} is being turned, and the turn is recorded.", 0)


def _order(running: dict[str, object], verb: str, target: str) -> Said:
    """Tell the simulated floor, by ROOT/sim/command."""
    said: object = target
    if verb in ("draught", "shutters"):
        try:
            said = float(target)
        except ValueError:
            return Said(f"{verb} {target}: expected a number, 0 (shut) to 3", 2)
    # The simulated floor knows its shutters as the draught of a floor.
    told = {"draught": {"place": "lower", "amount": said}} if verb == "shutters" else {verb: said}
    client = paho.Client(CallbackAPIVersion.VERSION2)
    try:
        client.connect("127.0.0.1", int(str(running["port"])))
        client.loop_start()
        sent = client.publish(f"{running['root']}/sim/command", json.dumps(told), qos=1)
        sent.wait_for_publish(5)
        reached = sent.is_published()
    except (OSError, RuntimeError):
        reached = False
    client.disconnect()
    client.loop_stop()
    if not reached:
        return Said("the simulated floor was not reached.", 3)
    return Said(f"the simulated floor is told: {verb} {target}.", 0)


def gateway(folder: Path, *words: str) -> Said:
    """Run one command of the gateway's own command line."""
    columns = min(shutil.get_terminal_size().columns, 100)
    where = ["--site", str(folder / "site.toml"), "--store", str(folder / "store")]
    try:
        done = subprocess.run(
            [sys.executable, "-m", "gateway", *where, *words],
            env=os.environ | {"COLUMNS": str(columns)},
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return Said("no answer within 60 s", 3)
    return Said((done.stdout + done.stderr).rstrip(), done.returncode)
