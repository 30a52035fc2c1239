"""Replay: a file of inputs judged without a broker, and a store's journal judged once more."""

import io
import json
import sqlite3
import tracemalloc
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.core.moment import rfc3339
from gateway.replay import run_inputs
from gateway.replay_lines import Line, faults
from tests.cli.house import DAY_MS, MINUTE_MS, NIGHT_MS, Said, schema, site_of, type_in

Row = dict[str, Any]


def _at(minute: float) -> str:
    return rfc3339(NIGHT_MS + round(minute * MINUTE_MS))


def _night() -> list[Row]:
    """A piece on bed C warms by 3 K an hour; somebody goes, turns, and the night goes on."""
    cast = {
        "at": _at(0),
        "kind": "cast",
        "bed": "bed-c",
        "piece": "14",
        "when": rfc3339(NIGHT_MS - 4 * DAY_MS),
    }
    lines: list[Row] = [cast, {"at": _at(0), "kind": "couch-broken", "bed": "bed-c"}]
    for minute in range(1, 90):
        value = 20.0 + minute * 0.05
        lines.append(_reading(minute, value, "bed-c-mid"))
        if minute == 70:
            lines.append({"at": _at(70), "kind": "answer", "alarm": 101, "answer": "going", "by": "ben"})
        if minute == 80:
            lines.append({"at": _at(80), "kind": "turned", "bed": "bed-c", "by": "ben"})
    return [*lines, {"at": _at(240), "kind": "tick"}]


def _reading(minute: float, value: float, probe: str = "bed-c-mid", **more: Any) -> Row:
    return {
        "at": _at(minute),
        "kind": "reading",
        "probe": probe,
        "measured_at": _at(minute),
        "value": value,
    } | more


def _replay(folder: Path, site: Path, lines: Sequence[Row | str | bytes]) -> tuple[Said, list[Row]]:
    folder.mkdir(exist_ok=True)
    source, target = folder / "in.jsonl", folder / "out.jsonl"
    texts = [line if isinstance(line, str | bytes) else json.dumps(line) for line in lines]
    source.write_bytes(b"".join((t if isinstance(t, bytes) else t.encode()) + b"\n" for t in texts))
    said = type_in("replay", "--site", site, "--inputs", source, "--effects", target)
    made = [json.loads(line) for line in target.read_text().splitlines()] if target.exists() else []
    return said, made


def test_a_night_gives_alarms_notices_and_turns(tmp_path: Path, site: Path) -> None:
    said, made = _replay(tmp_path, site, _night())
    assert said.code == 0
    assert said.json["kept"] == 89
    assert said.json["events"] == 4
    alarms = [line for line in made if line["kind"] == "alarm" and line["alarm_kind"] == "bed_hot"]
    assert [line["history"][0]["signal"] for line in alarms][:2] == ["raise", "answer"]
    # 22 C is the limit of day 4 (programme): passed at minute 40, and held for the on-delay of 10 min.
    assert _at(50) <= alarms[0]["raised_at"] <= _at(52)
    assert [line["bed"] for line in made if line["kind"] == "turn"] == ["bed-c"]
    assert {line["notice_kind"] for line in made if line["kind"] == "notice"} >= {"call"}


def test_every_line_keeps_its_schema_and_causes_are_unique(tmp_path: Path, site: Path) -> None:
    _, made = _replay(tmp_path, site, _night())
    validator = schema("effect")
    for line in made:
        validator.validate(line)
    causes = [tuple(line["cause"]) for line in made]
    assert len(set(causes)) == len(causes) > 4


def test_what_a_bed_will_do_is_said_each_half_hour(tmp_path: Path, site: Path) -> None:
    _, made = _replay(tmp_path, site, _night())
    said = [line for line in made if line["kind"] == "forecast"]
    assert said
    assert {line["made_at"][14:] for line in said} <= {"00:00.000Z", "30:00.000Z"}
    assert all(line["not_yet"] or len(line["points"]) == 24 for line in said)


