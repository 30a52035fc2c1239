"""One night: four programmes started in order, pieces recorded, typed words obeyed, all stopped in order."""

from __future__ import annotations

import json
import math
import os
import re
import select
import shlex
import shutil
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple

from deploy.demonstration.act import act
from gateway.edges.clock import real_mono_s, real_wall_ms
from gateway.edges.control import ask
from gateway.settings import load, write_keys
from simulators.start import BUILT_IN

#: What lies on the beds when it begins; the simulation has the same ages (simulators/start.py).
_PIECES = {"bed-a": "17", "bed-b": "15", "bed-c": "14", "bed-d": "12"}
_PAUSE = threading.Event()
_READY_S = 30.0
_STOP_S = 15.0
#: Bed C's programme calls after so long at the start above (tests/test_demo.py holds it to that).
_CALL_AFTER_MIN = 40


class Times(NamedTuple):
    """How many times as fast as life, and after how many real seconds it ends (None: at Ctrl-C)."""

    speed: float
    seconds: float | None


def run(root: Path, folder: Path, times: Times, seed: int) -> int:
    """Run until Ctrl-C, or for a time; 0 if a call reached the phone and nothing ended by itself."""
    other = _runs_already(folder)
    if other:
        said = f"a demonstration is running already (process {other}): deploy/demo help says how to act on it"
        print(said, file=sys.stderr)
        return 1
    night, failed = _Night(root, folder, times.speed, seed), False
    for number in (signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, signal.default_int_handler)
    try:
        night.begin()
        night.watch(times.seconds)
    except KeyboardInterrupt:
        _say_if_heard("")
    except BrokenPipeError:
        failed = True  # whoever read it has seen enough (| head)
    except _Failed as fault:
        failed = True
        print(f"the demonstration could not go on: {fault}", file=sys.stderr)
    finally:
        # A second Ctrl-C must not leave half of it running.
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, signal.SIG_IGN)
        night.end()
    return 0 if night.calls() and not failed else 1


def _runs_already(folder: Path) -> int | None:
    """The process of another demonstration in this folder; a number left behind by a killed one is none."""
    try:
        pid = int(json.loads((folder / "running.json").read_text())["pid"])
        words = Path(f"/proc/{pid}/cmdline").read_bytes()
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return pid if b"deploy.demonstration" in words else None


def _say_if_heard(text: str) -> None:
    """Print it; a terminal that was closed meanwhile must not keep the rest from being ended."""
    with suppress(OSError):
        print(text, flush=True)


class _Failed(Exception):
    """One of the programmes did not start, or ended by itself."""


