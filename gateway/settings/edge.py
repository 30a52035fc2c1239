"""What the edges need and the core must not know: the broker, the door, the phones and their secrets."""

from __future__ import annotations

import base64
import binascii
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from gateway.settings.fault import Sheet, Spot
from gateway.settings.forms import BrokerForm, LinksForm, PhoneForm, SeriesForm
from gateway.settings.read import Row, read_bounded
from gateway.settings.values import listen_parts

MOST_SECRET_BYTES, MOST_PEM_BYTES = 4096, 1_000_000
#: Standard Webhooks: a secret is between 24 and 64 random bytes.
FEW_SECRET_BYTES, MANY_SECRET_BYTES = 24, 64
STARS = "********"


class Secret(bytes):
    """Bytes that print as stars."""

    def __repr__(self) -> str:
        return STARS

    __str__ = __repr__


class SecretText(str):
    """Text whose `repr` is stars, and with it that of whatever holds it."""

    __slots__ = ()

    def __repr__(self) -> str:
        return STARS


@dataclass(frozen=True, slots=True)
class BrokerSettings:
    """Files are absolute or relative to the working directory, ready to be opened."""

    host: str
    port: int
    client_id: str
    root: str
    subscribe: tuple[str, ...]
    protocol: str
    tls: bool = False
    tls_ca_file: Path | None = None
    tls_cert_file: Path | None = None
    tls_key_file: Path | None = None
    username: str | None = None
    password: str | None = None


@dataclass(frozen=True, slots=True)
class LinksSettings:
    """Where the door listens (port 0: any that is free), and how phones reach it, without a last slash."""

    listen_host: str
    listen_port: int
    public_url: str


@dataclass(frozen=True, slots=True)
class PhoneSettings:
    """A phone's address and the key its messages are signed with; empty where secrets were not asked for."""

    url: str
    secret: bytes

    def __repr__(self) -> str:
        return f"PhoneSettings(url={STARS}, secret={STARS})"


@dataclass(frozen=True, slots=True)
class SeriesSettings:
    """The time-series server; `newest_days`: only what is younger is written, None for all of it."""

    url: str
    org: str
    bucket: str
    token: str
    tls_ca_file: Path | None = None
    every_s: float = 10.0
    batch: int = 5000
    timeout_s: float = 30.0
    alarm_after_s: float = 3600.0
    newest_days: float | None = None


@dataclass(frozen=True, slots=True)
class Secrets:
    """Opens the files a site file names: relative ones in `folder`, and none at all where that is None."""

    sheet: Sheet
    folder: Path | None

    def find(self, spot: Spot, name: str | None, most: int) -> tuple[Path, bytes] | None:
        """The file's path and bytes; a fault on the sheet where it cannot be read."""
        if name is None or self.folder is None:
            return None
        path = self._path(self.folder, name)
        try:
            return path, read_bounded(path, most)
        except (OSError, ValueError) as fault:
            why = getattr(fault, "strerror", None) or str(fault)
            self.sheet.fault(spot, name, f"a file that can be read ({why})")
            return None

    @staticmethod
    def _path(folder: Path, name: str) -> Path:
        """A service manager that loads a folder of credentials puts `_` for each slash (systemd.exec(5),
        LoadCredential=)."""
        path, flat = folder / name, folder / name.replace("/", "_")
        return flat if not path.exists() and flat.exists() else path

    def secret(self, spot: Spot, name: str | None) -> bytes | None:
        """The file's bytes without the last line end; warns where other users of the machine may read it."""
        found = self.find(spot, name, MOST_SECRET_BYTES)
        if found is None:
            return None
        path, data = found
        self._look_at_mode(spot, name, path)
        data = data.removesuffix(b"\n").removesuffix(b"\r")
        if not data:
            self.sheet.fault(spot, name, "a file that is not empty")
        return data or None

    def pem(self, spot: Spot, name: str | None, *, private: bool = False) -> Path | None:
        """The path of a file of certificates or of a key, which is `private`."""
        found = self.find(spot, name, MOST_PEM_BYTES)
        if found and b"-----BEGIN " not in found[1]:
            self.sheet.fault(spot, name, "a PEM file, with a line -----BEGIN …")
        if found and private:
            self._look_at_mode(spot, name, found[0])
        return found[0] if found else None

    def _look_at_mode(self, spot: Spot, name: str | None, path: Path) -> None:
        if path.exists() and path.stat().st_mode & 0o007:
            self.sheet.warn(spot, name, f"a file closed to other users (chmod o= {path.name})")


