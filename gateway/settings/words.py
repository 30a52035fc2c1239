"""What a validator complains about, said as what was expected."""

from __future__ import annotations

import difflib
import typing
from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel

_TYPES = {
    "string_type": "text in quotes",
    "float_type": "a number",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "bool_type": "true or false",
    "list_type": "a list in [ ]",
    "finite_number": "a finite number",
    "model_type": "a table",
    "model_attributes_type": "a table",
}
_BOUNDS = {
    "greater_than": ("gt", "a number above {}"),
    "greater_than_equal": ("ge", "a number of at least {}"),
    "less_than": ("lt", "a number below {}"),
    "less_than_equal": ("le", "a number of at most {}"),
    "string_too_short": ("min_length", "at least {} character"),
    "string_too_long": ("max_length", "at most {} characters"),
    "too_short": ("min_length", "at least {} of them"),
    "too_long": ("max_length", "at most {} of them"),
}


def expected(error: Mapping[str, Any], form: type[BaseModel]) -> str:
    """The words for one of pydantic's error details about a table of that form."""
    kind, context = error["type"], error.get("ctx", {})
    if kind == "extra_forbidden":
        return _known_keys(form, str(error["loc"][-1]))
    if kind == "missing":
        return _described(form, error["loc"])
    if kind == "value_error":
        return str(context["error"])
    if kind == "literal_error":
        return "one of " + str(context["expected"]).replace(" or ", ", ").replace("'", "")
    if kind in _BOUNDS:
        name, words = _BOUNDS[kind]
        return words.format(_number(context[name]))
    return _TYPES.get(kind) or str(error["msg"])


def keys_of(form: type[BaseModel]) -> list[str]:
    """The keys of a form as they are written in the file."""
    return [field.alias or name for name, field in form.model_fields.items()]


def nearest(word: str, known: list[str]) -> str:
    """The known words, with a guess at what was meant in front; for "expected …"."""
    guess = difflib.get_close_matches(word[:60], known[:500], n=1)
    few = ", ".join(known[:12]) + (" …" if len(known) > 12 else "")
    return (
        (f"{guess[0]}? or another of {few}" if guess else f"one of {few}") if known else "none: there is none"
    )


def _known_keys(form: type[BaseModel], key: str) -> str:
    return f"no such key, but {nearest(key, keys_of(form))}"


def _described(form: type[BaseModel], loc: tuple[Any, ...]) -> str:
    """The description of a missing key, or the choices of one that has choices."""
    for name, field in form.model_fields.items():
        if (field.alias or name) == loc[-1]:
            choices = ", ".join(map(str, typing.get_args(field.annotation)))
            return field.description or (f"one of {choices}" if choices else "a value")
    return "a value"


def _number(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)
