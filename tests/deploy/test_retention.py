"""The thread that lets old readings go asks the writer's thread, a little at a time."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from gateway.core.reading import OWN_TIME, Reading
from gateway.edges.sqlite import Writer, copying, open_writer
from gateway.live.requests import Requests
from gateway.live.retention import MANY, Retention
from gateway.ports import Cursor
from gateway.settings import check_text, load
from tests.cli.house import site_file

BEGAN_MS = 1_730_772_000_000
DAY_MS = 86_400_000


@contextmanager
def serving(requests: Requests) -> Iterator[list[int]]:
    """A writer's thread that does nothing but what it is asked; how many requests each round served."""
    done, served = threading.Event(), [0]

    def run() -> None:
        while not done.wait(0.001):
            served.append(requests.serve(lambda event: 0))

    thread = threading.Thread(target=run)
    thread.start()
    try:
        yield served
    finally:
        done.set()
        thread.join()


def hundred_days(folder: Path) -> Writer:
    """Four readings an hour for a hundred days, all judged."""
    writer = open_writer(folder, site_id="quern-hill", clock_kind="wall", reserve_bytes=4096)
    for hour in range(100 * 24):
        at_ms = BEGAN_MS + hour * 3_600_000
        with writer.atomic():
            readings = [Reading("a-low", at_ms + i * 60_000, 15.0 + i, OWN_TIME) for i in range(4)]
            writer.add_readings(at_ms, at_ms, readings)
    n, _, run_ms = writer.last_stamp()
    with writer.atomic():
        writer.save_effects([], Cursor(n, run_ms), b"state")
    return writer


def test_ninety_days_stay_and_the_writer_is_asked_many_times(tmp_path: Path) -> None:
    writer = hundred_days(tmp_path / "store")
    requests = Requests(lambda: None)
    retention = Retention(90, writer, requests, mirrored=False)
    with serving(requests) as served:
        assert retention.turn() == 10 * 24 * 4
        assert retention.turn() == 0
    assert sum(served) > 10 * 24 * 4 / MANY
    writer.close()
    found = copying.look(tmp_path / "store" / "journal.db")
    assert found.faults == []
    assert found.contents is not None
    assert found.contents.rows["reading"] == 90 * 24 * 4
    assert 0 < retention.longest_s < 5


def test_it_stops_when_it_is_told_to(tmp_path: Path) -> None:
    writer = hundred_days(tmp_path / "store")
    requests = Requests(lambda: None)
    retention = Retention(90, writer, requests, mirrored=False)
    with serving(requests):
        retention.start()
        assert retention.stop(10)
    writer.close()


def test_how_long_they_stay_is_in_the_site_file(tmp_path: Path) -> None:
    site = site_file(tmp_path)
    assert load(site, {}).keep_raw_days == 90
    site.write_text(site.read_text() + "\n[store]\nkeep_raw_days = 365\n")
    assert load(site, {}).keep_raw_days == 365
    faults, _ = check_text(site.read_text().replace("keep_raw_days = 365", "keep_raw_days = 1"))
    assert any("keep_raw_days" in str(fault) for fault in faults)
