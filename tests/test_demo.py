"""`deploy/demo` as a newcomer runs it: its lines, what is typed into it, its end, and that nothing stays."""

import json
import os
import queue
import re
import signal
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.docs import blocks

ROOT = Path(__file__).resolve().parent.parent
START_S = 60.0
CALL_S = 60.0
OVER_S = 90.0
TURN_S = 120.0
STOP_S = 150.0
_PAUSE = threading.Event()


class Demo:
    """A running demonstration: what it prints as it comes, what is typed into it, its processes."""

    def __init__(self, folder: Path, *words: str) -> None:
        self.folder = folder
        self.env = os.environ | {"MALTING_DEMO": str(folder)}
        self.lines: list[str] = []
        self._process = subprocess.Popen(
            [ROOT / "deploy" / "demo", *words], env=self.env, text=True,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
        )  # fmt: skip
        self._coming: queue.Queue[str | None] = queue.Queue()
        self._deaf = threading.Event()
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def _read(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            self._coming.put(line.rstrip("\n"))
            if self._deaf.is_set():
                self._process.stdout.close()
                break
        self._coming.put(None)

    def sees(self, text: str, within_s: float) -> float:
        """Read on until a line has this text; after how many seconds it came."""
        begin = time.monotonic()
        while True:
            try:
                left = begin + within_s - time.monotonic()
                line = self._coming.get(timeout=max(0.0, left))
            except queue.Empty:
                line = None
            if line is None:
                pytest.fail(f"{text!r} did not come within {within_s} s:\n" + "\n".join(self.lines))
            self.lines.append(line)
            if text in line:
                return time.monotonic() - begin

    def type_in(self, text: str) -> None:
        """Type, with a line end after it."""
        assert self._process.stdin is not None
        self._process.stdin.write(text + "\n")
        self._process.stdin.flush()

    def elsewhere(self, *words: str) -> subprocess.CompletedProcess[str]:
        """`deploy/demo WORDS` in another terminal."""
        return subprocess.run(
            [ROOT / "deploy" / "demo", *words], env=self.env, text=True, stdin=subprocess.DEVNULL,
            capture_output=True, timeout=START_S, check=False,
        )  # fmt: skip

    def processes(self) -> list[int]:
        """Itself and what it has started."""
        me = self._process.pid
        found = [me]
        for stat in Path("/proc").glob("[0-9]*/stat"):
            try:
                parent = int(stat.read_text().rpartition(")")[2].split()[1])
            except OSError:
                continue
            if parent == me:
                found.append(int(stat.parent.name))
        return found

    def end(self, how: signal.Signals | None = None) -> int:
        """Signal it, if it does not end by itself; its exit code, all its lines read."""
        if how:
            self._process.send_signal(how)
        code = self._process.wait(STOP_S)
        self._thread.join(STOP_S)
        while (line := self._coming.get(timeout=STOP_S)) is not None:
            self.lines.append(line)
        return code

    def hang_up(self) -> None:
        """Read no further: what it prints from here on meets a closed pipe."""
        self._deaf.set()
        self.type_in("help")
        self._thread.join(STOP_S)

    def discard(self) -> None:
        """Leave nothing running: told to end, it ends the others."""
        if self._process.poll() is None:
            self._process.terminate()
            self._process.wait(STOP_S)
        self._thread.join(STOP_S)
        for pipe in (self._process.stdin, self._process.stdout):
            assert pipe is not None
            pipe.close()

    def stopped(self) -> list[str]:
        """What it said it stopped, in order."""
        return [line.removeprefix("stopping: ") for line in self.lines if line.startswith("stopping: ")]


ORDER = ["simulators", "gateway", "phone", "broker"]


@pytest.fixture
def demo(tmp_path: Path) -> Iterator[Callable[..., Demo]]:
    """`demo(*words)` starts one in a folder of its own."""
    made: list[Demo] = []

    def start(*words: str) -> Demo:
        made.append(Demo(tmp_path / "demo", *words))
        made[-1].sees("Ctrl-C stops all in order", START_S)
        return made[-1]

    yield start
    for one in made:
        one.discard()


def _gone(numbers: list[int]) -> bool:
    return not any(Path(f"/proc/{number}").exists() for number in numbers)


@pytest.mark.long
def test_a_bed_runs_hot_the_phone_is_told_the_bed_is_turned_and_the_call_ends(
    demo: Callable[..., Demo],
) -> None:
    one = demo()
    assert one.sees("PIECE 14 HOT, BED C", CALL_S) <= CALL_S
    one.sees("answer: http://", 5)
    numbers = one.processes()
    assert len(numbers) == 5
    one.type_in("101 go")
    one.sees("101 is answered: going.", 30)
    one.type_in("turn bed-c")
    one.sees("bed-c is being turned, and the turn is recorded.", 30)
    one.sees("Call 101 is over.", OVER_S)
    turns = json.loads(one.elsewhere("turns", "--json").stdout)["rows"]
    assert [(row["bed"], row["by"]) for row in turns if row["by"] == "you"] == [("bed-c", "you")]
    alarms = json.loads(one.elsewhere("alarms", "--all", "--json").stdout)["rows"]
    [hot] = [row for row in alarms if row["kind"] == "bed_hot"]
    assert (hot["state"], hot["answered_by"], hot["number"]) == ("normal", "you", 101)
    _until(lambda: any(line["kind"] == "turn" for line in _truth(one.folder)), TURN_S)
    _until(lambda: _truth(one.folder)[-1]["kind"] != "turn", TURN_S)
    assert one.end(signal.SIGINT) == 0
    assert one.stopped() == ORDER
    assert one.lines[-1].startswith("Stopped. 1 call reached the phone.")
    assert _gone(numbers)
    _the_bed_really_cooled(one.folder)
    _as_in_the_readme(one.folder)


def _truth(folder: Path) -> list[dict[str, Any]]:
    """What the simulation has written down; the last line may still be on its way."""
    return [json.loads(line) for line in (folder / "truth.jsonl").read_text().split("\n")[:-1]]


def _the_bed_really_cooled(folder: Path) -> None:
    """The simulated bed, not what the gateway made of it: it was hot, was turned, and came down."""
    truth = _truth(folder)
    [turn] = [line for line in truth if line["kind"] == "turn"]
    beds = [line for line in truth if line["kind"] == "bed" and line["bed"] == "bed-c"]
    assert max(line["hottest_c"] for line in beds if line["at"] < turn["began_at"]) > 22
    assert max(line["hottest_c"] for line in beds if line["at"] > turn["ended_at"]) < 22


def _until(holds: Callable[[], bool], seconds: float) -> None:
    end = time.monotonic() + seconds
    while not holds():
        if time.monotonic() > end:
            pytest.fail(f"not so within {seconds} s")
        _PAUSE.wait(0.2)


def _as_in_the_readme(folder: Path) -> None:
    """The call that README shows is this one but for its figures."""
    lines = (folder / "phone.jsonl").read_text().splitlines()
    messages: list[dict[str, Any]] = [json.loads(line)["message"] for line in lines]
    call = next(one for one in messages if one["type"] == "call")
    [box] = [
        lines
        for shown in blocks((ROOT / "README.md").read_text(), "text")
        if (lines := [line[2:-2].strip() for line in shown.splitlines() if line.startswith("│")])
    ]
    assert _shape(" ".join(box[4:])) == _shape(call["text"])
    assert box[2] == call["title"].upper()


def _shape(text: str) -> str:
    without_trend = re.sub(r", up .*?(?=\. Last)", "", text)
    return re.sub(r"\d+", "9", without_trend)


def test_it_ends_by_itself_without_a_call_and_leaves_nothing(demo: Callable[..., Demo]) -> None:
    one = demo("--seconds", "4")
    numbers = one.processes()
    assert len(numbers) == 5
    one.type_in("turn bed-x\nfly away\n101 go")
    one.sees("has no bed bed-x", 30)
    one.sees("'fly away' means nothing here", 30)
    one.sees("there is no alarm 101", 30)
    second = one.elsewhere("--seconds", "5")
    assert second.returncode == 1
    assert "is running already" in second.stderr
    assert one.end() == 1
    assert one.stopped() == ORDER
    assert one.lines[-1].startswith("Stopped. No call reached the phone.")
    assert _gone(numbers)
    assert one.elsewhere("beds").returncode == 3


def test_it_ends_when_its_terminal_is_closed(demo: Callable[..., Demo]) -> None:
    one = demo("--speed", "1")
    assert "in about 40 minutes" in "\n".join(one.lines)
    numbers = one.processes()
    assert one.end(signal.SIGHUP) == 1
    assert one.stopped() == ORDER
    assert _gone(numbers)


@pytest.mark.parametrize("how", [signal.SIGHUP, None])
def test_nothing_stays_where_nobody_reads_any_more(
    demo: Callable[..., Demo], how: signal.Signals | None
) -> None:
    one = demo("--seconds", "4")
    numbers = one.processes()
    assert len(numbers) == 5
    one.hang_up()
    one.type_in("beds")
    assert one.end(how) != 0
    assert _gone(numbers)


def test_a_folder_that_holds_something_else_is_not_cleared(tmp_path: Path) -> None:
    (tmp_path / "letters").write_text("keep")
    one = Demo(tmp_path, "--seconds", "5")
    assert one.end() == 1
    one.discard()
    assert "holds something else" in "\n".join(one.lines)
    assert (tmp_path / "letters").read_text() == "keep"
