"""Dataclasses to plain JSON values and back, exactly: floats keep every bit, unknown keys are refused.

A field with metadata {"derived": True} can be made again from the others and is left out. Of a class with
`BRIEF = True`, of which many are kept, fields that stand at their default are left out, too: such a default
never changes. One with `ROW = True` is the list of its fields in their order: a new field goes last and
has a default.

What a class once had and has no more is named in its `GONE`, so that what an older version kept is still
read: `GONE = ("sway",)`, or for a row `GONE = {"sway": 2}` with its place in the list, counted from 0. That
place stays its own (0 is written there): by its length alone a row does not tell which version wrote it. Such
a name is never taken again. A name that is neither a field nor gone is refused.
"""

from __future__ import annotations

import dataclasses
import types
import typing
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from enum import Enum
from functools import cache
from typing import Any

_PLAIN = (int, float, str, bool, type(None))


def plain(value: Any) -> Any:
    """The value as dicts, lists, numbers, strings and None, ready for json.dumps.

    Dataclass fields become keys, those of a row a list; dict keys become strings; tuples, sets and deques
    become lists.
    """
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, _PLAIN):
        return value
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        if getattr(value, "BRIEF", False):
            return {name: plain(item) for name, item in _told(value)}
        if getattr(value, "ROW", False):
            return [0 if name is None else plain(getattr(value, name)) for name in _row(type(value))]
        return {name: plain(getattr(value, name)) for name in _names(type(value))}
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, set | frozenset):
        return sorted(plain(item) for item in value)
    if isinstance(value, tuple | list | deque):
        return [plain(item) for item in value]
    raise TypeError(f"{type(value).__name__} has no plain form")


def restore(kind: Any, value: Any) -> Any:
    """The inverse of `plain` for a type; raises ValueError naming the key where the form does not fit."""
    return _reader(kind)(value)


def _told(value: Any) -> Iterator[tuple[str, Any]]:
    """The fields of a brief value that differ from their defaults; 0 for 0.0 and 1 for True do."""
    kind: type = type(value)
    for name, default in _defaults(kind):
        item = getattr(value, name)
        if item != default or type(item) is not type(default) or str(item) != str(default):
            yield name, item


@cache
def _defaults(kind: type) -> tuple[tuple[str, Any], ...]:
    found = []
    for field in dataclasses.fields(kind):
        made = field.default_factory
        default = field.default if made is dataclasses.MISSING else made()
        if not field.metadata.get("derived"):
            found.append((field.name, default))
    return tuple(found)


@cache
def _names(kind: type) -> tuple[str, ...]:
    return tuple(f.name for f in dataclasses.fields(kind) if not f.metadata.get("derived"))


@cache
def _gone(kind: type) -> frozenset[str]:
    gone = frozenset(getattr(kind, "GONE", ()))
    again = sorted(gone & {field.name for field in dataclasses.fields(kind)})
    if again:
        raise TypeError(f"{kind.__name__}: {again} are gone, and a name is not taken again")
    return gone


@cache
def _row(kind: type) -> tuple[str | None, ...]:
    """The fields of a row in their places, None at the place of one that is gone."""
    row: list[str | None] = list(_names(kind))
    places: Mapping[str, int] = getattr(kind, "GONE", None) or {}
    if not isinstance(places, Mapping):
        raise TypeError(f"{kind.__name__}: GONE of a row says the place of each name")
    for name, place in sorted(places.items(), key=lambda one: one[1]):
        if not 0 <= place <= len(row):
            raise TypeError(f"{kind.__name__}: {name} cannot have stood at {place}")
        row.insert(place, None)
    return tuple(row)


@cache
def _reader(kind: Any) -> Callable[[Any], Any]:
    origin = typing.get_origin(kind)
    if origin in (typing.Union, types.UnionType):
        return _union(typing.get_args(kind))
    if origin is not None:
        return _container(origin, typing.get_args(kind))
    if isinstance(kind, type) and dataclasses.is_dataclass(kind):
        return _dataclass(kind)
    if isinstance(kind, type) and issubclass(kind, Enum):
        return kind
    if kind is float:
        return float
    return lambda value: value


def _union(options: tuple[Any, ...]) -> Callable[[Any], Any]:
    others = [option for option in options if option is not type(None)]
    if len(others) == 1:
        # Looked up late: a dataclass may name itself.
        return lambda value: None if value is None else _reader(others[0])(value)
    return lambda value: value


def _container(origin: Any, args: tuple[Any, ...]) -> Callable[[Any], Any]:
    if origin is dict:
        key = int if args[0] is int else _reader(args[0])
        item = _reader(args[1])
        return lambda value: {key(k): item(v) for k, v in value.items()}
    if origin is tuple and not (len(args) == 2 and args[1] is Ellipsis):
        parts = tuple(_reader(arg) for arg in args)
        return lambda value: tuple(part(v) for part, v in zip(parts, value, strict=True))
    item = _reader(args[0])
    return lambda value: origin(item(v) for v in value)


def _dataclass(kind: type) -> Callable[[Any], Any]:
    hints = typing.get_type_hints(kind)
    readers = {name: _reader(hints[name]) for name in _names(kind)}

    row = _row(kind) if getattr(kind, "ROW", False) else None
    gone = _gone(kind)

    def read(value: Any) -> Any:
        if row is not None and isinstance(value, list):
            if len(value) > len(row):
                raise ValueError(f"{kind.__name__}: expected at most {len(row)} values, got {len(value)}")
            value = {name: item for name, item in zip(row, value, strict=False) if name is not None}
        if not isinstance(value, dict):
            raise ValueError(f"{kind.__name__}: expected an object, got {type(value).__name__}")
        unknown = value.keys() - readers.keys() - gone
        if unknown:
            raise ValueError(f"{kind.__name__}: unknown keys {sorted(unknown)}")
        return kind(**{name: readers[name](item) for name, item in value.items() if name not in gone})

    return read