class _Night:
    def __init__(self, root: Path, folder: Path, speed: float, seed: int) -> None:
        self._root, self._folder, self._speed, self._seed = root, folder, speed, seed
        self._ports = dict(zip(("broker", "door", "phone", "page"), _free_ports(4), strict=True))
        self._running: list[tuple[str, subprocess.Popen[bytes]]] = []
        self._epoch = _now().replace(hour=1, minute=10, second=0, microsecond=0)
        self._env = os.environ | {"MALTING_SECRETS": str(folder), "PYTHONUNBUFFERED": "1"}

    def begin(self) -> None:
        """Everything up, the pieces on record, the two lines said."""
        print("starting a broker, a phone, the gateway and a maltings …", flush=True)
        site = self._lay_out()
        times = ["--clock", "scaled", "--speed", f"{self._speed:g}", "--epoch", _say(self._epoch)]
        times += ["--started", _say(_now())]
        self._start("broker", "-m", "deploy.demonstration.broker", str(self._ports["broker"]))
        self._await("broker", lambda: _listens(self._ports["broker"]))
        self._start(
            "phone", "-m", "simulators.phone", "--port", str(self._ports["phone"]), "--zone", "Europe/London",
            "--secret-file", str(self._folder / "secrets" / "ada.key"),
            "--log", str(self._folder / "phone.jsonl"),
            shown=True,
        )  # fmt: skip
        self._await("phone", lambda: _listens(self._ports["phone"]))
        store = self._folder / "store"
        self._start("gateway", "-m", "gateway", "--site", str(site), "--store", str(store), "run", *times)
        self._await("gateway", (store / "control.sock").exists)
        self._record(store)
        self._start(
            "simulators", "-m", "simulators", "run", "--site", str(site), "--seed", str(self._seed),
            "--truth", str(self._folder / "truth.jsonl"), *times
        )  # fmt: skip
        print(_welcome(self._speed, self._way_in(store)), flush=True)

    def watch(self, seconds: float | None) -> None:
        """Obey what is typed; watch that all four go on."""
        end = math.inf if seconds is None else real_mono_s() + seconds
        typed = _Typed()
        while real_mono_s() < end:
            for name, process in self._running:
                if process.poll() is not None:
                    raise _Failed(f"{name} ended with {process.returncode}; see {self._log(name)}")
            for words in typed.lines(0.2):
                print(act(self._folder, words).text, flush=True)

    def end(self) -> None:
        """The floor first, then the gateway, the phone, the broker; what does not end is ended."""
        order = ("simulators", "gateway", "phone", "broker")
        for name, process in sorted(self._running, key=lambda one: order.index(one[0])):
            _say_if_heard(f"stopping: {name}")
            process.terminate()
            try:
                process.wait(_STOP_S)
            except subprocess.TimeoutExpired:
                _say_if_heard(f"{name} had to be ended by force")
                process.kill()
                process.wait()
        (self._folder / "running.json").unlink(missing_ok=True)
        if not self._running:
            return
        calls = self.calls()
        said = {0: "No call reached the phone", 1: "1 call reached the phone"}
        reached = said.get(calls, f"{calls} calls reached the phone")
        where = f"{os.path.relpath(self._folder)}/"
        _say_if_heard(
            f"Stopped. {reached}. Logs, store and the truth about the simulated grain are in {where}"
        )

    def calls(self) -> int:
        """How many calls the phone took."""
        try:
            lines = (self._folder / "phone.jsonl").read_text().splitlines()
        except OSError:
            return 0
        taken = (json.loads(line) for line in lines)
        return sum(one["status"] < 300 and one["message"].get("type") == "call" for one in taken)

    def _log(self, name: str) -> Path:
        return self._folder / f"{name}.log"

    def _lay_out(self) -> Path:
        """The example site with ports that are free here, and fresh keys; a former night is cleared away."""
        names = {item.name for item in self._folder.iterdir()} if self._folder.exists() else set()
        if names and not names & {"running.json", "site.toml"}:
            raise _Failed(f"{self._folder} holds something else, which would be cleared away")
        shutil.rmtree(self._folder, ignore_errors=True)
        (self._folder / "store").mkdir(parents=True, mode=0o700)
        (self._folder / "running.json").write_text(
            json.dumps({"root": "quern-hill", "port": self._ports["broker"], "pid": os.getpid()})
        )
        new = {
            "18883": str(self._ports["broker"]),
            "8470": str(self._ports["door"]),
            "8471": str(self._ports["phone"]),
            "8480": str(self._ports["page"]),
            'protocol = "auto"': 'protocol = "3.1.1"',  # the embedded broker knows no other
        }
        text = (self._root / "config" / "quern-hill.toml").read_text()
        text = re.sub("|".join(map(re.escape, new)), lambda found: new[found[0]], text)
        site = self._folder / "site.toml"
        site.write_text(text)
        for programme in ("floor-programme.toml", "kiln-programme.toml"):
            shutil.copy(self._root / "config" / programme, self._folder)
        keys = write_keys(site, self._folder)
        for key in keys[1:]:
            # The stand-in is one phone for everybody, so it has one key.
            key.write_bytes(keys[0].read_bytes())
        load(site, self._env)
        return site

    def _start(self, name: str, *words: str, shown: bool = False) -> None:
        with self._log(name).open("wb") as log:
            process = subprocess.Popen(
                [sys.executable, *words], cwd=self._root, env=self._env, stdin=subprocess.DEVNULL,
                stdout=None if shown else log, stderr=log, start_new_session=True,
            )  # fmt: skip
        self._running.append((name, process))

    def _await(self, name: str, is_ready: Callable[[], bool]) -> None:
        end = real_mono_s() + _READY_S
        process = dict(self._running)[name]
        while not is_ready():
            if process.poll() is not None or real_mono_s() > end:
                raise _Failed(f"{name} did not start; see {self._log(name)}")
            _PAUSE.wait(0.05)

    def _record(self, store: Path) -> None:
        """The pieces as somebody recorded them before the night: cast, last turned, fire lit."""
        for bed, piece in _PIECES.items():
            start = BUILT_IN[bed]
            self._tell(store, "cast", bed=bed, piece=piece, hours=start.age_h)
            self._tell(store, "turned", bed=bed, hours=start.since_turn_h)
        self._tell(store, "kiln", what="lit", hours=6.0)

    def _way_in(self, store: Path) -> str:
        """An account for the night, and a link that opens it once."""
        said: dict[str, Any] = {}
        for what in ({"what": "add", "role": "maltster", "person": "ada"}, {"what": "open"}):
            said = ask(store, {"kind": "account", "name": "Ada", **what}, 10.0)
            if "said" not in said:
                raise _Failed(f"the page has no way in: {said}")
        return str(said["said"][0])

    def _tell(self, store: Path, kind: str, hours: float, **body: str) -> None:
        when = int((self._epoch - timedelta(hours=hours)).timestamp() * 1000)
        said = ask(store, {"kind": kind, **body, "by": "Ben", "when_ms": when}, 10.0)
        if "journal" not in said:
            raise _Failed(f"{kind} was not recorded: {said}")


