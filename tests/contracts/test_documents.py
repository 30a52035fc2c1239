"""The JSON schemas against the contract's own fields (C8), and each command's document against both."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from gateway.cli.words import COMMANDS
from tests.cli.house import SCHEMAS, schema, short_night, site_file, site_of, type_in

#: What the contract (C8) names for each row, nested ones with a dot.
CONTRACT = {
    "alarms": "number occurrence kind place probe priority level state value unit limit raised_at measured_at"
    " cleared_at late answered_by quiet_until history.at history.from history.to history.signal history.by",
    "beds": "bed piece day hottest_c coldest_c co2_ppm turned_at due_at why level watched",
    "probes": "probe place quantity value measured_at state missed_share battery why",
    "turns": "bed from_m to_m source began_at ended_at known_at by sureness fall_k spread_before_k"
    " spread_after_k state",
    "forecast": "bed made_at rate_k_per_h not_yet points.at points.c points.low_c points.high_c"
    " limits.limit_c limits.at limits.early limits.late",
    "kiln": "stage break.state break.at break.known_at break.sureness moisture_wb.mean moisture_wb.low"
    " moisture_wb.high entry.state entry.why",
    "air": "place gas over_range mean_15min.low mean_15min.high mean_8h.low mean_8h.high entry",
    "notices": "number alarm person phone kind attempts.at attempts.outcome attempts.status delivered_at",
}
STATUS = "state at received settled committed judged judged_to notices_due"
#: `kiln` and `hand-over` alone ask; `mirror` has a row only where there is a server (test_mirror_daemon.py).
READING = sorted({name for name, word in COMMANDS.items() if word.group == "read"} | {"hand-over", "kiln"})
_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z")


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store in which a short night has passed."""
    folder = tmp_path_factory.mktemp("documents")
    return short_night(folder / "store", site_of(site_file(folder / "site")))


def _body(name: str) -> dict[str, Any]:
    body: dict[str, Any] = json.loads((SCHEMAS / f"{name}.json").read_text())
    return body


def _plain(part: dict[str, Any], whole: dict[str, Any]) -> dict[str, Any]:
    """The part itself: behind its reference, and without `or null`."""
    while "$ref" in part or "anyOf" in part:
        if "$ref" in part:
            part = whole["$defs"][part["$ref"].rsplit("/", 1)[1]]
        else:
            part = next(one for one in part["anyOf"] if one.get("type") != "null")
    return part


def _tables(
    part: dict[str, Any], whole: dict[str, Any], path: str = ""
) -> Iterator[tuple[str, dict[str, Any]]]:
    """Each table of a schema with the path to it; lists are passed through."""
    part = _plain(part, whole)
    if "items" in part:
        yield from _tables(part["items"], whole, path)
    elif "properties" in part:
        yield path, part
        for name, inner in part["properties"].items():
            yield from _tables(inner, whole, f"{path}{name}.")


def _row(name: str) -> dict[str, dict[str, Any]]:
    whole = _body(name)
    return dict(_tables(whole["properties"]["rows"], whole))


def test_each_reading_command_has_a_schema() -> None:
    assert [name for name in READING if not (SCHEMAS / f"{name}.json").exists()] == []


@pytest.mark.parametrize("name", sorted(CONTRACT))
def test_a_schema_asks_for_every_field_of_the_contract(name: str) -> None:
    tables = _row(name)
    for field in CONTRACT[name].split():
        inside, _, last = field.rpartition(".")
        assert last in tables[f"{inside}." if inside else ""]["required"], field


def test_the_status_has_exactly_the_fields_of_the_contract() -> None:
    body = _body("status")
    assert sorted(body["required"]) == sorted(body["properties"]) == sorted(STATUS.split())
    assert body["additionalProperties"] is False


@pytest.mark.parametrize("name", READING)
def test_what_a_schema_knows_it_asks_for(name: str) -> None:
    """All fields are always there, null where unknown."""
    for path, table in _row(name).items():
        assert sorted(table["required"]) == sorted(table["properties"]), f"{name} {path}"


@pytest.mark.parametrize("name", READING)
def test_a_document_has_no_field_its_schema_does_not_know(name: str, store: Path) -> None:
    document = type_in("--store", store, name, "--json").json
    schema(name).validate(document)
    assert document["rows"] or name == "mirror", "an empty document proves nothing"
    whole = _body(name)
    for row in document["rows"]:
        _known(row, whole["properties"]["rows"]["items"], whole, name)


def _known(found: Any, part: dict[str, Any], whole: dict[str, Any], path: str) -> None:
    part = _plain(part, whole)
    if isinstance(found, list):
        for one in found:
            _known(one, part.get("items", {}), whole, f"{path}[]")
    elif isinstance(found, dict) and "properties" in part:
        assert set(found) == set(part["properties"]), path
        for key, value in found.items():
            _known(value, part["properties"][key], whole, f"{path}.{key}")
    elif isinstance(found, str) and "T" in found[8:12] and found[:4].isdigit():
        assert _TIME.fullmatch(found), f"{path}: {found}"


def test_verify_s_document_keeps_its_schema(store: Path) -> None:
    said = type_in("--store", store, "verify", "--json")
    assert said.code == 0
    schema("verify").validate(said.json)
    [row] = said.json["rows"]
    assert (row["whole"], row["faults"], row["site"]) == (True, [], "quern-hill")
