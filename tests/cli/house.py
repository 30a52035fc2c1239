"""A site file with secrets, a store in which a short night has passed, and a way to type a command."""

from __future__ import annotations

import io
import json
import os
import queue
import signal
import subprocess
import sys
import threading
from collections.abc import Sequence
from contextlib import redirect_stderr, redirect_stdout
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

from jsonschema import Draft202012Validator

from gateway import __version__, settings
from gateway.cli.main import main
from gateway.core import engine
from gateway.core.effects import Notice
from gateway.core.inputs import (
    Answered,
    Cast,
    Delivery,
    Event,
    PutOutOfService,
    Refused,
    SiteChanged,
    Started,
    Turned,
)
from gateway.core.inputs_air import CheckedIn
from gateway.core.inputs_note import HandedOver
from gateway.core.reading import OWN_TIME, Reading, Reason, Rejected
from gateway.core.site import Site
from gateway.edges.sqlite import Writer, open_writer
from gateway.ports import Cursor

ROOT = Path(__file__).resolve().parents[2]
SCHEMAS = ROOT / "tests" / "contracts" / "schemas"
MINUTE_MS = 60_000
#: 2024-11-05T02:00:00Z, a Tuesday; London is on UTC.
NIGHT_MS = 1_730_772_000_000
DAY_MS = 86_400_000
SOON_S = 60.0


class Said(NamedTuple):
    """What a command said, and its exit code."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        """Standard output as one JSON value."""
        return json.loads(self.out)


def type_in(*words: object, width: int = 80, **environ: str) -> Said:
    """Type a command; the same function that the program runs, in this process because that is quicker."""
    out, err = io.StringIO(), io.StringIO()
    before = os.environ.get("COLUMNS")
    os.environ["COLUMNS"] = str(width)
    try:
        with redirect_stdout(out), redirect_stderr(err):
            code = main([str(word) for word in words], {**_bare(), **environ})
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else 1
    finally:
        os.environ.pop("COLUMNS")
        os.environ.update({"COLUMNS": before} if before is not None else {})
    return Said(code, out.getvalue(), err.getvalue())


def run_program(*words: object, **environ: str) -> Said:
    """The same in a process of its own, as `python -m gateway`."""
    done = subprocess.run(
        [sys.executable, "-m", "gateway", *map(str, words)],
        check=False, capture_output=True, text=True, timeout=SOON_S, cwd=ROOT, env={**_bare(), **environ},
    )  # fmt: skip
    return Said(done.returncode, done.stdout, done.stderr)


def _bare() -> dict[str, str]:
    return {key: value for key, value in os.environ.items() if not key.startswith("MALTING_")}


def site_file(folder: Path, *, broker: int = 1, door: int = 0, phone: int = 1) -> Path:
    """The example site in a folder of its own, with fresh secrets and these ports."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in ("floor-programme.toml", "kiln-programme.toml"):
        (folder / name).write_text((ROOT / "config" / name).read_text())
    text = (ROOT / "config" / "quern-hill.toml").read_text()
    text = text.replace("port = 18883", f"port = {broker}").replace("127.0.0.1:8471/", f"127.0.0.1:{phone}/")
    text = text.replace('listen = "127.0.0.1:8480"', 'listen = "127.0.0.1:0"')
    text = text.replace('listen = "127.0.0.1:8470"', f'listen = "127.0.0.1:{door}"')
    path = folder / "site.toml"
    path.write_text(text)
    (folder / "secrets").mkdir(exist_ok=True)
    for name in ("ada", "ben", "cleo", "dan"):
        key = folder / "secrets" / f"{name}.key"
        key.touch(0o600)
        key.write_text("whsec_" + "bWFsdGluZy1nYXRld2F5LXRlc3Qta2V5LTAwMDE=")
    return path


@cache
def site_of(path: Path) -> Site:
    """The checked site of a file."""
    return settings.load(path, {}).site


def schema(name: str) -> Draft202012Validator:
    """The validator of one document."""
    body = json.loads((SCHEMAS / f"{name}.json").read_text())
    Draft202012Validator.check_schema(body)
    return Draft202012Validator(body)