class _Typed:
    """Whole lines from standard input as words, without waiting longer than asked; quiet after its end."""

    def __init__(self) -> None:
        self._open = sys.stdin is not None and not sys.stdin.closed
        self._rest = b""

    def lines(self, wait_s: float) -> Iterator[list[str]]:
        """The lines that came within so long."""
        if not select.select([sys.stdin] if self._open else [], [], [], wait_s)[0]:
            return
        # Not readline: it would keep a second line in a buffer that select cannot see.
        data = os.read(sys.stdin.fileno(), 65536)
        self._open = bool(data)
        *whole, self._rest = (self._rest + data).split(b"\n")
        self._rest = self._rest[-1000:]
        for line in whole:
            text = line.decode(errors="replace")
            try:
                words = shlex.split(text)
            except ValueError:
                words = text.split()
            if words:
                yield words


def _welcome(speed: float, page: str) -> str:
    seconds = _CALL_AFTER_MIN * 60 / speed
    when = "within a minute" if seconds <= 60 else f"in about {math.ceil(seconds / 60)} minutes"
    return f"""
Quern Hill Maltings, {speed:g} times as fast as life. Simulated; not a certified gas alarm.
Bed C is nearly too hot: {when} the phone below is told.
  To answer, type the number and go:  101 go      (or open the link below the message)
  To turn the bed, type:              turn bed-c  it cools, and the call ends
  To see it all, open (works once):   {page}
help: what else can be typed. Ctrl-C stops all in order.
"""


def _now() -> datetime:
    return datetime.fromtimestamp(real_wall_ms() / 1000, UTC)


def _say(moment: datetime) -> str:
    return moment.isoformat().replace("+00:00", "Z")


def _free_ports(count: int) -> list[int]:
    holders = [socket.create_server(("127.0.0.1", 0)) for _ in range(count)]
    ports = [int(holder.getsockname()[1]) for holder in holders]
    for holder in holders:
        holder.close()
    return ports


def _listens(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port), 0.2).close()
    except OSError:
        return False
    return True