def broker(sheet: Sheet, row: Row[BrokerForm], site_id: str, secrets: Secrets) -> BrokerSettings:
    """The broker's table with its defaults: root from the site's id, subscribed to all below the root."""
    form, spot = row.form, row.spot
    root = form.root or site_id
    tls = form.tls if form.tls is not None else _names_tls(form)
    _check_broker(sheet, spot, form)
    password = _password(sheet, spot / "password_file", form.password_file, secrets)
    return BrokerSettings(
        host=form.host,
        port=form.port or (8883 if tls else 1883),
        client_id=form.client_id or f"malting-gateway-{site_id}",
        root=root,
        subscribe=tuple(form.subscribe or [f"{root}/#"]),
        protocol=form.protocol,
        tls=tls,
        tls_ca_file=secrets.pem(spot / "tls_ca_file", form.tls_ca_file),
        tls_cert_file=secrets.pem(spot / "tls_cert_file", form.tls_cert_file),
        tls_key_file=secrets.pem(spot / "tls_key_file", form.tls_key_file, private=True),
        username=form.username,
        password=password,
    )


def _names_tls(form: BrokerForm) -> bool:
    return bool(form.tls_ca_file or form.tls_cert_file or form.tls_key_file)


def _check_broker(sheet: Sheet, spot: Spot, form: BrokerForm) -> None:
    if form.tls is False and _names_tls(form):
        sheet.fault(spot / "tls", False, "true, or no tls_…_file")
    if (form.tls_cert_file is None) != (form.tls_key_file is None):
        there = "tls_cert_file" if form.tls_cert_file else "tls_key_file"
        sheet.fault(spot / there, getattr(form, there), "tls_cert_file and tls_key_file together")
    if form.password_file and not form.username:
        sheet.fault(spot / "password_file", form.password_file, "a username with it")


def _password(sheet: Sheet, spot: Spot, name: str | None, secrets: Secrets) -> SecretText | None:
    data = secrets.secret(spot, name)
    try:
        return SecretText(data.decode()) if data else None
    except UnicodeDecodeError:
        sheet.fault(spot, name, "a file in UTF-8")
        return None


def links(row: Row[LinksForm]) -> LinksSettings:
    """The door's table with its defaults."""
    host, port = listen_parts(row.form.listen)
    shown = f"[{host}]" if ":" in host else host
    return LinksSettings(host, port, (row.form.public_url or f"http://{shown}:{port}").rstrip("/"))


def series(sheet: Sheet, row: Row[SeriesForm], secrets: Secrets) -> SeriesSettings:
    """The time-series server's table; the token is one line of visible ASCII."""
    form, spot = row.form, row.spot
    token = _password(sheet, spot / "token_file", form.token_file or None, secrets) or SecretText()
    if not all("!" <= one <= "~" for one in token):
        sheet.fault(
            spot / "token_file", form.token_file, "one line with the token in that file, nothing else"
        )
    parts = urlsplit(form.url)
    if parts.username or parts.query or parts.fragment:
        sheet.fault(spot / "url", form.url, "an address alone; the token has a file, the bucket a key")
    if parts.scheme == "http" and parts.hostname not in ("localhost", "127.0.0.1", "::1"):
        sheet.warn(spot / "url", form.url, "https; over http the token can be read on its way")
    return SeriesSettings(
        url=form.url.rstrip("/"),
        org=form.org,
        bucket=form.bucket,
        token=token,
        tls_ca_file=secrets.pem(spot / "tls_ca_file", form.tls_ca_file),
        every_s=form.every_s,
        batch=form.batch,
        timeout_s=form.timeout_s,
        alarm_after_s=form.alarm_after_s,
        newest_days=form.newest_days,
    )


def phone(sheet: Sheet, row: Row[PhoneForm], secrets: Secrets) -> PhoneSettings:
    """A phone's address and key. A secret is `whsec_` and base64, or the bytes of the file as they are."""
    spot, name = row.spot / "secret_file", row.form.secret_file
    data = secrets.secret(spot, name) if name else None
    key = data or b""
    if key.startswith(b"whsec_"):
        try:
            key = base64.b64decode(key[6:] + b"=" * (-(len(key) - 6) % 4), validate=True)
        except binascii.Error:
            sheet.fault(spot, name, "whsec_ and base64 in that file")
            return PhoneSettings(row.form.url, Secret())
    if data and not FEW_SECRET_BYTES <= len(key) <= MANY_SECRET_BYTES:
        sheet.warn(spot, name, f"a secret of {FEW_SECRET_BYTES} to {MANY_SECRET_BYTES} bytes, not {len(key)}")
    return PhoneSettings(row.form.url, Secret(key))
