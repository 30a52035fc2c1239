"""A small site with credentials, and mosquitto started with exactly the files that a board gets."""

import shutil
import subprocess
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple, TypeVar

from gateway.live import credentials as live_credentials
from tests.broker import HOST, USER, Broker, free_port

ROOT = Path(__file__).resolve().parents[2]
DROP_IN = ROOT / "deploy" / "mosquitto" / "malting-gateway.conf"
SOON_S = 30.0
T = TypeVar("T")

# /etc/mosquitto/mosquitto.conf of Debian 12's package, with this test's folder in place of its own.
MAIN = """\
pid_file {folder}/mosquitto.pid

persistence true
persistence_location {folder}/

log_dest file {folder}/mosquitto.log

include_dir {folder}/conf.d
{user}
"""

SITE = """\
[site]
id = "quern-hill"
name = "Quern Hill Maltings"
time_zone = "Europe/London"

[broker]
host = "127.0.0.1"
port = {port}
username = "gateway"
password_file = "secrets/broker.password"
tls_ca_file = "secrets/ca.pem"

[links]
listen = "127.0.0.1:0"

[[floor]]
id = "lower"
length_m = 20

[[place]]
id = "bed-a"
kind = "bed"
floor = "lower"
from_m = 0
to_m = 20

{probes}
[[person]]
id = "ada"
name = "Ada"
role = "maltster"

[[phone]]
person = "ada"
kind = "webhook"
url = "http://127.0.0.1:{phone}/ada"
secret_file = "secrets/ada.key"

[[shift]]
people = ["ada"]
days = "daily"
from = "00:00"
to = "00:00"
"""
PROBE = """\
[[probe]]
id = "{id}"
place = "bed-a"
quantity = "temperature"
unit = "Cel"
at_m = 5
payload = "json"
every_s = 60
range = [-20, 60]
"""


class Site(NamedTuple):
    """A site file, and the folder of credentials made from it."""

    file: Path
    credentials: Path

    @property
    def ca(self) -> Path:
        """What a probe knows the broker by."""
        return self.credentials / "ca.pem"

    def password(self, account: str) -> str:
        """The password of a probe, or of the gateway."""
        own = self.credentials / "gateway" / "secrets" / "broker.password"
        path = own if account == "gateway" else self.credentials / "probes" / f"{account}.password"
        return path.read_text().strip()


def make_site(
    folder: Path,
    *,
    port: int = 8883,
    phone: int = 1,
    probes: tuple[str, ...] = ("a-low", "a-mid"),
    names: tuple[str, ...] = (),
    certificates: bool = False,
) -> Site:
    """Write the site file and make its credentials, as a person does on the board."""
    folder.mkdir(parents=True, exist_ok=True)
    file = folder / "site.toml"
    file.write_text(site_text(port=port, phone=phone, probes=probes))
    live_credentials.make(file, {}, folder / "credentials", names, certificates=certificates)
    return Site(file, folder / "credentials")


def site_text(*, port: int, phone: int = 1, probes: tuple[str, ...] = ("a-low", "a-mid")) -> str:
    """A bed, its probes, and Ada with her phone."""
    return SITE.format(port=port, phone=phone, probes="\n".join(PROBE.format(id=name) for name in probes))


class BoardBroker(Broker):
    """Debian's main file, our drop-in as it is shipped, and the broker's part of a folder of credentials."""

    def __init__(self, folder: Path, credentials: Path, *, certificates: bool = False) -> None:
        super().__init__(folder)
        self._certificates = certificates
        self.certificate_port = 0
        shutil.copytree(credentials / "broker", folder / "malting-gateway")
        (folder / "conf.d").mkdir()

    def _text(self, port: int) -> str:
        self.certificate_port = self.certificate_port or free_port()
        text = drop_in(port, self.folder / "malting-gateway", self.certificate_port)
        if self._certificates:
            door = f"#listener {self.certificate_port}"
            head, tail = text.split(door)
            text = head + door[1:] + tail.replace("\n#", "\n")
        (self.folder / "conf.d" / "malting-gateway.conf").write_text(text)
        return MAIN.format(folder=self.folder, user=USER)


def drop_in(port: int, folder: Path, certificate_port: int = 8884) -> str:
    """The shipped file with its words filled in as `deploy/install broker` does, but for this host only."""
    text = DROP_IN.read_text()
    for word, value in (
        ("@LISTEN@", f"{port} {HOST}"),
        ("@CERTIFICATE_LISTEN@", f"{certificate_port} {HOST}"),
        ("@FOLDER@", str(folder)),
    ):
        assert word in text
        text = text.replace(word, value)
    return text


def publish(broker: Broker, site: Site, account: str, topic: str, text: str, *more: str) -> str:
    """Publish once over TLS with an account's password; "" or what mosquitto_pub complained of."""
    words = ["mosquitto_pub", *broker.client_args, "--cafile", str(site.ca), "-u", account]
    words += ["-P", site.password(account), "-q", "1", "-t", topic, "-m", text, *more]
    done = subprocess.run(words, capture_output=True, text=True, check=False, timeout=SOON_S)
    return done.stderr.strip() or ("" if done.returncode == 0 else f"exit {done.returncode}")


def until(done: Callable[[], T], within_s: float = SOON_S) -> T:
    """Ask again and again until the answer is true; fails with the last answer when it is too late."""
    late, pause = time.monotonic() + within_s, threading.Event()
    while not (answer := done()):
        assert time.monotonic() < late, f"not within {within_s} s: {answer!r}"
        pause.wait(0.02)
    return answer
