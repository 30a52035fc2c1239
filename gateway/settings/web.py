"""The page's table of the site file."""

from __future__ import annotations

import ipaddress
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import AfterValidator, Field

from gateway.settings.edge import Secrets
from gateway.settings.fault import Sheet
from gateway.settings.forms import File, Form
from gateway.settings.read import Row
from gateway.settings.values import Listen, Url, listen_parts


def _proxy(text: str) -> str:
    try:
        ipaddress.ip_network(text)
    except ValueError:
        raise ValueError('an address or a network, such as "192.168.7.2"') from None
    return text


Proxy = Annotated[str, Field(max_length=50), AfterValidator(_proxy)]


class WebForm(Form):
    """The page; without the table there is none."""

    listen: Listen = "127.0.0.1:8480"
    public_url: Url | None = None
    cert_file: File | None = None
    key_file: File | None = None
    trusted_proxies: Annotated[list[Proxy], Field(max_length=10)] | None = None
    plain_http_can_be_read_by_others: bool | None = None
    idle_h: Annotated[float, Field(ge=0.25, le=168)] = 12.0
    longest_h: Annotated[float, Field(ge=1, le=720)] = 168.0


@dataclass(frozen=True, slots=True)
class WebSettings:
    """Where the page listens, how it is encrypted, whose word about callers counts, how long one stays in."""

    host: str
    port: int
    public_url: str | None = None
    cert_file: Path | None = None
    key_file: Path | None = None
    trusted_proxies: tuple[str, ...] = ()
    idle_h: float = 12.0
    longest_h: float = 168.0


def read_web(sheet: Sheet, row: Row[Any], secrets: Secrets) -> WebSettings:
    """The page's table; plain HTTP stays on the machine unless the file says so in words."""
    form: WebForm = row.form
    spot = row.spot
    host, port = listen_parts(form.listen)
    if (form.cert_file is None) != (form.key_file is None):
        there = "cert_file" if form.cert_file else "key_file"
        sheet.fault(spot / there, getattr(form, there), "cert_file and key_file together")
    encrypted = form.cert_file is not None or bool(form.trusted_proxies)
    if not encrypted and not _is_here(host) and not form.plain_http_can_be_read_by_others:
        wanted = (
            "127.0.0.1, or cert_file and key_file, or trusted_proxies, "
            "or plain_http_can_be_read_by_others = true"
        )
        sheet.fault(spot / "listen", form.listen, wanted)
    return WebSettings(
        host=host,
        port=port,
        public_url=form.public_url.rstrip("/") if form.public_url else None,
        cert_file=secrets.pem(spot / "cert_file", form.cert_file),
        key_file=secrets.pem(spot / "key_file", form.key_file, private=True),
        trusted_proxies=tuple(form.trusted_proxies or ()),
        idle_h=form.idle_h,
        longest_h=form.longest_h,
    )


def _is_here(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
