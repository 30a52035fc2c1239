"""After an older back-up is put back no number is given again, and no link of before opens another alarm."""

import http.client
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

from gateway.core.inputs import EVENTS, Restored
from gateway.edges.sqlite import open_reader, open_writer
from gateway.edges.sqlite.copying import Contents
from gateway.live import backup as live_backup
from gateway.live.store import state_of
from tests.cli.house import NIGHT_MS, SOON_S, Daemon, type_in
from tests.cli.test_daemon import House, _hot, house, phone

__all__ = ["house", "phone"]
HOUR_MS = 3_600_000


@pytest.mark.parametrize(
    ("clock", "since_ms", "moved"),
    [
        ("wall", 1, Restored(110, 1010, 110)),
        ("wall", HOUR_MS + 1, Restored(120, 1610, 120)),
        ("wall", -HOUR_MS, Restored(7300, 433_000, 7300)),
        ("topic", HOUR_MS, Restored(7300, 433_000, 7300)),
    ],
)
def test_numbers_move_on_by_the_age_of_the_copy(clock: str, since_ms: int, moved: Restored) -> None:
    held = Contents("quern-hill", clock, 1, 10, NIGHT_MS, NIGHT_MS, {})
    assert live_backup._moved(held, NIGHT_MS + since_ms) == moved


def _next(store: Path) -> tuple[int, int, int]:
    reader = open_reader(store)
    try:
        state = state_of(reader)
        return state.board.next_alarm, state.board.next_notice, state.turns
    finally:
        reader.close()


def test_each_restore_moves_them_on_once_before_all_else(night: Path, tmp_path: Path) -> None:
    first, second, copy = tmp_path / "first", tmp_path / "second", tmp_path / "copy.db"
    assert type_in("--store", night, "backup", copy).code == 0
    assert type_in("--store", first, "restore", copy).code == 0
    # A copy of what was put back and not yet written to hands on what it has still to do.
    again = tmp_path / "again.db"
    assert type_in("--store", first, "backup", again).code == 0
    assert type_in("--store", second, "restore", again).code == 0

    moved = []
    for store in (first, second):
        assert type_in("--store", store, "test-call", "ada").code == 0
        for _ in range(2):
            open_writer(store, site_id="quern-hill", clock_kind="wall").close()
        moved.append([one - before for one, before in zip(_next(store), _next(night), strict=True)])
        reader = open_reader(store)
        later = [one.what for one in reader.entries_after(open_reader(night).last_stamp()[0], 100)]
        assert isinstance(later[0], Restored)
        assert sum(isinstance(one, Restored) for one in later) == 1
        assert isinstance(later[-1], EVENTS["test-call"])
        reader.close()
    assert moved[1] >= [2 * one for one in moved[0][:1]]
    assert min(moved[0]) >= 100
    assert type_in("--store", first, "replay").code == 0


def _answer(daemon: House, url: str, how: str) -> int:
    link = http.client.HTTPConnection("127.0.0.1", daemon.door, timeout=SOON_S)
    link.request(
        how, urlsplit(url).path, "answer=going", {"content-type": "application/x-www-form-urlencoded"}
    )
    status = link.getresponse().status
    link.close()
    return status


def _called(house: House) -> dict[str, Any]:
    _hot(house, range(1, 34))
    return house.phone.hears("PIECE 14 HOT. Bed C")


@pytest.mark.broker
def test_what_was_sent_before_means_nothing_else_after(house: House, tmp_path: Path) -> None:
    daemon: Daemon = house.start("--clock", "topic")
    house.barrier(NIGHT_MS)
    assert type_in("--store", house.store, "cast", "bed-c", "--piece", "14").code == 0
    assert type_in("--store", house.store, "backup", tmp_path / "copy.db").code == 0
    lost = _called(house)
    assert _answer(house, lost["answer_url"], "GET") == 200
    assert daemon.end() == 0

    bad = house.store.rename(tmp_path / "store.bad")
    assert type_in("--store", house.store, "restore", tmp_path / "copy.db").code == 0
    (house.store / "link.key").write_bytes((bad / "link.key").read_bytes())
    (house.store / "link.key").chmod(0o600)
    house.start("--clock", "topic")
    found = _called(house)
    assert found["notice"] > lost["notice"]
    assert found["alarm"] > lost["alarm"]
    assert _answer(house, lost["answer_url"], "GET") == 410
    assert _answer(house, lost["answer_url"], "POST") == 410
    said = type_in("--store", house.store, "answer", lost["alarm"], "going", "--by", "ada")
    assert (said.code, "there is no alarm" in said.err) == (2, True)
    [hot] = [row for row in house.read("alarms")["rows"] if row["kind"] == "bed_hot"]
    assert hot["answered_by"] is None
    assert _answer(house, found["answer_url"], "GET") == 200
