"""Recording with no daemon: committed by the command itself, or refused in plain words, or no answer."""

from pathlib import Path

import pytest

from gateway.core.inputs import Answered, Cast, Turned
from gateway.core.inputs_air import CheckedOut
from gateway.edges.sqlite import open_reader, open_writer
from gateway.errors import NoAnswer
from gateway.live import store as live_store
from tests.cli.house import NIGHT_MS, schema, type_in


def _newest(store: Path) -> object:
    reader = open_reader(store)
    try:
        return reader.entries_after(reader.last_stamp()[0] - 1, 1)[0].what
    finally:
        reader.close()


def test_the_journal_number_is_printed_once_it_is_kept(store: Path) -> None:
    before = type_in("--store", store, "cast", "bed-d", "--piece", "16", "--by", "Ada")
    assert before.code == 0
    schema("recorded").validate(before.json)
    after = type_in("--store", store, "cast", "bed-d", "--piece", "17")
    assert after.json["journal"] == before.json["journal"] + 1
    assert isinstance(_newest(store), Cast)


def test_what_really_happened_when_is_kept(store: Path) -> None:
    said = type_in(
        "--store", store, "turned", "bed-c", "--from-m", 20, "--to-m", 25, "--at",
        "2024-11-05T02:40:00Z", "--by", "Ben", "--why", "half of it",
    )  # fmt: skip
    assert said.code == 0
    assert _newest(store) == Turned("bed-c", 20.0, 25.0, "ben", "half of it", NIGHT_MS + 40 * 60_000)


def test_while_the_gateway_is_down_an_entry_without_a_time_gets_the_real_one(store: Path) -> None:
    assert type_in("--store", store, "turned", "bed-c").code == 0
    kept = _newest(store)
    assert isinstance(kept, Turned)
    assert kept.when_ms is not None
    assert kept.when_ms > NIGHT_MS + 86_400_000


def test_a_correction_while_the_gateway_is_down_leaves_the_time_it_does_not_speak_of(store: Path) -> None:
    number = type_in("--store", store, "cast", "bed-d", "--piece", "50", "--at", "2024-11-03T06:00:00Z").json
    before = type_in("--store", store, "piece", "50", "--json").json["rows"]
    assert type_in("--store", store, "correct", number["journal"], "--piece", "51", "--why", "51").code == 0
    after = type_in("--store", store, "piece", "51", "--json").json["rows"]
    assert before[0]["cast_at"] == after[0]["cast_at"] == "2024-11-03T06:00:00.000Z"


def test_what_was_recorded_is_seen_at_once(store: Path) -> None:
    type_in("--store", store, "cast", "bed-d", "--piece", "16", "--at", "2024-11-04T20:00:00Z")
    rows = {row["bed"]: row for row in type_in("--store", store, "beds", "--json").json["rows"]}
    assert rows["bed-d"]["piece"] == "16"


def test_who_goes_in_is_inside_until_they_are_out(store: Path) -> None:
    for who in (["check-in", "Cleo", "Lower floor", "--for", "45min"], ["check-out", "Ben"]):
        assert type_in("--store", store, *who).code == 0
    rows = {row["place"]: row for row in type_in("--store", store, "air", "--json").json["rows"]}
    assert [one["person"] for one in rows["lower-room"]["inside"]] == ["cleo"]
    kept = _newest(store)
    assert isinstance(kept, CheckedOut)
    assert kept.person == "ben"