def test_the_same_inputs_give_the_same_bytes(tmp_path: Path, site: Path) -> None:
    _replay(tmp_path / "a", site, _night())
    _replay(tmp_path / "b", site, _night())
    assert (tmp_path / "a/out.jsonl").read_bytes() == (tmp_path / "b/out.jsonl").read_bytes()


def test_doubled_readings_change_nothing_and_are_counted(tmp_path: Path, site: Path) -> None:
    _, once = _replay(tmp_path / "a", site, _night())
    doubled = [line for line in _night() for _ in range(2 if line["kind"] == "reading" else 1)]
    said, twice = _replay(tmp_path / "b", site, doubled)
    assert said.json["duplicates"] == said.json["kept"] == 89
    assert once == twice


def test_readings_come_to_kept_duplicates_and_refused(tmp_path: Path, site: Path) -> None:
    lines: list[Row | str] = [
        _reading(1, 20.0),
        _reading(1, 20.0),
        _reading(1, 21.0),
        _reading(2, 999.0),
        *(
            json.dumps(_reading(3, 1.0)).replace("1.0", many)
            for many in ("NaN", "1e400", "-1e400", "9" * 400)
        ),
        _reading(4, 20.0) | {"measured_at": _at(60)},
        _reading(5, 20.0) | {"measured_at": "1999-01-01T00:00:00Z"},
        _reading(6, 20.5) | {"measured_at": None},
        _reading(6, 20.5) | {"measured_at": None},
    ]
    said, _ = _replay(tmp_path, site, lines)
    counts = said.json
    assert counts["refused"] == {"conflict": 1, "implausible": 1, "not_finite": 4, "future": 1, "too_old": 1}
    assert (counts["readings"], counts["kept"], counts["duplicates"]) == (12, 3, 1)


def test_an_earlier_line_stands_at_the_last_time_and_is_counted(tmp_path: Path, site: Path) -> None:
    said, _ = _replay(tmp_path, site, [_reading(5, 20.0), _reading(3, 20.0), _reading(6, 20.0)])
    assert (said.code, said.json["backward"], said.json["kept"]) == (0, 1, 3)


