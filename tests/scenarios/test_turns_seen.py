"""Turns on the simulated floor, told by its probes alone or by people too: one row each, known soon after."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from gateway.core.effects import TurnKnown
from gateway.core.follow import turns_shown
from gateway.core.inputs import Cast, Turned
from gateway.core.moment import rfc3339
from gateway.core.reading import Reading
from gateway.replay import run_inputs
from tests.cli.house import schema
from tests.scenarios.floor import HOUR, MINUTE, Night, live, ms
from tests.scenarios.turns import START, Told, entries, read


@pytest.fixture(scope="module")
def night() -> Night:
    """Bed C is turned an hour and a half into the evening."""
    return live(START, 4.5, turns=[(1.5, "bed-c")], seed=3)


def true_turn(night: Night) -> tuple[int, int]:
    """When the one turn of the night began and ended."""
    (turn,) = [line for line in night.truth if line["kind"] == "turn"]
    return ms(turn["began_at"]), ms(turn["ended_at"])


def test_a_turn_nobody_recorded_is_seen_soon_and_restarts_the_clock(night: Night) -> None:
    told = Told(entries(night, []))
    began_ms, ended_ms = true_turn(night)
    (one,) = told.turns("bed-c", night.start_ms)
    assert (one.source, one.state, one.from_m, one.to_m) == ("seen", "nobody recorded it", 20.0, 30.0)
    assert abs(one.began_at_ms - began_ms) <= 5 * MINUTE
    assert abs(one.ended_at_ms - ended_ms) <= 5 * MINUTE
    assert -2 * MINUTE <= one.known_at_ms - ended_ms <= 10 * MINUTE
    lying = told.state.pieces.beds["bed-c"]
    assert {part.turned_ms for part in lying.parts} == {(one.began_at_ms + one.ended_at_ms) // 2}
    (asked,) = told.asked("bed-c")
    assert asked.startswith("Bed C: turned about 19:4")
    others = [turn for bed in ("bed-a", "bed-b", "bed-d") for turn in told.turns(bed, night.start_ms)]
    assert others == []


def test_recorded_and_seen_are_one_row(night: Night) -> None:
    told = Told(entries(night, night.done))
    (one,) = told.turns("bed-c", night.start_ms)
    assert (one.source, one.state, one.by) == ("both", "kept", "cleo")
    assert one.fall_k is not None
    assert told.asked("bed-c") == []
    assert [line.source for line in told.lines("bed-c")][1:3] == ["recorded", "both"]


def test_what_was_recorded_of_another_bed_is_not_shown_there(night: Night) -> None:
    told = Told(entries(night, [(night.start_ms + 90 * MINUTE, Turned("bed-b", by="ben"))]))
    (one,) = told.turns("bed-b", night.start_ms)
    assert (one.source, one.state) == ("recorded", "probes did not show it")
    assert len(told.asked("bed-b")) == len(told.asked("bed-c")) == 1


def test_no_recorded_turn_is_called_unshown_long_after(night: Night) -> None:
    """Once what the probes told of it is forgotten, nobody can say any more that they did not show it."""
    told = Told([one for one in entries(night, night.done) if one.at_ms <= night.start_ms + 3 * HOUR])
    (record,) = [one for one in told.state.pieces.records if one.when_ms > night.start_ms]
    told.state.turns_seen.seen.clear()
    assert turns_shown.may_be_unshown(told.state, record)
    told.state.at_ms += 3 * HOUR
    assert not turns_shown.may_be_unshown(told.state, record)


@pytest.mark.parametrize("only", ["bed-c-low", "bed-c-mid", "bed-c-top"])
def test_one_probe_alone_only_asks(night: Night, only: str) -> None:
    told = Told(entries(night, [], lambda probe: not probe.startswith("bed-c") or probe == only))
    (one,) = told.turns("bed-c", night.start_ms)
    assert (one.source, one.state) == ("seen", "perhaps")
    lying = told.state.pieces.beds["bed-c"]
    assert {part.turned_ms for part in lying.parts} == {night.start_ms - 11 * HOUR}
    assert told.asked("bed-c")[0].startswith("Bed C: perhaps turned about 19:")


def test_a_restart_in_the_middle_of_a_turn_changes_nothing(night: Night) -> None:
    found = entries(night, night.done)
    began_ms, ended_ms = true_turn(night)
    around = [e.n for e in found if began_ms - 10 * MINUTE <= e.at_ms <= ended_ms + 15 * MINUTE]
    straight = Told(found)
    assert Told(found, around[::9]).effects == straight.effects


def test_an_overdue_turn_is_over_once_the_probes_show_one() -> None:
    """Bed C was turned eleven hours ago: overdue in an hour, turned in three, recorded by nobody."""
    night = live(START, 5.0, turns=[(3.0, "bed-c")], seed=4)
    told = Told(entries(night, []))
    (raised, *_, over) = [one for one in told.alarms("turn_overdue") if one.place == "bed-c"]
    (turn,) = told.turns("bed-c", night.start_ms)
    assert raised.change.signal == "raise"
    assert over.cleared_at_ms is not None
    assert 0 <= over.cleared_at_ms - turn.known_at_ms <= MINUTE


def test_pure_readings_give_lines_of_turns(night: Night, tmp_path: Path) -> None:
    """Contract C7: nothing is recorded but what the probes say."""
    inputs, effects = tmp_path / "in.jsonl", tmp_path / "out.jsonl"
    with inputs.open("w") as file:
        for entry in entries(night, []):
            if isinstance(entry.what, Reading):
                one = entry.what
                line = {"at": rfc3339(entry.at_ms), "kind": "reading", "probe": one.probe,
                        "measured_at": rfc3339(one.measured_at_ms), "value": one.value}  # fmt: skip
                file.write(json.dumps(line) + "\n")
    run_inputs(read().site, inputs, effects, lambda text: None)
    lines = [json.loads(line) for line in effects.read_text().splitlines()]
    turns = [line for line in lines if line["kind"] == "turn"]
    for line in turns:
        schema("effect").validate(line)
    assert {(line["bed"], line["turn"], line["source"]) for line in turns} == {("bed-c", 1, "seen")}
    pure = Told([e for e in entries(night, []) if not isinstance(e.what, Cast | Turned)])
    assert [line["ended_at"] for line in turns] == [
        rfc3339(one.ended_at_ms) for one in pure.effects if isinstance(one, TurnKnown)
    ]
