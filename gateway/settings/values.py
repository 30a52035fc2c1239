"""Single values of the site file that need more than a type and bounds; each says what it expected."""

from __future__ import annotations

import re
from typing import Annotated
from urllib.parse import urlsplit

from pydantic import AfterValidator, Field

from gateway.settings import topic

_ID = re.compile(r"[a-z0-9-]{1,40}\Z")
_CLIENT_ID = re.compile(r"[!-~]{1,64}\Z")
_POINTER = re.compile(r"(?:/(?:[^~/]|~[01])*)*\Z")
_LISTEN = re.compile(r"(\[[0-9a-fA-F:.]+\]|[A-Za-z0-9.-]+):([0-9]{1,5})\Z")
_URL_WORDS = "an address that begins with http:// or https:// and names a host"


def is_id(text: str) -> bool:
    """Whether the text may name a place, probe, person, floor or programme."""
    return _ID.match(text) is not None


def listen_parts(text: str) -> tuple[str, int]:
    """Host and port of "127.0.0.1:8470" or "[::1]:8470"; port 0 takes any that is free. Raises ValueError."""
    found = _LISTEN.match(text)
    if not found or int(found[2]) > 65535:
        raise ValueError('host and port, such as "127.0.0.1:8470"')
    return found[1].strip("[]"), int(found[2])


def _id(text: str) -> str:
    if not is_id(text):
        raise ValueError("1 to 40 of a-z, 0-9 and -")
    return text


def _one_line(text: str) -> str:
    if not text.strip() or not text.isprintable():
        raise ValueError("words on one line")
    return text


def _url(text: str) -> str:
    try:
        parts = urlsplit(text)
        port_fits = parts.port is None or parts.port > 0
    except ValueError as fault:
        raise ValueError(_URL_WORDS) from fault
    plain = text.isascii() and text.isprintable() and " " not in text
    if not plain or parts.scheme not in ("http", "https") or not parts.hostname or not port_fits:
        raise ValueError(_URL_WORDS)
    return text


def _listen(text: str) -> str:
    listen_parts(text)
    return text


def _pointer(text: str) -> str:
    if not _POINTER.match(text):
        raise ValueError('a JSON pointer (RFC 6901) such as "/v"')
    return text


def _client_id(text: str) -> str:
    if not _CLIENT_ID.match(text):
        raise ValueError("1 to 64 printable ASCII characters without spaces")
    return text


def _topic(text: str) -> str:
    wanted = topic.why_not_a_name(text)
    if wanted:
        raise ValueError(wanted)
    return text


def _root(text: str) -> str:
    if text.startswith("/") or text.endswith("/"):
        raise ValueError("a topic that neither begins nor ends with /")
    return _topic(text)


def _filter(text: str) -> str:
    wanted = topic.why_not_a_filter(text)
    if wanted:
        raise ValueError(wanted)
    return text


def _pair(values: list[float]) -> list[float]:
    if len(values) != 2 or values[0] >= values[1]:
        raise ValueError("[low, high], two numbers with low below high")
    return values


Id = Annotated[str, AfterValidator(_id), Field(description="1 to 40 of a-z, 0-9 and -")]
Name = Annotated[str, Field(max_length=40), AfterValidator(_one_line), Field(description="a name")]
Line = Annotated[str, Field(max_length=200), AfterValidator(_one_line)]
Url = Annotated[str, Field(max_length=2000), AfterValidator(_url), Field(description=_URL_WORDS)]
Listen = Annotated[str, AfterValidator(_listen)]
Pointer = Annotated[str, Field(max_length=200), AfterValidator(_pointer)]
ClientId = Annotated[str, AfterValidator(_client_id)]
Topic = Annotated[str, AfterValidator(_topic)]
Root = Annotated[str, AfterValidator(_root)]
Filters = Annotated[list[Annotated[str, AfterValidator(_filter)]], Field(min_length=1, max_length=50)]
Pair = Annotated[list[Annotated[float, Field(ge=-1e9, le=1e9)]], Field(max_length=2), AfterValidator(_pair)]
