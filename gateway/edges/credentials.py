"""Keys, certificates and passwords for the broker's accounts, made once and never overwritten.

    FOLDER/ca.key ca.pem          the site's own authority; only whoever makes certificates needs the key
    FOLDER/broker/                what the broker reads: server.key server.pem ca.pem passwords access
    FOLDER/gateway/secrets/       what the gateway reads: ca.pem broker.password
    FOLDER/probes/                NAME.password for each probe, which knows the broker by FOLDER/ca.pem

With certificates asked for, `NAME.key` and `NAME.pem` stand beside each password. The openssl program does
the cryptography of certificates; passwords are 192 random bits.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import ipaddress
import os
import re
import secrets
import subprocess
import tempfile
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

from gateway.core.accounts import GATEWAY, HEAD, Account, access_list
from gateway.errors import SettingsFault

#: An authority that ends stops a whole site at once, so it lasts; revoking is taking the account away.
AUTHORITY_DAYS, CERTIFICATE_DAYS = 7300, 3650
#: `credentials` says so when less than this is left.
SOON_DAYS = 90
#: What mosquitto_passwd of mosquitto 2.0 writes: PBKDF2-HMAC-SHA512 of 101 rounds, 12 bytes of salt. More
#: rounds would help a password that can be guessed; these are random.
ROUNDS, SALT_BYTES = 101, 12
_NAME = re.compile(r"[A-Za-z0-9]([A-Za-z0-9.-]{0,250}[A-Za-z0-9])?\Z")
_CONFIG = """\
[req]
distinguished_name = dn
prompt = no
[dn]
CN = {subject}
[authority]
basicConstraints = critical, CA:TRUE, pathlen:0
keyUsage = critical, keyCertSign, cRLSign
subjectKeyIdentifier = hash
[server]
basicConstraints = critical, CA:FALSE
keyUsage = critical, digitalSignature
extendedKeyUsage = serverAuth
authorityKeyIdentifier = keyid
subjectAltName = {names}
[client]
basicConstraints = critical, CA:FALSE
keyUsage = critical, digitalSignature
extendedKeyUsage = clientAuth
authorityKeyIdentifier = keyid
"""


class Credentials:
    """The folder of one site. `said` grows by a line for everything that was made or wants looking at."""

    def __init__(self, folder: Path, site_id: str) -> None:
        self.said: list[str] = []
        self._folder, self._site_id = folder, site_id
        self.broker, self.probes = folder / "broker", folder / "probes"
        self.gateway = folder / "gateway" / "secrets"

    def make(self, accounts: Sequence[Account], names: Sequence[str], *, certificates: bool) -> None:
        """Make what is missing. `names`: what the broker is called in the network, and its addresses.

        Raises SettingsFault for a name that is none, for a list somebody else wrote, and where openssl fails.
        """
        odd = [name for name in names if not _is_name(name)]
        if odd:
            raise SettingsFault(f"--name {odd[0]!r}: expected a host name or an address")
        try:
            for folder in (self._folder, self.broker, self.gateway.parent, self.gateway, self.probes):
                folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            self._authority()
            self._server(list(dict.fromkeys(names)))
            for account in accounts:
                place, name = self._place(account)
                self._new(place / f"{name}.password", f"{secrets.token_urlsafe(24)}\n".encode())
                if certificates:
                    self._certificate(place / account.name, account.name, "client")
            self._lists(accounts)
        except OSError as fault:
            raise SettingsFault(f"{fault.filename or self._folder}: {fault.strerror or fault}") from fault

    def _place(self, account: Account) -> tuple[Path, str]:
        return (self.gateway, "broker") if account.name == GATEWAY else (self.probes, account.name)

    def _authority(self) -> None:
        key, certificate = self._folder / "ca.key", self._folder / "ca.pem"
        if not certificate.exists():
            self._key(key)
            with self._config(f"{self._site_id} authority") as config:
                words = ["req", "-x509", "-new", "-sha256", "-key", str(key), "-days", str(AUTHORITY_DAYS)]
                words += ["-config", config, "-extensions", "authority"]
                self._new(certificate, _openssl(*words))
        for folder in (self.broker, self.gateway):
            self._new(folder / "ca.pem", certificate.read_bytes())
        self._look_at_end(certificate)

    def _server(self, names: list[str]) -> None:
        certificate = self.broker / "server.pem"
        old = certificate.exists()
        self._certificate(self.broker / "server", "broker", "server", names)
        missing = [name for name in names if not _covers(certificate, name)] if old else []
        if missing:
            self.said.append(
                f"{certificate} does not name {', '.join(missing)}: clients that call the broker so will "
                "refuse it. To have it made anew with these names move it away and do this again."
            )

    def _certificate(self, path: Path, subject: str, kind: str, names: Sequence[str] = ()) -> None:
        key, certificate = path.with_name(f"{path.name}.key"), path.with_name(f"{path.name}.pem")
        if certificate.exists():
            self._look_at_end(certificate)
            return
        self._key(key)
        with self._config(subject, names) as config:
            request = _openssl("req", "-new", "-key", str(key), "-config", config)
            words = ["x509", "-req", "-sha256", "-CA", str(self._folder / "ca.pem")]
            words += ["-CAkey", str(self._folder / "ca.key"), "-set_serial", f"0x{secrets.token_hex(15)}"]
            words += ["-days", str(CERTIFICATE_DAYS), "-extfile", config, "-extensions", kind]
            self._new(certificate, _openssl(*words, given=request))

    def _key(self, path: Path) -> None:
        if not path.exists():
            words = ("genpkey", "-algorithm", "EC", "-pkeyopt", "ec_paramgen_curve:P-256")
            self._new(path, _openssl(*words))

    def _config(self, subject: str, names: Sequence[str] = ()) -> _Config:
        shown = [f"IP:{name}" if _is_address(name) else f"DNS:{name}" for name in names]
        return _Config(_CONFIG.format(subject=subject, names=", ".join(shown) or "DNS:localhost"))

    def _look_at_end(self, certificate: Path) -> None:
        words = ("x509", "-in", str(certificate), "-noout", "-checkend", str(SOON_DAYS * 86_400))
        if _run(words, b"").returncode:
            self.said.append(f"{certificate} ends within {SOON_DAYS} days: move it away and do this again.")

    def _lists(self, accounts: Sequence[Account]) -> None:
        """The broker's two lists follow the site file; only a list that was written here is replaced."""
        path = self.broker / "passwords"
        kept = dict(line.split(":", 1) for line in _lines(path) if ":" in line)
        found = {}
        for account in accounts:
            place, name = self._place(account)
            password = (place / f"{name}.password").read_bytes().removesuffix(b"\n")
            old = kept.get(account.name, "")
            found[account.name] = old if fits(password, old) else scrambled(password)
        self._list(path, "".join(f"{name}:{line}\n" for name, line in found.items()))
        self._list(self.broker / "access", access_list(accounts))
        for name in kept.keys() - found.keys():
            self.said.append(f"account {name} is not in the site file any more: it may not come in")

    def _list(self, path: Path, text: str) -> None:
        if path.exists():
            old = path.read_text(encoding="utf-8")
            if old == text:
                return
            if path.name == "access" and not old.startswith(HEAD):
                raise SettingsFault(f"{path}: not written here, so it is left alone; move it away")
        fresh = path.with_name(f"{path.name}.new")
        fresh.unlink(missing_ok=True)
        _write(fresh, text.encode())
        fresh.replace(path)
        self.said.append(f"wrote {path}")

    def _new(self, path: Path, data: bytes) -> None:
        """Write a file that is not there, whole or not at all."""
        if path.exists():
            return
        fresh = path.with_name(f"{path.name}.new")
        fresh.unlink(missing_ok=True)
        _write(fresh, data)
        os.link(fresh, path)
        fresh.unlink()
        self.said.append(f"made {path}")


