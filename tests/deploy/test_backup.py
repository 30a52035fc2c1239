"""Back-up, restore, verify: with the gateway at work, without it, and with files that are not whole."""

import json
import re
import shutil
import sqlite3
import subprocess
import threading
from pathlib import Path

import pytest

from gateway.core.reading import OWN_TIME, Reading
from gateway.edges.sqlite import Writer, copying, open_reader, open_writer
from gateway.errors import NoAnswer, StoreFault
from gateway.live import backup as live_backup
from gateway.live import store as live_store
from tests.broker import Broker
from tests.cli.house import Daemon, short_night, site_file, site_of, type_in
from tests.deploy.board import until

HOUR_MS = 3_600_000


@pytest.fixture(scope="session")
def night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store to copy; nobody writes to it."""
    folder = tmp_path_factory.mktemp("night")
    return short_night(folder / "store", site_of(site_file(folder / "site")))


@pytest.fixture
def copy(night: Path, tmp_path: Path) -> Path:
    """A back-up of it."""
    said = type_in("--store", night, "backup", tmp_path / "copy.db")
    assert said.code == 0, said.err
    return tmp_path / "copy.db"


def dump(path: Path) -> list[str]:
    """All that a database holds, as SQL."""
    db = sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)
    lines = list(db.iterdump())
    db.close()
    return lines


def test_a_copy_is_one_closed_file_equal_to_the_store(night: Path, copy: Path) -> None:
    assert copy.stat().st_mode & 0o777 == 0o600
    assert sorted(path.name for path in copy.parent.iterdir()) == ["copy.db", "copy.db.sha256"]
    assert dump(copy) == dump(night / "journal.db")
    assert type_in("verify", copy).code == 0
    assert len(list(copy.parent.iterdir())) == 2, "a look leaves nothing beside it"
    assert not list(night.glob("back-up-*"))


def test_restored_it_can_be_read_replayed_and_written_to(copy: Path, tmp_path: Path) -> None:
    store = tmp_path / "new"
    said = type_in("--store", store, "restore", copy)
    assert said.code == 0, said.err
    told = re.search(r"(\d+) entries from 2024-11-05T02:00:00.000Z to 2024-11-05T02:50:00.000Z", said.out)
    assert told, said.out
    assert "What came after 2024-11-05T02:50:00.000Z is not in it" in said.out
    assert type_in("--store", store, "replay").code == 0
    assert type_in("--store", store, "turned", "bed-a", "--by", "ben").json["journal"] > int(told[1])
    assert type_in("--store", store, "verify").code == 0
    assert (store / "journal.db").stat().st_mode & 0o777 == 0o600


def test_others_can_check_it_too(copy: Path) -> None:
    """sha256sum of GNU coreutils is the other reader of what stands beside a copy."""
    words = ["sha256sum", "--check", "--strict", "copy.db.sha256"]
    assert subprocess.run(words, cwd=copy.parent, check=False, capture_output=True).returncode == 0
    copy.with_name("copy.db.sha256").unlink()
    assert type_in("verify", copy).code == 0, "an older copy, or one that went alone"


def test_nothing_is_ever_overwritten(night: Path, copy: Path, tmp_path: Path) -> None:
    before = copy.read_bytes()
    assert type_in("--store", night, "backup", copy).code == 2
    assert copy.read_bytes() == before
    said = type_in("--store", night, "restore", copy)
    assert said.code == 2
    assert "there is a store here already" in said.err
    left = tmp_path / "half"
    left.mkdir()
    (left / "journal.db-wal").touch()
    assert type_in("--store", left, "restore", copy).code == 2
    assert [path.name for path in left.iterdir()] == ["journal.db-wal"]


@pytest.mark.parametrize(
    ("words", "fault"),
    [
        (["no-such-folder/x.db"], "cannot be written"),
        (["--keep", "2", "x.db"], "expected at least 1 and a directory"),
        (["--keep", "0", "."], "expected at least 1 and a directory"),
    ],
)
def test_a_target_that_cannot_be_is_told(
    night: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str], fault: str
) -> None:
    monkeypatch.chdir(tmp_path)
    said = type_in("--store", night, "backup", *words)
    assert (said.code, fault in said.err) == (2, True), said.err
    assert list(tmp_path.iterdir()) == []
    assert not list(night.glob("back-up-*"))


def test_no_store_no_backup(tmp_path: Path) -> None:
    assert type_in("--store", tmp_path / "none", "backup", tmp_path / "x.db").code == 2
    assert type_in("--store", tmp_path / "none", "verify").code == 1


def test_in_a_directory_the_newest_stay(night: Path, tmp_path: Path) -> None:
    old = [f"quern-hill-2024110{day}T030000Z.db" for day in (1, 2, 3)]
    others = ["quern-hill-notes.txt", "other-site-20241101T030000Z.db"]
    for name in (*old, f"{old[0]}.sha256", *others):
        (tmp_path / name).touch()
    said = type_in("--store", night, "backup", "--keep", "2", tmp_path)
    assert said.code == 0, said.err
    names = {path.name for path in tmp_path.iterdir()}
    assert names > {old[2], *others}
    assert not names & set(old[:2])
    assert len(names) == 5
    assert said.out.count("removed ") == 2


def _flip(path: Path) -> None:
    data = bytearray(path.read_bytes())
    for at in range(5000, len(data), 4096):
        data[at] ^= 0xFF
    path.write_bytes(data)


def _cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-9000])


def _empty(path: Path) -> None:
    path.write_bytes(b"")


def _words(path: Path) -> None:
    path.write_text("not a store " * 1000)


def _sql(*statements: str) -> object:
    def change(path: Path) -> None:
        db = sqlite3.connect(path)
        for statement in statements:
            db.execute(statement)
        db.commit()
        db.close()

    return change


@pytest.mark.parametrize(
    ("spoil", "fault"),
    [
        (_flip, "not the bytes that were written"),
        (_cut, "not the bytes that were written"),
        (_empty, ""),
        (_words, "damaged"),
        (_sql("DELETE FROM reading WHERE n = 50"), r"the journal counts to (\d+) and holds \d+"),
        (_sql("UPDATE event SET n = 100 WHERE n = 1"), "1 journal numbers are used twice"),
        (_sql("DELETE FROM probe WHERE id = 1"), "readings are of no probe"),
        (_sql("UPDATE judge SET n = 900"), "the judge is further than the journal"),
        (_sql("UPDATE snapshot SET body = x'00'"), "a snapshot of the judge cannot be read"),
        (_sql("DELETE FROM effect WHERE id = 1"), "refers to a effect that is not there"),
        (_sql("PRAGMA user_version = 9999"), "written by a newer gateway"),
        (_sql("PRAGMA application_id = 1"), "not a store of this gateway"),
    ],
)
def test_what_is_not_whole_is_found_and_not_restored(
    copy: Path, tmp_path: Path, spoil: object, fault: str
) -> None:
    assert callable(spoil)
    spoil(copy)
    said = type_in("verify", copy, "--json")
    assert said.code == 1
    [row] = said.json["rows"]
    assert row["whole"] is False
    assert any(re.search(fault, line) for line in row["faults"]), row["faults"]
    refused = type_in("--store", tmp_path / "new", "restore", copy)
    assert refused.code == 2
    assert "nothing was put back" in refused.err
    assert not (tmp_path / "new" / "journal.db").exists()


def _write_on(writer: Writer, at_ms: int, done: threading.Event) -> list[int]:
    """Commit five hundred readings at a time until told to stop; the journal's number after each commit."""
    numbers = []
    while not done.is_set():
        readings = [Reading(f"p{i}", at_ms + i, 17.5, OWN_TIME) for i in range(500)]
        with writer.atomic():
            entries = writer.add_readings(at_ms, at_ms, readings).entries
        numbers.append(entries[-1].n)
        at_ms += 1000
    return numbers


