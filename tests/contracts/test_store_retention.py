"""Readings leave by running time, in steps; what they come to by the minute is what all of them come to."""

import math
import random
import zlib
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import pytest

from gateway.core.inputs import Entry, Started
from gateway.core.reading import OWN_TIME, Reading
from gateway.edges.sqlite import Reader, Writer, copying, open_reader, open_writer
from gateway.ports import Cursor, Minute, MirrorPlace, MirrorState
from tests.cli.house import short_night, site_file, site_of, type_in

BEGAN_MS = 1_730_772_000_000
DAY_MS = 86_400_000
PROBES = ("a-low", "a-mid", "b-co2")


class Store:
    """A writer and a reader on one store, with time by hand; remembers every reading it was given."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.writer: Writer = open_writer(folder, site_id="quern", clock_kind="wall", reserve_bytes=4096)
        self.reader: Reader = open_reader(folder)
        self.now_ms = BEGAN_MS
        self.all: list[Reading] = []

    def commit(self, *readings: Reading, event: bool = False) -> list[Entry]:
        """Keep these now, and say that the judge has seen them."""
        with self.writer.atomic():
            entries = [self.writer.add_event(self.now_ms, self.now_ms, Started("1"))] if event else []
            entries += self.writer.add_readings(self.now_ms, self.now_ms, readings).entries
        self.all += [entry.what for entry in entries if isinstance(entry.what, Reading)]
        return entries

    def judged(self) -> None:
        """Both snapshots are of now."""
        n, _, run_ms = self.writer.last_stamp()
        for _ in range(2):
            with self.writer.atomic():
                self.writer.save_effects([], Cursor(n, run_ms), b"state")

    def let_go(self, older_ms: int, most: int = 10**6, *, mirrored: bool = False) -> int:
        """One step."""
        with self.writer.atomic():
            return self.writer.let_go(self.now_ms - older_ms, most, mirrored=mirrored)

    def close(self) -> None:
        self.reader.close()
        self.writer.close()


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    one = Store(tmp_path / "store")
    yield one
    one.close()


def expected(readings: list[Reading], probe: str) -> list[Minute]:
    """The same figures the simple way, from every reading there ever was."""
    found: defaultdict[int, list[Reading]] = defaultdict(list)
    for one in readings:
        if one.probe == probe:
            found[one.measured_at_ms // 60_000].append(one)
    return [_figures(minute * 60_000, found[minute]) for minute in sorted(found)]


def _figures(begin_ms: int, group: list[Reading]) -> Minute:
    values = [one.value for one in group]
    last = max(group, key=lambda one: one.measured_at_ms)
    flags = 0
    for one in group:
        flags |= one.flags
    mean = math.fsum(values) / len(values)
    return Minute(
        begin_ms, len(group), min(values), mean, max(values), last.value, last.measured_at_ms, flags
    )


def same(found: list[Minute], wanted: list[Minute]) -> bool:
    """Equal; the mean but for the rounding of a sum."""
    if [one._replace(mean=0.0) for one in found] != [one._replace(mean=0.0) for one in wanted]:
        return False
    return all(
        math.isclose(one.mean, two.mean, rel_tol=1e-12) for one, two in zip(found, wanted, strict=True)
    )


def figures(store: Store, probe: str) -> list[Minute]:
    return store.reader.minutes(probe, 0, 2 * BEGAN_MS, 10**6)


@pytest.mark.parametrize("seed", range(8))
def test_figures_are_those_of_all_readings_whatever_has_gone_and_come_late(store: Store, seed: int) -> None:
    draw = random.Random(seed)
    for _ in range(60):
        store.now_ms += draw.randrange(1, 40) * 60_000
        late_ms = draw.choice((0, 0, 0, 3_600_000, 3 * DAY_MS))
        batch = [
            Reading(
                draw.choice(PROBES),
                store.now_ms - late_ms - draw.randrange(120_000),
                draw.choice((draw.uniform(-5, 40), 17, 17.5)),
                OWN_TIME | draw.choice((0, 2)),
            )
            for _ in range(draw.randrange(20))
        ]
        # Some come once more, weeks after the first of them were let go.
        batch += draw.sample(store.all, min(len(store.all), draw.choice((0, 0, 5))))
        store.commit(*batch, event=draw.random() < 0.3)
        if draw.random() < 0.5:
            store.judged()
        store.let_go(draw.choice((0, 3_600_000, 8 * 3_600_000)), draw.choice((1, 7, 100)))
        for probe in PROBES:
            assert same(figures(store, probe), expected(store.all, probe))
    assert len({(one.probe, one.measured_at_ms) for one in store.all}) == len(store.all), "each once"
    assert copying.look(store.folder / "journal.db").faults == []
    assert int(store.reader.get_meta("readings_gone") or 0) > 100, "some have gone, or this shows nothing"


def test_a_repeat_of_what_was_let_go_is_refused_and_a_late_one_of_another_minute_is_kept(
    store: Store,
) -> None:
    first = [Reading("a-low", BEGAN_MS + 1000 * second, 15.0, OWN_TIME) for second in (0, 10, 70)]
    timeless = Reading("a-low", BEGAN_MS + 20_000, 15.5)
    store.commit(*first, Reading("b-co2", BEGAN_MS, 900.0, OWN_TIME), event=True)
    store.now_ms += DAY_MS
    store.commit(Reading("a-low", BEGAN_MS + 30_000, 16.0, OWN_TIME), Reading("b-co2", BEGAN_MS + 1, 901.0))
    store.judged()
    store.let_go(DAY_MS // 2)
    before = figures(store, "a-low")
    again = [*first, Reading("a-low", BEGAN_MS + 5000, 15.0, OWN_TIME), first[0]._replace(value=99.0)]
    still_there = Reading("a-low", BEGAN_MS + 30_000, 16.0, OWN_TIME)
    late = [Reading("a-low", BEGAN_MS + 130_000, 14.0, OWN_TIME), Reading("a-mid", BEGAN_MS, 14.0, OWN_TIME)]
    with store.writer.atomic():
        added = store.writer.add_readings(store.now_ms, store.now_ms, [*again, still_there, *late, timeless])
    assert added.too_old == again
    assert added.duplicates == 1
    assert [entry.what for entry in added.entries] == [*late, timeless]
    assert figures(store, "a-low")[1] == before[1]
    assert figures(store, "a-low")[0].times == before[0].times + 1, "what came without a time is a new one"


def test_what_is_left_reads_as_before(store: Store) -> None:
    for turn in range(300):
        store.now_ms += 60_000
        store.commit(Reading("a-low", store.now_ms, 15 + turn / 100, OWN_TIME), event=turn % 7 == 0)
    before = store.reader.entries_after(0, 10_000)
    store.judged()
    while store.let_go(100 * 60_000, 13):
        continue
    after = store.reader.entries_after(0, 10_000)
    kept = {entry.n for entry in after}
    assert after == [entry for entry in before if entry.n in kept]
    gone = [entry for entry in before if entry.n not in kept]
    assert all(isinstance(entry.what, Reading) for entry in gone)
    assert {entry.run_ms <= store.now_ms - 100 * 60_000 for entry in gone} == {True}
    assert len(gone) == 200
    stamps = store.writer._db.execute("SELECT count(*) FROM stamp").fetchone()[0]
    assert stamps <= len(after), "the stamps of what has gone have gone"


def test_what_the_judge_or_the_mirror_needs_stays(store: Store) -> None:
    for _ in range(100):
        store.now_ms += 60_000
        store.commit(Reading("a-low", store.now_ms, 15.0, OWN_TIME))
    assert store.let_go(0) == 0, "nothing is judged"
    store.judged()
    assert store.let_go(0, mirrored=True) == 0, "nothing is mirrored"
    with store.writer.atomic():
        store.writer.save_mirror(MirrorState("server", MirrorPlace(40)), [], [])
    assert store.let_go(0, mirrored=True) == 40
    assert store.reader.entries_after(0, 1)[0].n == 41
    assert store.let_go(0) == 59, "the newest stays, so that its number is not given twice"
    store.writer.close()
    store.writer = open_writer(store.folder, site_id="quern", clock_kind="wall", reserve_bytes=4096)
    store.now_ms += 60_000
    assert store.commit(Reading("a-low", store.now_ms, 15.0, OWN_TIME))[0].n == 101


def test_a_clock_that_jumps_lets_nothing_go(store: Store) -> None:
    """Only running time counts: readings that bear a wrong date are as old as their commit."""
    store.commit(Reading("a-low", BEGAN_MS + 20 * 365 * DAY_MS, 15.0, OWN_TIME))
    store.commit(Reading("a-low", BEGAN_MS - 20 * 365 * DAY_MS, 15.0, OWN_TIME))
    store.commit(Reading("a-low", BEGAN_MS, 15.0, OWN_TIME), event=True)
    store.judged()
    assert store.let_go(DAY_MS) == 0
    assert len(store.reader.entries_after(0, 10)) == 4


def test_a_span_is_cut_to_what_was_asked_for(store: Store) -> None:
    for turn in range(50):
        store.now_ms += 60_000
        store.commit(Reading("a-low", store.now_ms, float(turn), OWN_TIME))
    store.judged()
    store.let_go(25 * 60_000)
    found = store.reader.minutes("a-low", BEGAN_MS + 10 * 60_000, BEGAN_MS + 40 * 60_000, 20)
    assert [one.last for one in found] == [float(turn) for turn in range(9, 29)]
    assert store.reader.minutes("nobody", 0, 2 * BEGAN_MS) == []
    assert store.reader.minutes("a-low", 0, 2 * BEGAN_MS, 0) == []


def test_a_pruned_journal_is_not_judged_from_its_beginning(tmp_path: Path) -> None:
    folder = short_night(tmp_path / "store", site_of(site_file(tmp_path / "site")))
    assert type_in("--store", folder, "replay").code == 0
    writer = open_writer(folder, site_id="quern-hill", clock_kind="wall", reserve_bytes=4096)
    with writer.atomic():
        assert writer.let_go(10**15, 10, mirrored=False) > 0
    writer.close()
    said = type_in("--store", folder, "replay")
    assert said.code == 3
    assert "take a back-up from before" in said.err
    assert type_in("--store", folder, "beds", "--json").code in (0, 1), "the state goes on from its snapshot"
    db = copying._open(folder / "journal.db", "")
    db.execute("UPDATE snapshot SET body = ?", (zlib.compress(b"{}"),))
    db.close()
    said = type_in("--store", folder, "beds")
    assert said.code == 3
    assert "run the version before this one" in said.err
