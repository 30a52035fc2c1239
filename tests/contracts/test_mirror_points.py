"""Journal entries and effects as lines: escaping by the reference's examples, numbers and codes only."""

import dataclasses
import json
import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.core import inputs, points
from gateway.core.effects import effect_to_plain
from gateway.core.inputs import (
    Answered,
    Cast,
    Condition,
    Delivery,
    Entry,
    Event,
    KilnWorked,
    Loaded,
    Moved,
    Quieted,
    SiteChanged,
    Started,
    Turned,
)
from gateway.core.points import Marks, Pen
from gateway.core.reading import CLOCK_UNSURE, OWN_TIME, RANGE_HIGH, Reading
from gateway.core.site import Place, Probe, Site
from tests.contracts.mirror import read
from tests.contracts.store import alarm, notice, turn

VECTORS = Path(__file__).resolve().parents[3] / "shared" / "standards" / "vectors.json"
AT = 1_700_000_000_000

SITE = Site(
    "quern-hill", "Quern Hill Maltings", "Europe/London",
    places=(Place("bed-c", "bed", "Bed C"), Place("floor-1", "room", "Floor 1")),
    probes=(
        Probe("c-mid", "bed-c", "temperature", "Cel", "q/bed-c/c-mid", 60.0),
        Probe("c-air", "floor-1", "co2", "ppm", "q/floor-1/c-air", 60.0),
    ),
)  # fmt: skip


def pen() -> Pen:
    """At Quern Hill, nothing written yet."""
    return Pen("quern-hill", SITE)


def of(what: Reading | Event, at_ms: int = AT, n: int = 7) -> str | None:
    """The line of one input."""
    return pen().entry(Entry(n, at_ms, at_ms, what))


def _vectors() -> list[dict[str, Any]]:
    return json.loads(VECTORS.read_text())["line_protocol"]


@pytest.mark.data
def test_names_tags_and_keys_are_written_as_the_reference_writes_them() -> None:
    """InfluxDB v2, "Line protocol": its examples, with our kind of field where theirs is text."""
    vectors = _vectors()
    assert len(vectors) == 5
    for vector in vectors:
        [(key, value)] = vector["fields"].items()
        number = value if isinstance(value, float) else 1.5
        ours = points.line(vector["m"], vector["tags"].items(), [(key, number)], vector["t"] or 0)
        assert ours is not None
        theirs = vector["line"] if vector["t"] else f"{vector['line']} 0"
        text = '"' + str(value).replace('"', '\\"') + '"'
        assert ours == theirs.replace(f"={text}", "=1.5")


# Without lone halves of a character, which no text from a site file or a probe can hold.
TEXTS = st.text(st.characters(codec="utf-8"), min_size=1, max_size=20)


@given(TEXTS, st.dictionaries(TEXTS, TEXTS, max_size=4), st.floats(allow_nan=True), st.integers(0, 2**52))
def test_whatever_the_names_are_the_line_reads_back(
    name: str, tags: dict[str, str], value: float, at_ms: int
) -> None:
    line = points.line(name, tags.items(), [("value", value)], at_ms)
    if value != value or value in (float("inf"), float("-inf")):
        assert line is None
        return
    assert line is not None
    assert len(line.splitlines()) == 1 or "\x85" in line

    def clean(text: str) -> str:
        return re.sub("[\\x00-\\x1f\\x7f\\\\\u2028\u2029]", "_", text)

    cleaned = {clean(key): clean(text) for key, text in sorted(tags.items())}
    if len(cleaned) == len(tags):
        assert read(line) == (clean(name), cleaned, {"value": value}, at_ms)


def test_a_reading_has_its_place_and_quantity_and_the_time_it_was_measured() -> None:
    line = of(Reading("c-mid", AT - 5000, 21.37, OWN_TIME, 12, 2.9), at_ms=AT)
    assert line == (
        "reading,place=bed-c,probe=c-mid,quantity=temperature,site=quern-hill "
        "value=21.37,battery=2.9 1699999995000"
    )


def test_a_reading_says_what_is_doubtful_about_it() -> None:
    line = of(Reading("c-air", AT, 20000.0, OWN_TIME | RANGE_HIGH | CLOCK_UNSURE))
    assert line == (
        "reading,place=floor-1,probe=c-air,quantity=co2,site=quern-hill value=20000,flags=20 1700000000000"
    )


def test_a_reading_of_a_probe_no_site_file_names_is_written_without_a_place() -> None:
    assert of(Reading("gone", AT, -0.5)) == "reading,probe=gone,site=quern-hill value=-0.5 1700000000000"


def test_a_probe_that_was_moved_goes_on_under_its_new_place() -> None:
    moved = Site(SITE.id, SITE.name, SITE.time_zone, places=SITE.places, probes=(
        Probe("c-mid", "floor-1", "temperature", "Cel", "q/bed-c/c-mid", 60.0),
    ))  # fmt: skip
    one = pen()
    happened: list[inputs.Input] = [Reading("c-mid", 1, 15.0), SiteChanged(moved), Reading("c-mid", 2, 15.0)]
    lines = [one.entry(Entry(n, AT, AT, what)) for n, what in enumerate(happened)]
    assert [line and read(line)[1]["place"] for line in lines] == ["bed-c", None, "floor-1"]