class _Config:
    """openssl's configuration in a file, while it is needed: the machine's own must not have a say."""

    def __init__(self, text: str) -> None:
        self._text = text

    def __enter__(self) -> str:
        handle, self._name = tempfile.mkstemp(suffix=".cnf")
        with os.fdopen(handle, "w") as file:
            file.write(self._text)
        return self._name

    def __exit__(self, *_fault: object) -> None:
        with suppress(OSError):
            Path(self._name).unlink()


def scrambled(password: bytes) -> str:
    """A password as mosquitto 2.0 keeps it."""
    salt = secrets.token_bytes(SALT_BYTES)
    return f"$7${ROUNDS}${_b64(salt)}${_b64(hashlib.pbkdf2_hmac('sha512', password, salt, ROUNDS))}"


def fits(password: bytes, kept: str) -> bool:
    """Whether that is what mosquitto kept of this password."""
    try:
        empty, kind, rounds, salt, digest = kept.split("$")
        made = hashlib.pbkdf2_hmac("sha512", password, base64.b64decode(salt), int(rounds))
        return (empty, kind) == ("", "7") and hmac.compare_digest(made, base64.b64decode(digest))
    except (ValueError, OverflowError):
        return False


def _b64(data: bytes) -> str:
    return base64.b64encode(data).decode()


def _lines(path: Path) -> list[str]:
    return path.read_text(encoding="utf-8").splitlines() if path.exists() else []


def _write(path: Path, data: bytes) -> None:
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
    with os.fdopen(handle, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def _is_name(name: str) -> bool:
    return _is_address(name) or _NAME.match(name) is not None


def _covers(certificate: Path, name: str) -> bool:
    kind = "-checkip" if _is_address(name) else "-checkhost"
    return b"does match" in _openssl("x509", "-in", str(certificate), "-noout", kind, name)


def _run(words: Sequence[str], given: bytes) -> subprocess.CompletedProcess[bytes]:
    try:
        return subprocess.run(["openssl", *words], input=given, capture_output=True, check=False)
    except FileNotFoundError as fault:
        raise SettingsFault("openssl is not installed: sudo apt-get install -y openssl") from fault


def _openssl(*words: str, given: bytes = b"") -> bytes:
    done = _run(words, given)
    if done.returncode:
        raise SettingsFault(f"openssl {words[0]} failed: {done.stderr.decode(errors='replace')[-500:]}")
    return done.stdout