def test_other_spellings_of_a_verb_are_taken(tmp_path: Path, site: Path) -> None:
    lines: list[Row] = [
        {"at": _at(1), "kind": "kiln", "event": "lit"},
        {"at": _at(1), "kind": "quiet", "alarm": 101, "for": "2h", "why": "x"},
        {"at": _at(1), "kind": "quiet", "alarm": 101, "for_s": 60, "why": "x"},
        {"at": _at(1), "kind": "turned", "bed": "bed-c", "from-m": 20, "to_m": 25},
        {"at": _at(1), "kind": "chit", "bed": "bed-c", "share": 95},
        {"at": _at(1), "kind": "spire", "bed": "bed-c", "share_pct": 75},
        {"at": _at(1), "kind": "joined", "piece": "13", "with": "14"},
        {"at": NIGHT_MS / 1000 + 120, "kind": "tick"},
    ]
    said, _ = _replay(tmp_path, site, lines)
    assert (said.code, said.json["events"], said.err) == (0, 7, "")


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("not json", "expected one JSON object"),
        ("[1]", "expected one JSON object, got list"),
        (b"\xff\xfe", "expected one JSON object"),
        ("[" * 60_000, "expected one JSON object"),
        ('{"a":"' + "x" * 70_000 + '"}', "at most 65536 bytes"),
        ({"kind": "tick"}, "at = None"),
        ({"at": "2024-11-05T02:00:00", "kind": "tick"}, "offset"),
        ({"at": "1999-01-01T00:00:00Z", "kind": "tick"}, "after 2001-09-09"),
        ({"at": "2100-01-01T00:00:00Z", "kind": "tick"}, "before 2100-01-01"),
        ({"at": "2099-12-31T23:59:59Z", "kind": "tick"}, "at = '2099-12-31T23:59:59Z': 27"),
        ({"at": rfc3339(NIGHT_MS + 401 * DAY_MS), "kind": "tick"}, "401 days after the line before"),
        ({"at": _at(1), "kind": "fly"}, "kind = 'fly': expected one of reading, tick, answer"),
        ({"at": _at(1), "kind": ["tick"]}, "kind = ['tick']"),
        ({"at": _at(1), "kind": "started"}, "kind = 'started'"),
        (_reading(1, 20.0, "nobody"), "probe = 'nobody': expected a probe of Quern Hill Maltings"),
        (_reading(1, 20.0) | {"probe": {}}, "probe = {}"),
        (_reading(1, 20.0) | {"value": "20"}, "value = '20': expected a number"),
        (_reading(1, 20.0) | {"battery": 10**400}, "sensible size"),
        (_reading(1, 20.0) | {"colour": 1}, "'colour': expected only"),
        (_reading(1, 20.0) | {"measured_at": "noon"}, "measured_at = 'noon'"),
        (_reading(1, 20.0) | {"sequence": 1.5}, "sequence = 1.5"),
        ({"at": _at(1), "kind": "cast", "bed": "bed-x"}, "no bed bed-x"),
        ({"at": _at(1), "kind": "cast"}, "bed missing"),
        ({"at": _at(1), "kind": "turned", "bed": "bed-a", "colour": 1}, "unknown colour"),
    ],
)
def test_a_fault_names_file_line_key_and_value(
    tmp_path: Path, site: Path, line: Row | str | bytes, says: str
) -> None:
    said, made = _replay(tmp_path, site, [_reading(0, 20.0), line])
    assert (said.code, made) == (2, [])
    assert f"{tmp_path / 'in.jsonl'}:2: " in said.err
    assert says in said.err
    assert len(said.err) < 1500
    assert sorted(path.name for path in tmp_path.iterdir()) == ["in.jsonl"], "no half result is left"


def _peak(folder: Path, site: Path, hours: int) -> tuple[int, int]:
    """What judging a hot bed and then nothing for so many hours held at most, in bytes; effects made."""
    folder.mkdir()
    hot = [_reading(minute, 23 + minute * 0.1) for minute in range(1, 60)]
    lines = [_night()[0], *hot, {"at": _at(60 * hours), "kind": "tick"}]
    source = folder / "in.jsonl"
    source.write_text("".join(json.dumps(line) + "\n" for line in lines))
    tracemalloc.start()
    try:
        outcome = run_inputs(site_of(site), source, folder / "out.jsonl", lambda _: None)
        return tracemalloc.get_traced_memory()[1], outcome.effects.total()
    finally:
        tracemalloc.stop()


def test_a_gap_costs_time_and_not_memory(tmp_path: Path, site: Path) -> None:
    _peak(tmp_path / "what is loaded once", site, 6)
    short, few = _peak(tmp_path / "short", site, 6)
    long, many = _peak(tmp_path / "long", site, 48)
    # A notice takes some 500 bytes; the calls of two days held at once would be over 2 MB.
    assert many > few + 3000
    assert long < short + 400_000


def test_a_fault_after_a_gap_leaves_what_was_there(tmp_path: Path, site: Path) -> None:
    (tmp_path / "out.jsonl").write_text('{"kind":"of before"}\n')
    hot = [_reading(minute, 23 + minute * 0.1) for minute in range(1, 60)]
    said, made = _replay(tmp_path, site, [*hot, {"at": _at(24 * 60), "kind": "tick"}, "not json"])
    assert (said.code, made) == (2, [{"kind": "of before"}])
    assert sorted(path.name for path in tmp_path.iterdir()) == ["in.jsonl", "out.jsonl"]


