"""Reading commands: every document by its schema, every table within a phone's width, the right exit code."""

import subprocess
import sys
from pathlib import Path

import pytest

from gateway.core import inputs
from gateway.core.effects import Notice
from gateway.show import words
from tests.cli.house import ROOT, SOON_S, Night, run_program, schema, site_of, type_in

READING = (
    "beds", "probes", "alarms", "turns", "notices", "rejected", "health", "tonight", "piece", "lay",
    "questions", "air", "forecast", "kiln", "hand-over",
)  # fmt: skip


@pytest.mark.parametrize("command", READING)
def test_a_document_keeps_its_schema(command: str, night: Path) -> None:
    said = type_in("--store", night, command, "--json")
    schema(command).validate(said.json)
    assert said.err == ""
    assert said.json["at"] == "2024-11-05T02:50:00.000Z"
    assert said.json["running"] is False
    assert said.json["rows"], "an empty document proves nothing"


@pytest.mark.parametrize("width", [48, 80])
@pytest.mark.parametrize("command", READING)
def test_a_table_fits_and_obeys_nobody(command: str, width: int, night: Path) -> None:
    said = type_in("--store", night, command, width=width)
    assert said.out.startswith("THE GATEWAY IS NOT RUNNING.")
    assert "Quern Hill Maltings, 02:50" in said.out
    assert max(len(line) for line in said.out.splitlines()) <= width
    assert "\x1b" not in said.out, "what came from outside must not steer a terminal"


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["beds"], 1),
        (["probes"], 1),
        (["alarms"], 1),
        (["turns"], 0),
        (["notices"], 0),
        (["rejected"], 0),
        (["health"], 1),
        (["tonight"], 0),
        (["air"], 1),
        (["forecast"], 0),
        (["kiln"], 0),
        (["piece"], 0),
        (["piece", "14"], 0),
        (["piece", "99"], 1),
        (["lay", "--at", "02:00"], 0),
        (["questions"], 1),
        (["hand-over"], 0),
    ],
)
def test_bad_news_is_exit_1(words: list[str], code: int, night: Path) -> None:
    assert type_in("--store", night, *words).code == code


def test_beds_say_what_lies_there_how_warm_and_why(night: Path) -> None:
    rows = {row["bed"]: row for row in type_in("--store", night, "beds", "--json").json["rows"]}
    hot = rows["bed-c"]
    assert (hot["piece"], hot["day"], hot["level"], hot["watched"]) == ("14", 4, "high", True)
    assert hot["hottest_c"] == pytest.approx(23.45)
    assert rows["bed-a"]["piece"] == "15"
    assert rows["bed-a"]["turned_at"] == "2024-11-05T02:50:00.000Z"
    assert rows["bed-b"]["watched"] is False
    assert rows["bed-b"]["why"] == "no cast recorded"


def test_alarms_are_told_with_their_history(night: Path) -> None:
    standing = type_in("--store", night, "alarms", "--json").json["rows"]
    [hot] = [row for row in standing if row["kind"] == "bed_hot"]
    assert (hot["place"], hot["state"], hot["answered_by"]) == ("bed-c", "acknowledged", "ben")
    assert [step["signal"] for step in hot["history"]] == ["raise", "answer"]
    everything = type_in("--store", night, "alarms", "--all", "--json").json["rows"]
    assert {row["number"] for row in standing} <= {row["number"] for row in everything}


def test_the_people_s_words_stand_in_tables_and_the_standard_s_in_json(night: Path) -> None:
    table = type_in("--store", night, "alarms", width=80).out
    assert "answered by Ben" in table
    assert "Bed C: too hot" in table
    assert "acknowledged" not in table


def test_rejected_counts_and_shows_without_obeying(night: Path) -> None:
    document = type_in("--store", night, "rejected", "--json").json
    assert [(row["reason"], row["count"]) for row in document["counts"]] == [
        ("unknown_topic", 3),
        ("not_a_number", 1),
    ]
    payloads = [row["payload"] for row in document["rows"]]
    assert "\x1b[2J not a number \\xff" in payloads


def test_health_says_where_gas_is_watched_and_that_nothing_runs(night: Path) -> None:
    rows = {row["name"]: row for row in type_in("--store", night, "health", "--json").json["rows"]}
    assert rows["gas"]["detail"] == "CO2 or CO probes in Lower floor; no gas watch in 2 places"
    assert rows["gas"]["state"] == "note", "gas is never good"
    assert rows["gateway"]["state"] == "bad"
    assert rows["gateway"]["do"]
    assert all(bool(row["do"]) == (row["state"] == "bad") for row in rows.values() if row["state"] != "note")


def test_the_store_may_be_named_by_the_environment_and_either_side_of_the_command(night: Path) -> None:
    ways = [
        run_program("turns", "--json", MALTING_STORE=str(night)),
        type_in("--store", night, "turns", "--json"),
        type_in("turns", "--json", "--store", night),
    ]
    assert len({way.out for way in ways}) == 1
    assert [way.code for way in ways] == [0, 0, 0]


def test_no_store_is_a_fault_that_says_so(tmp_path: Path) -> None:
    missing = type_in("--store", tmp_path / "none", "beds")
    assert missing.code == 2
    assert "no such directory" in missing.err
    empty = type_in("--store", tmp_path, "beds")
    assert empty.code == 2
    assert "there is no store here" in empty.err
    unnamed = type_in("beds")
    assert unnamed.code == 2
    assert "MALTING_STORE" in unnamed.err


def test_a_reader_that_has_seen_enough_is_no_fault(night: Path) -> None:
    command = f"{sys.executable} -m gateway --store {night} probes --json | head -c 10"
    done = subprocess.run(
        ["bash", "-c", command], check=False, cwd=ROOT, capture_output=True, text=True, timeout=SOON_S
    )
    assert done.stdout == '{"schema": '[:10]
    assert done.stderr == ""


@pytest.mark.parametrize(
    "name",
    [
        "bed-north-middle-thermometer-2",
        "quern-hill/lower-room/lower-room-co2-low",
        "averyverylongidofoneword",
    ],
)
def test_a_long_id_breaks_where_it_is_joined_and_loses_nothing(name: str) -> None:
    lines = words.broken(name).split("\n")
    assert "".join(lines) == name
    assert max(map(len, lines)) <= words.ID_WIDTH
    assert words.broken("bed-a-mid") == "bed-a-mid"
    assert words.broken("bed-north-middle-thermometer-2").split("\n") == [
        "bed-north-",
        "middle-",
        "thermometer-2",
    ]


def test_a_message_whose_phone_is_gone_is_bad_news_until_one_reaches_it(tmp_path: Path, site: Path) -> None:
    night = Night(tmp_path / "gone", site_of(site))
    for outcome, status, code in (("gone", 410, 1), ("delivered", 200, 0)):
        night.commit(inputs.TestCallAsked("ada"))
        rung = [made for made in night.made if isinstance(made, Notice)][-1]
        night.commit(inputs.Delivery(rung.number, rung.phone, outcome, status), snapshot=True)
        said = type_in("--store", tmp_path / "gone", "notices")
        assert (said.code, "1 did not reach" in said.out) == (code, bool(code))
    night.writer.close()
