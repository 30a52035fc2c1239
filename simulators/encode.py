"""What a probe puts on the wire: a bare number, or a JSON object filled by RFC 6901 pointers.

Written from the standards, for the simulated probes alone.
"""

import json
import math
from collections.abc import Iterable

Json = str | int | float | None
MAX_INDEX = 63
"""A pointer may not ask for a longer array than this."""


class BadPointer(ValueError):
    """A pointer that RFC 6901 does not allow, or that clashes with another of the same message."""


def number(value: float, decimals: int) -> bytes:
    """An ASCII decimal of at most 32 bytes, without exponent."""
    if not math.isfinite(value):
        raise ValueError(f"{value} is no decimal number")
    text = f"{value:.{decimals}f}"
    if len(text) > 32:
        raise ValueError(f"{text[:40]} is longer than 32 bytes")
    return text.encode("ascii")


def tokens(pointer: str) -> list[str]:
    """The reference tokens of a pointer (RFC 6901, sections 3 and 4); the empty pointer has none."""
    if not pointer:
        return []
    if not pointer.startswith("/"):
        raise BadPointer(f"pointer {pointer!r}: must be empty or begin with '/'")
    found = []
    for token in pointer[1:].split("/"):
        rest = token.replace("~0", "").replace("~1", "")
        if "~" in rest:
            raise BadPointer(f"pointer {pointer!r}: '~' must be followed by 0 or 1")
        found.append(token.replace("~1", "/").replace("~0", "~"))
    return found


def document(members: Iterable[tuple[str, Json]]) -> bytes:
    """A JSON text in which each pointer finds its value.

    A token of digits makes an array member where nothing is there yet or an array is, and else a
    member of that name: RFC 6901 reads the same pointer both ways.
    """
    whole: object = None
    for pointer, value in members:
        whole = _placed(whole, tokens(pointer), value, pointer)
    return json.dumps(whole, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode()


def _placed(node: object, path: list[str], value: Json, pointer: str) -> object:
    if not path:
        if node is not None:
            raise BadPointer(f"pointer {pointer!r}: its place is already taken")
        return value
    first, rest = path[0], path[1:]
    if _is_index(first) and (node is None or isinstance(node, list)):
        index = int(first)
        if index > MAX_INDEX:
            raise BadPointer(f"pointer {pointer!r}: index above {MAX_INDEX}")
        array: list[object] = list(node or [])
        array.extend([None] * (index + 1 - len(array)))
        array[index] = _placed(array[index], rest, value, pointer)
        return array
    if node is not None and not isinstance(node, dict):
        raise BadPointer(f"pointer {pointer!r}: runs through a value of another pointer")
    members: dict[str, object] = dict(node or {})
    members[first] = _placed(members.get(first), rest, value, pointer)
    return members


def _is_index(step: str) -> bool:
    return step.isascii() and step.isdigit() and len(step) <= 4 and str(int(step)) == step