def test_a_copy_made_while_the_store_is_written_to_is_of_one_moment(tmp_path: Path) -> None:
    writer = open_writer(tmp_path / "store", site_id="quern-hill", clock_kind="wall", reserve_bytes=4096)
    enough, done = threading.Event(), threading.Event()
    enough.set()
    first = _write_on(writer, 2 * 10**12, _after(20))[-1]
    numbers: list[int] = []
    thread = threading.Thread(target=lambda: numbers.extend(_write_on(writer, 3 * 10**12, done)))
    thread.start()
    pages = 0

    def breathe() -> None:
        nonlocal pages
        pages += 1
        enough.wait(0.01)

    held = copying.make(tmp_path / "store", tmp_path / "copy.db", breathe)
    done.set()
    thread.join()
    writer.close()
    assert pages >= 1
    assert held.newest in (first, *numbers), "the end of a commit, not the middle of one"
    assert held.rows["reading"] == held.newest
    assert numbers[-1] > held.newest, "commits went on meanwhile"
    assert copying.look(tmp_path / "copy.db").faults == []


def _after(rounds: int) -> threading.Event:
    class Rounds(threading.Event):
        left = rounds

        def is_set(self) -> bool:
            self.left -= 1
            return self.left < 0

    return Rounds()


def test_a_copy_that_is_broken_off_leaves_nothing(night: Path, tmp_path: Path) -> None:
    def stop() -> None:
        raise NoAnswer("the gateway is stopping")

    with pytest.raises(NoAnswer):
        copying.make(night, tmp_path / "copy.db", stop)
    assert list(tmp_path.iterdir()) == []
    (tmp_path / "there").touch()
    with pytest.raises(StoreFault, match="there is a file already"):
        copying.make(night, tmp_path / "there", lambda: None)


def test_two_at_once_are_one_too_many(night: Path, tmp_path: Path) -> None:
    inside, go_on = threading.Event(), threading.Event()

    def wait() -> None:
        inside.set()
        go_on.wait(30)

    store = Path(shutil.copytree(night, tmp_path / "store"))
    thread = threading.Thread(target=lambda: live_backup._make(store, wait))
    thread.start()
    assert inside.wait(30)
    said = type_in("--store", store, "backup", tmp_path / "second.db")
    go_on.set()
    thread.join()
    assert (said.code, said.err.strip()) == (3, "another back-up is being made")


@pytest.mark.broker
def test_the_running_gateway_makes_it(tmp_path: Path, broker: Broker) -> None:
    store = tmp_path / "store"
    daemon = Daemon(site_file(tmp_path / "site", broker=broker.port), store, "--clock", "topic")
    try:
        daemon.wait_for("running version=", "connected to")
        before = open_reader(store).last_stamp()[0]
        said = type_in("--store", store, "backup", tmp_path)
        assert said.code == 0, said.err
        daemon.wait_for("back-up made:")
        [file] = tmp_path.glob("quern-hill-*.db")
        [row] = type_in("verify", file, "--json").json["rows"]
        assert row["whole"]
        assert before <= row["newest"] <= open_reader(store).last_stamp()[0]
        assert row["clock"] == "topic"
        note = json.loads((store / live_store.COPIED).read_text())
        assert note["file"] == str(file)
        assert daemon.end() == 0
    finally:
        daemon.discard()
    new = tmp_path / "new"
    assert type_in("--store", new, "restore", file).code == 0
    assert type_in("--store", new, "replay").code == 0
    assert until(lambda: not list(store.glob("back-up-*.part")))
