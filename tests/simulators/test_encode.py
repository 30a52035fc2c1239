"""The wire forms against examples of their standards."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulators.encode import BadPointer, document, number, tokens

# Source: RFC 6901, section 5, the pointers of its example document and the keys they name.
RFC_6901 = [
    ("", []),
    ("/foo", ["foo"]),
    ("/foo/0", ["foo", "0"]),
    ("/", [""]),
    ("/a~1b", ["a/b"]),
    ("/c%d", ["c%d"]),
    ("/e^f", ["e^f"]),
    ("/g|h", ["g|h"]),
    ("/i\\j", ["i\\j"]),
    ('/k"l', ['k"l']),
    ("/ ", [" "]),
    ("/m~0n", ["m~n"]),
]


@pytest.mark.parametrize(("pointer", "expected"), RFC_6901)
def test_tokens_of_the_standards_pointers(pointer: str, expected: list[str]) -> None:
    assert tokens(pointer) == expected


def test_the_escapes_come_in_the_standards_order() -> None:
    """Source: RFC 6901, section 4: '~01' is '~1', not '/'."""
    assert tokens("/~01") == ["~1"]


@pytest.mark.parametrize("pointer", ["v", "/a~2", "/a~", "/99"])
def test_pointers_that_are_not(pointer: str) -> None:
    with pytest.raises(BadPointer):
        document([(pointer, 1)])


def found(whole: Any, pointer: str) -> Any:
    """The value at a pointer, read as RFC 6901 section 4 says, apart from the writer."""
    for part in pointer.split("/")[1:]:
        key = part.replace("~1", "/").replace("~0", "~")
        whole = whole[int(key)] if isinstance(whole, list) else whole[key]
    return whole


def test_the_default_reading() -> None:
    text = document([("/v", 21.9), ("/t", 1764007261.25), ("/n", 7), ("/b", 93.1)])
    assert text == b'{"v":21.9,"t":1764007261.25,"n":7,"b":93.1}'


@given(st.lists(st.text(min_size=1, max_size=8), min_size=1, max_size=5, unique=True), st.floats(-1e6, 1e6))
def test_each_pointer_finds_its_value(names: list[str], value: float) -> None:
    escaped = ["/x" + name.replace("~", "~0").replace("/", "~1") + "/in" for name in names]
    whole = json.loads(document((pointer, value + i) for i, pointer in enumerate(escaped)))
    for i, pointer in enumerate(escaped):
        assert found(whole, pointer) == value + i


def test_digits_make_an_array_in_any_order() -> None:
    assert json.loads(document([("/p/1/v", 2), ("/p/0/v", 1)])) == {"p": [{"v": 1}, {"v": 2}]}


@pytest.mark.parametrize("pair", [("/a", "/a"), ("/a", "/a/b"), ("/a/b", "/a"), ("", "/a")])
def test_pointers_that_clash(pair: tuple[str, str]) -> None:
    with pytest.raises(BadPointer):
        document([(pair[0], 1), (pair[1], 2)])


def test_a_bare_number_is_a_short_decimal() -> None:
    assert number(-3.456, 2) == b"-3.46"
    assert number(1e6, 2) == b"1000000.00"
    assert len(number(1e20, 2)) <= 32


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 1e40])
def test_what_is_no_short_decimal_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match=r"decimal|32 bytes"):
        number(value, 2)
