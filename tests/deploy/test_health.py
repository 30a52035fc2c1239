"""`health`: one page to be read out; every line is good or says what to do."""

from pathlib import Path
from typing import Any

import pytest

from gateway import __version__
from gateway.ports import Sizes
from gateway.show import health
from tests.cli.house import short_night, site_file, site_of, type_in

GOOD = health.Seen(
    {
        "state": "running",
        "version": "1.2.3",
        "versions": {"Python": "3.11.2", "SQLite": "3.40.1"},
        "still": [],
        "clock": {"kind": "wall", "trusted": True},
        "source": {
            "connected": True, "protocol": "5", "last_packet_age_s": 2.0, "session_present": True,
            "reconnects": 1, "queued": 0, "received": 7,
        },
    },
    1.0, {}, Sizes(10**6, 10**5, 4096, 10**10), 0, [], {"a-low": "alive"}, [],
    {"name": "mirror", "state": "good", "detail": "0 behind", "do": None},
    "1.2.3", {"file": "/media/x.db"}, 3600.0,
)  # fmt: skip


def row(name: str, seen: health.Seen) -> dict[str, Any]:
    """One line of the page."""
    [found] = [one for one in health.rows(seen) if one["name"] == name]
    return dict(found)


def with_facts(**changed: Any) -> health.Seen:
    return GOOD._replace(facts={**(GOOD.facts or {}), **changed})


def test_the_page_has_every_line_and_all_are_good() -> None:
    found = {one["name"]: one["state"] for one in health.rows(GOOD)}
    wanted = "gateway broker session queue clock store disk back-up phones probes mirror versions".split()
    assert found == {**dict.fromkeys(wanted, "good"), "gas": "note"}


@pytest.mark.parametrize(
    ("name", "state", "seen"),
    [
        ("gateway", "bad", GOOD._replace(age_s=300.0)),
        ("gateway", "bad", with_facts(still=["deliver"])),
        ("broker", "bad", with_facts(source={"connected": False})),
        ("clock", "bad", with_facts(clock={"kind": "wall", "trusted": False})),
        ("store", "bad", GOOD._replace(behind=10_000)),
        ("disk", "bad", GOOD._replace(sizes=Sizes(1, 1, 0, 10**10))),
        ("disk", "bad", GOOD._replace(sizes=Sizes(1, 1, 1, 10**6))),
        ("back-up", "note", GOOD._replace(backup=None, backup_age_s=None)),
        ("back-up", "bad", GOOD._replace(backup_age_s=61 * 3600.0)),
        ("probes", "bad", GOOD._replace(probe_states={"a-low": "silent", "a-mid": "late"})),
        ("probes", "note", GOOD._replace(probe_states={"a-low": "alive", "a-mid": "late"})),
        ("versions", "bad", GOOD._replace(program="1.3.0")),
        ("gateway_mirror", "bad", GOOD._replace(gateway_alarms=["gateway_mirror"])),
    ],
)
def test_what_is_not_good_says_what_to_do(name: str, state: str, seen: health.Seen) -> None:
    found = row(name, seen)
    assert (found["state"], bool(found["do"])) == (state, True)


def test_what_the_site_file_was_warned_of_is_on_the_page() -> None:
    open_key = "site.toml: phone ada: secret_file = ada.key: expected a file closed to other users"
    found = row("site file", with_facts(warnings=[open_key]))
    assert (found["state"], found["detail"]) == ("note", open_key)
    assert "check" in found["do"]
    assert row("site file", with_facts(warnings=["one", "two", "three"]))["detail"] == "one, and 2 more"


def test_what_the_broker_threw_away_is_on_the_page_where_it_tells() -> None:
    source = (GOOD.facts or {})["source"]
    assert row("queue", GOOD)["detail"] == "0 messages wait, 7 received since start"
    told = row("queue", with_facts(source=source | {"dropped": 12}))["detail"]
    assert told.endswith("; the broker threw 12 away since its own, of all clients")


def test_late_probes_are_named() -> None:
    assert (
        "late: a-mid" in row("probes", GOOD._replace(probe_states={"a": "alive", "a-mid": "late"}))["detail"]
    )


def test_versions_and_the_newest_backup_are_on_the_page(tmp_path: Path) -> None:
    store = short_night(tmp_path / "store", site_of(site_file(tmp_path / "site")))
    said = type_in("--store", store, "health", "--json")
    assert said.code == 1, "nothing runs here"
    rows = {one["name"]: one for one in said.json["rows"]}
    assert rows["versions"]["detail"].startswith(f"gateway {__version__}")
    assert rows["back-up"]["state"] == "note"
    assert type_in("--store", store, "backup", tmp_path / "copy.db").code == 0
    rows = {one["name"]: one for one in type_in("--store", store, "health", "--json").json["rows"]}
    assert rows["back-up"]["state"] == "good"
    assert str(tmp_path / "copy.db") in rows["back-up"]["detail"]
