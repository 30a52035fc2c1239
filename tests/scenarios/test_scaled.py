"""The whole of it at two minutes a second: simulators, mosquitto, the daemon, a phone, commands, a replay."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from gateway.core.moment import rfc3339
from gateway.edges.clock import real_wall_ms
from tests.broker import Broker
from tests.cli.house import ROOT, Daemon, site_file, type_in
from tests.crash.gateway_story import Phone
from tests.scenarios.story import show

pytestmark = [pytest.mark.broker, pytest.mark.long]
SOON_S = 60.0
EPOCH, SPEED = "2026-03-05T20:00:00Z", "120"
#: Bed C begins over the limit, so that it is called for after the ten minutes it must hold.
STARTS = "[bed-c]\ntemperature_c = 22.4\nage_h = 84.0\nsince_turn_h = 11.0\n"


@pytest.fixture
def phone() -> Iterator[Phone]:
    one = Phone()
    yield one
    one.close()


def _until_heard(phone: Phone, kind: str, words: str) -> dict[str, Any]:
    """The first message of a kind with these words; fails where none comes."""

    def found() -> dict[str, Any] | None:
        return next(
            (one for one in list(phone.heard.values()) if one["type"] == kind and words in one["text"]), None
        )

    with phone.news:
        assert phone.news.wait_for(found, SOON_S), [one["text"] for one in phone.heard.values()]
    body = found()
    assert body is not None
    return body


def test_called_answered_turned_and_over(tmp_path: Path, broker: Broker, phone: Phone) -> None:
    site = site_file(tmp_path / "site", broker=broker.port, phone=phone.port)
    (tmp_path / "start.toml").write_text(STARTS)
    started = rfc3339(real_wall_ms())
    pace = ["--clock", "scaled", "--speed", SPEED, "--epoch", EPOCH, "--started", started]
    daemon = Daemon(site, tmp_path / "store", *pace)
    words = ["run", "--site", str(site), "--seed", "4", *pace, "--start", str(tmp_path / "start.toml")]
    simulators = subprocess.Popen(
        [sys.executable, "-m", "simulators", *words], cwd=ROOT, stdout=subprocess.DEVNULL
    )
    try:
        daemon.wait_for("running version=", "connected to")
        _recorded(daemon.store, "cast", "bed-c", "--piece", "14", "--at", "2026-03-02T08:00:00Z")
        _recorded(daemon.store, "turned", "bed-c", "--at", "2026-03-05T09:00:00Z")
        call = _until_heard(phone, "call", "PIECE 14 HOT. Bed C")
        _recorded(daemon.store, "answer", call["alarm"], "going", "--by", "ben")
        order = ["-q", "1", "-t", "quern-hill/sim/command", "-m", json.dumps({"turn": "bed-c"})]
        subprocess.run(["mosquitto_pub", *broker.client_args, *order], check=True, timeout=SOON_S)
        _recorded(daemon.store, "turned", "bed-c", "--by", "ben")
        _every_other_verb(daemon.store)
        over = _until_heard(phone, "over", "BED C COOLER")
        _until_heard(phone, "test", "TEST")
        assert over["alarm"] == call["alarm"]
    finally:
        simulators.terminate()
        simulators.wait(SOON_S)
        code = daemon.end()
        daemon.discard()
    assert code == 0, daemon.log
    rows = type_in("--store", daemon.store, "alarms", "--all", "--json").json["rows"]
    [hot] = [row for row in rows if row["kind"] == "bed_hot" and row["number"] == call["alarm"]]
    assert [step["signal"] for step in hot["history"]][-1] == "clear"
    assert hot["answered_by"] == "ben"
    again = type_in("--store", daemon.store, "replay").json
    assert again["differences"] == []
    show(f"{again['entries']} entries, {again['kept']} effects live = replay, {phone.posts} posts")


def _recorded(store: Path, *words: object) -> None:
    """Typed, and committed by the daemon."""
    said = type_in("--store", store, *words)
    assert said.code == 0, said.err
    assert said.json["journal"] > 0


def _every_other_verb(store: Path) -> None:
    _recorded(store, "cast", "bed-a", "--piece", "15", "--by", "Ada")
    _recorded(store, "couch-broken", "bed-a")
    _recorded(store, "moved", "bed-a", "--to", "bed-b")
    _recorded(store, "loaded", "bed-b", "--kiln", "kiln")
    _recorded(store, "kiln", "lit", "--kiln", "kiln")
    _recorded(store, "out-of-service", "bed-d-top", "--why", "cable cut")
    _recorded(store, "in-service", "bed-d-top")
    _recorded(store, "test-call", "ada")
    wrong = type_in("--store", store, "turned", "bed-z")
    assert (wrong.code, "bed-z" in wrong.err) == (2, True)