@pytest.mark.parametrize(
    ("what", "tags", "fields"),
    [
        (Cast("bed-c", "14", "ada", "late lorry"), "kind=cast,place=bed-c", ",piece=14"),
        (Cast("bed-c", "old lot, Ben's"), "kind=cast,place=bed-c", ""),
        (Turned("bed-c", 0.0, 12.5, "ben"), "kind=turned,place=bed-c", ",from_m=0,to_m=12.5"),
        (Loaded("bed-c", "kiln-1"), "kind=loaded,place=bed-c,to=kiln-1", ""),
        (Moved("bed-a", "bed-b"), "kind=moved,place=bed-a,to=bed-b", ""),
        (KilnWorked("lit", "kiln-1", "cleo"), "code=lit,kind=kiln,place=kiln-1", ""),
        (Answered(412, "going", "dan"), "code=going,kind=answer", ",alarm=412"),
        (Quieted(412, 3600.0, "door open"), "kind=quiet", ",alarm=412,for_s=3600"),
        (inputs.PutOutOfService("c-mid", "dry"), "kind=out-of-service,probe=c-mid", ""),
        (inputs.TestCallAsked("ada"), "kind=test-call", ""),
    ],
)
def test_what_people_record_becomes_numbers_and_codes(what: Event, tags: str, fields: str) -> None:
    line = of(what)
    assert line is not None
    assert sorted(line.split(" ", 1)[0].split(",")) == sorted(["event", "site=quern-hill", *tags.split(",")])
    assert line.split(" ", 1)[1] == f"n=7,ago_s=0{fields} {AT}"


@pytest.mark.parametrize("kind", sorted(inputs.VERBS))
def test_whatever_can_be_recorded_has_a_line_without_the_words_typed(kind: str) -> None:
    """Every kind of event there is, every text of it typed by somebody but the ids of places and probes."""
    ids = {"bed": "bed-c", "to": "bed-d", "kiln": "kiln-1", "steep": "steep-1", "probe": "c-mid"}
    ids["place"] = "lower-room"
    codes = {("kiln", "what"): "lit", ("answer", "answer"): "going", ("steep-stand", "kind"): "wet"}
    body: dict[str, Any] = {}
    for field in dataclasses.fields(inputs.EVENTS[kind]):
        text = ids.get(field.name) or codes.get((kind, field.name), "typed, by somebody")
        body[field.name] = text if "str" in str(field.type) else 3
    line = of(inputs.event_from_plain(kind, body))
    assert line is not None
    assert "typed" not in line
    name, tags, fields, _ = read(line)
    assert (name, tags["kind"]) == ("event", kind)
    assert set(tags.values()) <= {kind, "quern-hill", *ids.values(), *codes.values()}
    numbers = {key for key, value in body.items() if value == 3 and key != "when_ms"}
    assert set(fields) == {"n", "ago_s"} | numbers


def test_what_was_recorded_late_says_how_late() -> None:
    line = of(Turned("bed-c", when_ms=AT - 90_000))
    assert line == f"event,kind=turned,place=bed-c,site=quern-hill n=7,ago_s=90 {AT}"


@pytest.mark.parametrize(
    "what", [Started("1"), SiteChanged(SITE), Condition("broker", True, "gone"), Delivery(1, "ada-1", "gone")]
)
def test_the_gateways_own_happenedstay_in_the_store(what: Event) -> None:
    assert of(what) is None


def test_a_step_of_an_alarm_says_what_happened_and_where_it_stands() -> None:
    line = pen().effect(*effect_to_plain(alarm((7, 1))))
    assert line == (
        "alarm,kind=bed_hot,level=urgent,place=bed-c,priority=high,signal=raise,site=quern-hill,"
        "state=unacknowledged,unit=Cel "
        "number=101,occurrence=1,active=1,late=0,value=23.4,limit=23 1700000040001"
    )
    over = pen().effect(*effect_to_plain(alarm((7, 1), state="normal", signal="clear")))
    assert over is not None
    assert read(over)[2]["active"] == 0.0


def test_a_turn_says_when_and_where_and_no_name() -> None:
    line = pen().effect(*effect_to_plain(turn((7, 1), 3)))
    assert line == (
        "turn,place=bed-c,site=quern-hill,source=recorded,state=kept "
        "turn=3,began_ms=1700000040000,ended_ms=1700001240000 1700001240000"
    )


def test_a_notice_stays_in_the_store() -> None:
    assert pen().effect(*effect_to_plain(notice((7, 1), 1))) is None


def test_no_name_and_no_free_text_leaves_the_store() -> None:
    words = "ada ben because of the storm"
    events: list[Event] = [
        Cast("bed-c", words, "ada", words),
        Turned("bed-c", by="ada", why=words),
        inputs.TestCallAsked("ada", why=words),
        Answered(1, "cant", "ada", words),
        Quieted(1, 60.0, words, "ada"),
    ]
    effects = (alarm((1, 1), signal="answer"), turn((1, 2), 1, "ada"))
    lines = [of(event) for event in events]
    lines += [pen().effect(*effect_to_plain(effect)) for effect in effects]
    assert not [line for line in lines if line and re.search("ada|storm", line)]
    assert None not in lines


def test_of_two_events_in_one_millisecond_both_are_kept_and_a_second_time_alike() -> None:
    entries = [Entry(n, AT, AT, Turned("bed-c", by="ben")) for n in (1, 2, 3)]
    first, second = pen(), pen()
    once = [first.entry(entry) for entry in entries]
    assert [line and read(line)[3] for line in once] == [AT, AT + 1, AT + 2]
    assert [second.entry(entry) for entry in entries[:1]] == once[:1]
    # As after a restart: the marks are what was kept with the place.
    third = Pen("quern-hill", SITE, second.marks)
    assert [third.entry(entry) for entry in entries[1:]] == once[1:]


def test_a_clock_that_is_set_back_does_not_hold_events_at_the_wrong_time() -> None:
    one = Pen("quern-hill", SITE, Marks(event_ms=AT + 3_600_000))
    line = one.entry(Entry(1, AT, AT, Turned("bed-c")))
    assert line is not None
    assert read(line)[3] == AT
