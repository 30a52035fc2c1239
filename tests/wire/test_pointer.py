"""JSON pointers: the examples of RFC 6901, section 5, and what is no pointer."""

from typing import Any

import pytest

from gateway.core.wire.pointer import MISSING, getter, tokens

DOCUMENT: dict[str, Any] = {
    "foo": ["bar", "baz"],
    "": 0,
    "a/b": 1,
    "c%d": 2,
    "e^f": 3,
    "g|h": 4,
    "i\\j": 5,
    'k"l': 6,
    " ": 7,
    "m~n": 8,
}


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("", DOCUMENT),
        ("/foo", ["bar", "baz"]),
        ("/foo/0", "bar"),
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        ("/i\\j", 5),
        ('/k"l', 6),
        ("/ ", 7),
        ("/m~0n", 8),
    ],
)
def test_the_rfcs_examples(pointer: str, value: object) -> None:
    assert getter(pointer)(DOCUMENT) == value


@pytest.mark.parametrize(
    "pointer", ["/none", "/foo/2", "/foo/-", "/foo/01", "/foo/bar", "/foo/0/0", "/a~1b/x", "/foo/9999999999"]
)
def test_what_is_not_there_is_missing(pointer: str) -> None:
    assert getter(pointer)(DOCUMENT) is MISSING


@pytest.mark.parametrize("document", [None, 1, 1.5, True, "v", [], [1]])
def test_a_document_of_another_shape_has_nothing(document: object) -> None:
    assert getter("/v")(document) is MISSING


def test_an_element_of_a_top_level_array() -> None:
    assert getter("/1")([5, 6]) == 6


def test_tilde_one_is_undone_before_tilde_zero() -> None:
    # RFC 6901, section 4: "~01" becomes "~1" and not "/".
    assert tokens("/~01") == ("~1",)


@pytest.mark.parametrize("pointer", ["v", "v/", "/~", "/~2", "/a~"])
def test_what_is_no_pointer_is_said_at_once(pointer: str) -> None:
    with pytest.raises(ValueError, match="JSON pointer"):
        getter(pointer)
