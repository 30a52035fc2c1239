"""JSON pointers (RFC 6901), made ready once and asked for every message."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any, Final

MISSING: Final = object()
Getter = Callable[[Any], Any]

_BAD_ESCAPE = re.compile(r"~(?![01])")
_INDEX = re.compile(r"(?:0|[1-9][0-9]{0,8})\Z", re.ASCII)


def tokens(pointer: str) -> tuple[str, ...]:
    """The reference tokens of a pointer; raises ValueError for text that is none (RFC 6901 §3, §4)."""
    if not pointer:
        return ()
    if not pointer.startswith("/"):
        raise ValueError(f"{pointer!r} is no JSON pointer: it is empty or begins with /")
    if _BAD_ESCAPE.search(pointer):
        raise ValueError(f"{pointer!r} is no JSON pointer: after ~ comes 0 or 1")
    return tuple(part.replace("~1", "/").replace("~0", "~") for part in pointer.split("/")[1:])


def getter(pointer: str) -> Getter:
    """From a parsed document to the value there, or MISSING. Raises ValueError for a bad pointer."""
    path = tokens(pointer)
    if len(path) == 1:
        return _top(path[0])
    return lambda document: _walk(document, path)


def _top(key: str) -> Getter:
    def get(document: Any) -> Any:
        if type(document) is dict:
            return document.get(key, MISSING)
        return _step(document, key)

    return get


def _walk(document: Any, path: tuple[str, ...]) -> Any:
    for token in path:
        document = _step(document, token)
        if document is MISSING:
            break
    return document


def _step(value: Any, token: str) -> Any:
    if isinstance(value, dict):
        return value.get(token, MISSING)
    if isinstance(value, list) and _INDEX.match(token):
        index = int(token)
        return value[index] if index < len(value) else MISSING
    return MISSING