class Night:
    """Writes a store minute by minute as the daemon's writer does; time is by hand."""

    def __init__(self, folder: Path, site: Site) -> None:
        self.writer: Writer = open_writer(folder, site_id=site.id, clock_kind="wall", reserve_bytes=4096)
        self.state = engine.new()
        self.now_ms = NIGHT_MS
        self.made: list[Any] = []
        self.commit(Started(__version__), SiteChanged(site))

    def commit(self, *events: Event, readings: Sequence[Reading] = (), snapshot: bool = False) -> None:
        """Keep these now, judge, keep what follows."""
        with self.writer.atomic():
            entries = [self.writer.add_event(self.now_ms, self.now_ms, event) for event in events]
            entries += self.writer.add_readings(self.now_ms, self.now_ms, readings).entries
        effects = engine.advance(self.state, entries, self.now_ms)
        self.made += effects
        newest, _, _ = self.writer.last_stamp()
        with self.writer.atomic():
            body = engine.dump(self.state) if snapshot else None
            self.writer.save_effects(effects, Cursor(newest, self.now_ms), body)

    def minute(self, **values: float) -> None:
        """A minute later each named probe (`_` for `-`) says its value."""
        self.now_ms += MINUTE_MS
        readings = [
            Reading(name.replace("_", "-"), self.now_ms, value, OWN_TIME) for name, value in values.items()
        ]
        self.commit(readings=readings)


def short_night(folder: Path, site: Site) -> Path:
    """A piece on bed C runs hot, somebody is called and answers; bed A is turned; a probe sends garbage."""
    night = Night(folder, site)
    night.commit(Cast("bed-c", "14", when_ms=NIGHT_MS - 4 * DAY_MS), Cast("bed-a", "15", by="ada"))
    for minute in range(50):
        # The room fills by a quarter of what a shut one would.
        room = 800.0 + 20.0 * minute
        night.minute(bed_c_mid=21.0 + minute * 0.05, bed_c_low=20.0, bed_a_mid=15.0, lower_room_co2=room)
        if minute == 20:
            night.commit(snapshot=True)
    night.commit(
        CheckedIn("ben", "lower-room", for_s=2700.0), HandedOver("Shutters of bed C stick.", by="ben")
    )
    night.commit(Turned("bed-a", by="ben"), PutOutOfService("bed-b-top", "cable cut"))
    for one in [made for made in night.made if isinstance(made, Notice)]:
        night.commit(Delivery(one.number, one.phone, "delivered", 204))
    _refuse(night)
    numbers = {line.number for line in night.made if hasattr(line, "occurrence") and hasattr(line, "state")}
    night.commit(Answered(max(numbers), "going", by="ben"))
    night.writer.close()
    return folder


def _refuse(night: Night) -> None:
    odd = b"\x1b[2J not a number \xff"
    with night.writer.atomic():
        topic = "quern-hill/bed-c/bed-c-mid"
        rejected = [Rejected(topic, odd, Reason.NOT_A_NUMBER, "got \x1b[2J", "bed-c-mid")]
        rejected += [Rejected("quern-hill/\x1b[31mnobody", b"1", Reason.UNKNOWN_TOPIC, "no probe", None)] * 3
        night.writer.keep_rejected(night.now_ms, rejected)
    night.commit(Refused(topic, "bed-c-mid", "not_a_number", 1))


class Daemon:
    """`malting-gateway run` (or a program like it) in a process of its own; its log is read as it comes."""

    def __init__(self, site: Path, store: Path, *more: str, program: str = "gateway", **environ: str) -> None:
        self.store = store
        words = [sys.executable, "-m", program, "--site", str(site), "--store", str(store), "run", *more]
        self._process = subprocess.Popen(
            words, cwd=ROOT, env={**_bare(), **environ}, text=True,
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
        )  # fmt: skip
        self.log = ""
        self._lines: queue.Queue[str] = queue.Queue()
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def _read(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            self._lines.put(line)
        self._lines.put("")

    @property
    def pid(self) -> int:
        """The process's number."""
        return self._process.pid

    def wait_for(self, *texts: str) -> None:
        """Read the log until it has said all of these; fails with the log where it ends or is silent."""
        while not all(text in self.log for text in texts):
            try:
                line = self._lines.get(timeout=SOON_S)
            except queue.Empty:
                line = ""
            assert line, f"{texts} was never said:\n{self.log}"
            self.log += line

    def send(self, how: signal.Signals) -> None:
        """Signal it and go on."""
        self._process.send_signal(how)

    def end(self, how: signal.Signals = signal.SIGTERM) -> int:
        """Signal it and read on to its end; the exit code."""
        self._process.send_signal(how)
        return self.wait()

    def wait(self) -> int:
        """Read on to its end; the exit code."""
        code = self._process.wait(SOON_S)
        self._thread.join(SOON_S)
        while not self._lines.empty():
            self.log += self._lines.get()
        self._close()
        return code

    def discard(self) -> None:
        """Leave nothing running."""
        if self._process.poll() is None:
            self._process.kill()
            self._process.wait()
        self._thread.join(SOON_S)
        self._close()

    def _close(self) -> None:
        if self._process.stdout is not None:
            self._process.stdout.close()
