"""A site file of many probes, a daemon on it, and their messages: what memory and start are measured on."""

import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from types import TracebackType

from tests.bench import load
from tests.broker import Broker

ROOT = Path(__file__).resolve().parents[2]
GIVE_UP_S = 60.0

_HEAD = """\
[site]
id = "bench"
name = "Quern Hill Maltings"
time_zone = "Europe/London"
[broker]
host = "{host}"
port = {port}
root = "{root}"
[links]
listen = "127.0.0.1:0"
[[floor]]
id = "floor-1"
length_m = {length}
[[person]]
id = "ada"
name = "Ada"
[[phone]]
person = "ada"
kind = "webhook"
url = "http://127.0.0.1:1/ada"
secret_file = "ada.key"
[[shift]]
people = ["ada"]
days = "daily"
from = "00:00"
to = "00:00"
"""
_BED = '[[place]]\nid = "{id}"\nkind = "bed"\nfloor = "floor-1"\nfrom_m = {from_m}\nto_m = {to_m}\n'
_PROBE = """\
[[probe]]
id = "{id}"
place = "{place}"
quantity = "temperature"
unit = "Cel"
topic = "{topic}"
payload = "json"
every_s = {every_s}
range = [-10, 60]
"""


class Town:
    """A broker and a folder with a site file and a store; `with` leaves nothing running."""

    def __init__(self, folder: Path, every_s: int, more: str = "") -> None:
        self.folder, self.store = folder, folder / "store"
        (folder / "broker").mkdir()
        self.broker = Broker(folder / "broker", "max_queued_messages 1000000\nmax_queued_bytes 0\n")
        self.site = folder / "site.toml"
        self._every_s = every_s
        self.more = more  #: further tables of the site file
        self._daemon: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> "Town":
        self.broker.start()
        site = load.site()
        parts = [
            _HEAD.format(host=self.broker.host, port=self.broker.port, root=load.ROOT, length=load.BEDS * 5)
        ]
        parts += [_BED.format(id=bed.id, from_m=bed.from_m, to_m=bed.to_m) for bed in site.places]
        parts += [
            _PROBE.format(id=one.id, place=one.place, topic=one.topic, every_s=self._every_s)
            for one in site.probes
        ]
        self.site.write_text("\n".join([*parts, self.more]))
        key = self.folder / "ada.key"
        key.touch(0o600)
        key.write_text("whsec_bWFsdGluZy1nYXRld2F5LWJlbmNoLWtleS0wMDAx\n")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._daemon is not None and self._daemon.poll() is None:
            self._daemon.kill()
            self._daemon.wait()
        self.broker.discard()

    def start(self) -> int:
        """Start the daemon; its process number. What it says goes to a file."""
        words = [sys.executable, "-m", "gateway", "--site", str(self.site), "--store", str(self.store)]
        env = {key: value for key, value in os.environ.items() if not key.startswith("MALTING_")}
        with (self.folder / "daemon.log").open("ab") as log:
            self._daemon = subprocess.Popen(
                [*words, "run", "--trust-clock"], cwd=ROOT, env=env, stdout=log, stderr=log
            )
        return self._daemon.pid

    def stop(self) -> None:
        """End it in order."""
        assert self._daemon is not None
        self._daemon.terminate()
        if self._daemon.wait(GIVE_UP_S):
            raise RuntimeError((self.folder / "daemon.log").read_text()[-3000:])


def until(done: Callable[[], bool], every_s: float = 0.005) -> None:
    """Wait for it; raises RuntimeError where it does not come."""
    late, pause = time.monotonic() + GIVE_UP_S, threading.Event()
    while not done():
        if time.monotonic() > late:
            raise RuntimeError(f"not within {GIVE_UP_S} s")
        pause.wait(every_s)


def memory_mb(pid: int) -> tuple[float, float]:
    """Resident now, and the most so far, in MB (10^6 bytes; the kernel counts kB of 1,024)."""
    lines = dict(line.split(":", 1) for line in Path(f"/proc/{pid}/status").read_text().splitlines())
    now, most = (int(lines[key].split()[0]) * 1024 / 1e6 for key in ("VmRSS", "VmHWM"))
    return now, most
