"""What somebody asks to record: each verb, each fault in plain words, and nothing hostile gets through."""

import json
import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.core import asked, inputs
from gateway.core.inputs import (
    VERBS,
    Answered,
    Cast,
    KilnWorked,
    Moved,
    PutOutOfService,
    Quieted,
    Turned,
    event_to_plain,
)
from gateway.core.site import Person, Place, Probe, Site

NOW_MS = 1_730_781_000_000  # 2024-11-05T04:30:00Z
ZONE = "Europe/London"
SITE = Site(
    "quern-hill",
    "Quern Hill Maltings",
    ZONE,
    places=(Place("bed-c", "bed", "Bed C"), Place("bed-d", "bed", "Bed D"), Place("kiln", "kiln", "Kiln")),
    probes=(Probe("c1", "bed-c", "temperature", "Cel", "quern-hill/bed-c/c1", 60),),
    people=(Person("ada", "Ada", "turner"),),
)


def _read(word: str, **body: Any) -> Any:
    return asked.read(word, body, NOW_MS, ZONE)


def test_each_field_arrives_where_it_belongs() -> None:
    assert _read("cast", bed="bed-c", piece="14", by="Ada") == Cast("bed-c", "14", by="Ada")
    assert _read("turned", bed="bed-c", from_m=0, to_m=12.5) == Turned("bed-c", 0.0, 12.5)
    assert _read("kiln", what="fan-on") == KilnWorked("fan-on")
    assert _read("answer", alarm=412, answer="cant", why="ankle") == Answered(412, "cant", why="ankle")
    assert _read("quiet", alarm=412, **{"for": "2h"}) == Quieted(412, 7200.0)
    assert _read("quiet", alarm=412, **{"for": 90}) == Quieted(412, 90.0)
    assert _read("turned", bed="bed-c", when="04:10").when_ms == NOW_MS - 20 * 60_000
    assert _read("turned", bed="bed-c", when="2024-11-05T05:10:00+01:00").when_ms == NOW_MS - 20 * 60_000
    assert _read("test-call") == inputs.TestCallAsked()


@pytest.mark.parametrize(
    ("word", "body", "says"),
    [
        ("started", {}, "kind: 'started' is not one of"),
        ("delivery", {"notice": 1}, "not one of"),
        ("cast", {}, "bed missing"),
        ("cast", {"bed": 3}, "bed: 3: expected text"),
        ("cast", {"bed": ""}, "expected 1 to 200"),
        ("cast", {"bed": "x" * 201}, "expected 1 to 200"),
        ("cast", {"bed": "bed-c\n"}, "printable"),
        ("cast", {"bed": "bed-c", "colour": "green"}, "unknown colour"),
        ("turned", {"bed": "bed-c", "from_m": "4"}, "from_m: '4': expected a number"),
        ("turned", {"bed": "bed-c", "from_m": True}, "expected a number"),
        ("turned", {"bed": "bed-c", "from_m": float("nan")}, "sensible size"),
        ("turned", {"bed": "bed-c", "to_m": float("inf")}, "sensible size"),
        ("turned", {"bed": "bed-c", "to_m": 10**400}, "sensible size"),
        ("turned", {"bed": "bed-c", "when_ms": -5}, "when_ms"),
        ("turned", {"bed": "bed-c", "when": "teatime"}, "when: got 'teatime'; expected"),
        ("turned", {"bed": "bed-c", "when": 5}, "when: 5: expected text"),
        ("answer", {"alarm": "412", "answer": "going"}, "alarm: '412': expected a whole number"),
        ("answer", {"alarm": 412.5, "answer": "going"}, "whole number"),
        ("answer", {"alarm": 412, "answer": "maybe"}, "not one of going, heard, cant"),
        ("kiln", {"what": "exploded"}, "what: 'exploded' is not one of lit"),
        ("quiet", {"alarm": 412, "for": 0}, "for_s: 0 s (0 h) is not above 0"),
        ("quiet", {"alarm": 412, "for": "48h"}, "at most 86400"),
        ("quiet", {"alarm": 412, "for": "long"}, "for: 'long': expected a span"),
        ("quiet", {"alarm": 412, "for": {"h": 2}}, "for_s"),
    ],
)
def test_a_fault_names_the_key_and_what_was_expected(word: str, body: dict[str, Any], says: str) -> None:
    with pytest.raises(ValueError, match=re.escape(says)):
        asked.read(word, body, NOW_MS, ZONE)


@pytest.mark.parametrize(
    ("event", "says"),
    [
        (Cast("bed-x"), "Quern Hill Maltings has no bed bed-x; it has bed-c, bed-d"),
        (Cast("kiln"), "no bed kiln"),
        (Moved("bed-c", "bed-x"), "no bed bed-x"),
        (KilnWorked("lit", "bed-c"), "no kiln bed-c; it has kiln"),
        (PutOutOfService("c9"), "no probe c9; it has c1"),
        (inputs.TestCallAsked("zoe"), "no person zoe; it has ada"),
        (Answered(999, "going"), "no alarm 999"),
        (Quieted(999, 60.0), "no alarm 999"),
    ],
)
def test_what_the_site_does_not_have_is_said_in_plain_words(event: Any, says: str) -> None:
    assert says in (asked.cannot_be(event, SITE, {412}) or "")


def test_what_the_site_has_is_taken_however_odd() -> None:
    for event in (
        Cast("bed-c"),
        Turned("bed-c", 900.0, -3.0, when_ms=5),
        Moved("bed-c", "bed-c"),
        KilnWorked("drawn"),
        Answered(412, "heard"),
        PutOutOfService("c1"),
        inputs.TestCallAsked(),
    ):
        assert asked.cannot_be(event, SITE, {412}) is None


WORDS = st.text(st.characters(max_codepoint=600), max_size=20) | st.just("x" * 300)


def test_names_are_taken_for_ids() -> None:
    body = {"bed": "Bed C", "to": "BED-D", "kiln": "kiln", "by": " Ada ", "person": "ada", "why": "Ada"}
    expected = {"bed": "bed-c", "to": "bed-d", "kiln": "kiln", "by": "ada", "person": "ada", "why": "Ada"}
    assert asked.by_id(body, SITE) == expected
    odd = {"bed": 3, "by": "somebody else"}
    assert asked.by_id(odd, SITE) == odd


def test_a_name_that_two_places_have_is_no_id() -> None:
    two = Site("s", "S", ZONE, places=(Place("a", "bed", "North"), Place("b", "bed", "North")))
    assert asked.by_id({"bed": "north"}, two) == {"bed": "north"}
    assert asked.by_id({"bed": "A"}, two) == {"bed": "a"}


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | WORDS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(WORDS, inner, max_size=3),
    max_leaves=10,
)
KEYS = st.sampled_from(["bed", "to", "alarm", "answer", "what", "for", "for_s", "when", "when_ms", "from_m"])


@given(st.sampled_from([*sorted(VERBS), "started", "nonsense"]), st.dictionaries(KEYS, JSON, max_size=6))
def test_any_body_becomes_an_event_that_can_be_kept_or_a_named_fault(word: str, body: dict[str, Any]) -> None:
    said = ""
    try:
        kind, plain = event_to_plain(asked.read(word, body, NOW_MS, ZONE))
    except ValueError as fault:
        kind, plain, said = word, {}, str(fault)
    assert kind == word
    assert json.loads(json.dumps(plain, allow_nan=False)) == plain
    assert bool(plain) != bool(said)
    assert len(said) < 1000