def test_a_year_of_standing_idle_is_no_fault(site: Path) -> None:
    times = [rfc3339(NIGHT_MS + days * DAY_MS) for days in (0, 30, 430)]
    text = "".join(json.dumps({"at": at, "kind": "tick"}) + "\n" for at in times)
    taken: list[Line] = []
    found, count, _ = faults(io.BytesIO(text.encode()), "in.jsonl", taken.append, site_of(site))
    assert (found, count, len(taken)) == ([], 3, 3)


def test_many_faults_are_named_at_once(tmp_path: Path, site: Path) -> None:
    said, _ = _replay(tmp_path, site, ["x"] * 100)
    assert said.code == 2
    assert len(said.err.splitlines()) == 21


def test_an_empty_file_has_no_effects(tmp_path: Path, site: Path) -> None:
    said, made = _replay(tmp_path, site, [])
    assert (said.code, made, said.json["lines"]) == (0, [], 0)


def test_a_journal_judged_again_gives_what_was_kept(night: Path) -> None:
    said = type_in("replay", "--store", night)
    assert said.code == 0
    assert said.json["same"] == said.json["kept"] == said.json["made"] > 4
    assert said.json["differences"] == []


@pytest.mark.parametrize(
    "damage",
    [
        "UPDATE effect SET body = replace(body, '\"late\":false', '\"late\":true') WHERE kind = 'alarm'",
        "DELETE FROM effect WHERE id = 1",
        "INSERT INTO effect (n, i, kind, body) VALUES (3, 99, 'turn', '{}')",
        "DELETE FROM effect WHERE (n, i) = (SELECT max(n), i FROM effect)",
        "INSERT INTO effect (n, i, kind, body) SELECT max(n), 99, 'turn', '{}' FROM effect",
        "INSERT INTO effect (n, i, kind, body) SELECT min(n), 99, 'turn', '{}' FROM effect WHERE n > 1e12",
    ],
)
def test_any_difference_is_exit_1_and_shown(store: Path, damage: str) -> None:
    db = sqlite3.connect(store / "journal.db")
    db.execute("PRAGMA foreign_keys = OFF")
    before = db.execute("SELECT count(*) FROM effect").fetchone()[0]
    touched = db.execute(damage).rowcount
    db.commit()
    after = db.execute("SELECT count(*) FROM effect").fetchone()[0]
    db.close()
    said = type_in("replay", "--store", store)
    assert said.code == 1
    assert 1 <= len(said.json["differences"]) <= 5
    assert (said.json["kept"], said.json["made"]) == (after, before)
    assert said.json["same"] == before - (touched if after <= before else 0)


def test_inputs_and_effects_go_together(tmp_path: Path, site: Path) -> None:
    said = type_in("replay", "--site", site, "--inputs", tmp_path / "in.jsonl")
    assert said.code == 2
    assert "go together" in said.err
    missing = type_in("replay", "--site", site, "--inputs", tmp_path / "none", "--effects", tmp_path / "out")
    assert missing.code == 2
    assert "none" in missing.err


WORDS = st.sampled_from(
    ["at", "kind", "probe", "measured_at", "value", "bed", "tick", "reading", "turned", "bed-c"]
)
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | WORDS | st.sampled_from([_at(1), "bed-c-mid"]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(WORDS, inner, max_size=6),
    max_leaves=12,
)


@given(st.lists(st.binary(max_size=60) | JSON.map(lambda value: json.dumps(value).encode()), max_size=8))
def test_any_bytes_are_lines_or_named_faults(site: Path, texts: list[bytes]) -> None:
    taken: list[Line] = []
    found, count, _ = faults(io.BytesIO(b"\n".join(texts)), "in.jsonl", taken.append, site_of(site))
    assert len(taken) + len(found) <= count
    assert all(line.startswith("in.jsonl:") and len(line) < 1000 for line in found)
    assert [line.at_ms for line in taken] == sorted(line.at_ms for line in taken)