def test_an_alarm_is_answered(store: Path) -> None:
    rows = type_in("--store", store, "alarms", "--json").json["rows"]
    [number] = [row["number"] for row in rows if row["kind"] == "bed_hot"]
    assert type_in("--store", store, "answer", number, "cant", "--by", "ben").code == 0
    kept = _newest(store)
    assert isinstance(kept, Answered)
    assert (kept.alarm, kept.answer, kept.by) == (number, "cant", "ben")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["cast", "bed-x"], "Quern Hill Maltings has no bed bed-x; it has bed-a"),
        (["cast", "kiln"], "no bed kiln"),
        (["moved", "bed-a", "--to", "bed-x"], "no bed bed-x"),
        (["kiln", "lit", "--kiln", "bed-a"], "no kiln bed-a"),
        (["out-of-service", "nothing", "--why", "gone"], "no probe nothing"),
        (["test-call", "zoe"], "no person zoe"),
        (["check-in", "zoe", "lower-room"], "no person zoe"),
        (["check-in", "ben", "attic"], "no place attic; it has steep-1"),
        (["check-in", "ben", "lower-room", "--for", "13h"], "at most 43200"),
        (["check-out", "zoe"], "no person zoe"),
        (["answer", "7", "going"], "there is no alarm 7"),
        (["answer", "99999", "going"], "there is no alarm 99999"),
        (["quiet", "101", "--for", "soon", "--why", "x"], "for: 'soon': expected a span"),
        (["quiet", "101", "--for", "48h", "--why", "x"], "at most 86400"),
        (["turned", "bed-a", "--at", "teatime"], "--at: got 'teatime'; expected HH:MM such as 04:50"),
        (["turned", "bed-a", "--at", "25:00"], "--at: got '25:00': no day has an hour 25; expected HH:MM"),
        (["turned", "bed-a", "--at", "4:60"], "--at: got '4:60': no hour has a minute 60; expected HH:MM"),
        (["kiln", "lit", "--at", ""], "--at: got ''; expected HH:MM such as 04:50, or date, time and offset"),
        (["correct", "7", "--at", "2024-13-05T04:50:00Z"], "month must be in 1..12; expected HH:MM"),
        (["order", "bed-a", "--until", "24:00", "--why", "x"], "--until: got '24:00': no day has an hour 24"),
        (["order", "bed-a", "--until", "1999-01-01T00:00:00Z", "--why", "x"], "--until: 1999-01-01T00:00:00"),
        (["quiet", "101", "--for", "25h", "--why", "x"], "--for: 90000 s (25 h) is not above 0"),
        (["check-in", "ben", "lower-room", "--for", "45"], "--for: '45': add h, min or s; expected a span"),
        (["turned", "bed-a", "--at", "2024-11-05T02:40:00"], "offset"),
        (["turned", "bed-a", "--from-m", "nan"], "--from-m: nan: expected a number of a sensible size"),
        (["cast", "bed-a", "--why", "x" * 201], "1 to 200"),
    ],
)
def test_what_cannot_be_is_said_in_plain_words(store: Path, words: list[str], says: str) -> None:
    said = type_in("--store", store, *words)
    assert (said.code, said.out) == (2, "")
    assert says in said.err


def test_a_slip_of_the_pen_is_kept_and_said_at_once(store: Path) -> None:
    said = type_in("--store", store, "hand", "bed-c", "--c", "174")
    number = said.json["journal"]
    assert said.code == 0
    assert said.err == (
        f"kept, but a reading of 174 C cannot be: put it right with `correct {number}`, "
        "or it is asked about by day\n"
    )
    asked = type_in("--store", store, "questions", "--json").json["rows"]
    assert [row["entry"] for row in asked if "a reading of 174 C cannot be" in row["text"]] == [number]
    assert type_in("--store", store, "correct", number, "--c", "17.4").err == ""
    asked = type_in("--store", store, "questions", "--json").json["rows"]
    assert number not in [row["entry"] for row in asked]


@pytest.mark.parametrize(
    "words",
    [
        ["turned", "bed-b"],
        ["turned", "bed-c", "--at", "1999-01-01T00:00:00Z"],
        ["turned", "bed-c", "--from-m", "900", "--to-m", "-3"],
        ["moved", "bed-b", "--to", "bed-b"],
        ["loaded", "bed-b"],
        ["kiln", "drawn"],
        ["in-service", "bed-a-mid"],
        ["couch-broken", "bed-b"],
        ["unquiet", "101"],
        ["cast", "bed-b", "--at", "2999-01-01T00:00:00Z"],
    ],
)
def test_nothing_odd_that_is_recorded_at_night_is_refused(store: Path, words: list[str]) -> None:
    said = type_in("--store", store, *words)
    assert (said.code, said.err) == (0, "")
    assert type_in("--store", store, "beds").code in (0, 1), "and the judge can live with it"


def test_a_store_that_somebody_holds_without_answering_is_no_answer(store: Path) -> None:
    holder = open_writer(store, site_id="quern-hill", clock_kind="wall", reserve_bytes=4096)
    try:
        with pytest.raises(NoAnswer, match=r"already writes to this store.*did not answer within 0\.3 s"):
            live_store.record(store, "turned", {"bed": "bed-c"}, within_s=0.3)
    finally:
        holder.close()


@pytest.mark.long
def test_no_answer_is_exit_3_within_5_s(store: Path) -> None:
    holder = open_writer(store, site_id="quern-hill", clock_kind="wall", reserve_bytes=4096)
    try:
        said = type_in("--store", store, "turned", "bed-c")
    finally:
        holder.close()
    assert said.code == 3
    assert "did not answer within 5 s" in said.err


def test_a_store_that_never_ran_is_a_fault_not_a_new_store(tmp_path: Path) -> None:
    said = type_in("--store", tmp_path, "cast", "bed-a")
    assert said.code == 2
    assert "there is no store here" in said.err
    assert list(tmp_path.iterdir()) == []
