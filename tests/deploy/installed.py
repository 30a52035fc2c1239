"""An installed gateway: where `deploy/install --prefix` put what, and a stand-in for the service manager."""

import base64
import hashlib
import hmac
import http.server
import json
import os
import queue
import re
import select
import shutil
import signal
import socket
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

from tests.broker import USER, Broker, free_port
from tests.deploy.board import MAIN, ROOT, SOON_S

INSTALL = ROOT / "deploy" / "install"
LONG_S = 300.0


def bare() -> dict[str, str]:
    """The environment of somebody who has set nothing of ours and no Python of a test."""
    own = ("MALTING_", "PYTHON", "VIRTUAL_ENV", "NOTIFY_", "WATCHDOG_")
    return {key: value for key, value in os.environ.items() if not key.startswith(own)}


def build_wheel(source: Path, folder: Path) -> Path:
    """The wheel of a source tree."""
    words = [sys.executable, "-m", "pip", "wheel", "-qq", "--no-deps", "--no-index", "--no-build-isolation"]
    subprocess.run([*words, "-w", str(folder), str(source)], check=True, timeout=LONG_S, env=bare())
    [wheel] = folder.glob("*.whl")
    return wheel


def install(*words: object, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    """`deploy/install` with these words; its output on stdout and stderr."""
    return subprocess.run(
        [str(INSTALL), *map(str, words)],
        check=False, capture_output=True, text=True, timeout=LONG_S, env=bare(), cwd=cwd,
    )  # fmt: skip


class Board:
    """A prefix as if it were a board."""

    def __init__(self, prefix: Path) -> None:
        self.prefix = prefix
        self.etc, self.state, self.bin = prefix / "etc", prefix / "state", prefix / "bin"
        self.broker_port, self.door_port = free_port(), free_port()

    def run(self, command: str, *, cwd: Path) -> subprocess.CompletedProcess[str]:
        """A line for a shell, from another folder than the source's."""
        env = {**bare(), "PATH": f"{self.bin}:{os.environ['PATH']}:/usr/sbin"}
        return subprocess.run(
            ["bash", "-c", command],
            check=False, capture_output=True, text=True, timeout=LONG_S, env=env, cwd=cwd,
        )  # fmt: skip

    def as_here(self, line: str, wheel: Path) -> str:
        """A line of the runbook with this prefix's places and ports; `sudo` has nothing to do here."""
        line = re.sub(r"^sudo ", "", line)
        line = line.replace("deploy/install", f"{INSTALL} --prefix {self.prefix} --wheel {wheel}")
        setup = "malting-gateway-setup"
        line = line.replace(f"{setup} broker", f"{setup} --port {self.broker_port} --listen 127.0.0.1 broker")
        line = line.replace("-p 8883", f"-p {self.broker_port}")
        return line.replace("/etc/malting-gateway", str(self.etc)).replace(
            "/var/lib/malting-gateway", str(self.state)
        )


class InstalledBroker(Broker):
    """Debian's main file, and the drop-in where it was put."""

    def __init__(self, folder: Path, board: Board) -> None:
        super().__init__(folder)
        self.port = board.broker_port
        (folder / "conf.d").symlink_to(board.prefix / "mosquitto" / "conf.d")

    def _text(self, port: int) -> str:
        return MAIN.format(folder=self.folder, user=USER)


class Service:
    """What systemd does with the unit, but for the sandbox: environment, credentials, notification."""

    def __init__(self, board: Board, folder: Path) -> None:
        self._told = folder / "notify.sock"
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind(str(self._told))
        unit = (board.prefix / "systemd" / "malting-gateway.service").read_text()
        [start] = re.findall(r"^ExecStart=(.*)$", unit, re.MULTILINE)
        [name, source] = re.findall(r"^LoadCredential=(\w+):(.*)$", unit, re.MULTILINE)[0]
        secrets = folder / "credentials"
        secrets.mkdir(mode=0o700)
        for file in Path(source).iterdir():
            shutil.copy(file, secrets / f"{name}_{file.name}")
        given = re.findall(r"^Environment=([A-Z_]+)=(.*)$", unit, re.MULTILINE)
        env = {key: value.replace("%d", str(secrets)) for key, value in given}
        env |= {"PATH": "/usr/bin:/bin", "NOTIFY_SOCKET": str(self._told), "WATCHDOG_USEC": "60000000"}
        self.log = folder / "service.log"
        with self.log.open("wb") as out:
            # A machine for tests may have no time service; the option says that its clock is right.
            self._process = subprocess.Popen(
                [*start.split(), "--trust-clock"], env=env, stdout=out, stderr=out, cwd=board.state
            )

    def wait_for(self, word: str) -> None:
        """Until it has told the service manager this."""
        while select.select([self._socket], [], [], SOON_S)[0]:
            if word in self._socket.recv(4096).decode().splitlines():
                return
        raise AssertionError(f"{word} was never told:\n{self.log.read_text()}")

    def stop(self) -> int:
        """As `systemctl stop`; the exit code."""
        self._process.send_signal(signal.SIGTERM)
        return self._process.wait(SOON_S)

    def discard(self) -> None:
        """Leave nothing running."""
        if self._process.poll() is None:
            self._process.kill()
            self._process.wait()
        self._socket.close()


class Phone:
    """Takes signed webhooks; `heard` has (headers, body) of each."""

    def __init__(self) -> None:
        heard: queue.Queue[tuple[dict[str, str], bytes]] = queue.Queue()

        class Handler(http.server.BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["content-length"]))
                heard.put(({key.lower(): value for key, value in self.headers.items()}, body))
                self.send_response(204)
                self.end_headers()

            def log_message(self, format: str, *args: Any) -> None:  # noqa: A002 - the library's name
                return

        self._heard = heard
        self._server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.port = int(self._server.server_address[1])
        threading.Thread(target=self._server.serve_forever, args=(0.1,), daemon=True).start()

    def hears(self, secret: str) -> dict[str, Any]:
        """The next message, its signature checked as Standard Webhooks says."""
        headers, body = self._heard.get(timeout=SOON_S)
        key = base64.b64decode(secret.strip().removeprefix("whsec_"))
        signed = f"{headers['webhook-id']}.{headers['webhook-timestamp']}.".encode() + body
        mac = base64.b64encode(hmac.new(key, signed, hashlib.sha256).digest()).decode()
        assert f"v1,{mac}" in headers["webhook-signature"].split()
        found: dict[str, Any] = json.loads(body)
        return found

    def close(self) -> None:
        """Hang up."""
        self._server.shutdown()
        self._server.server_close()
