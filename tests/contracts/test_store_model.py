"""The store and a plain list do the same, whatever is added, undone, reopened, in whatever order."""

import shutil
import tempfile
from collections import Counter, deque
from pathlib import Path

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from gateway.core.inputs import Cast, Condition, Entry, Event, Started
from gateway.core.reading import OWN_TIME, RETAINED, Reading
from gateway.core.timeline import REBASE_MS
from gateway.edges.sqlite import Reader, Writer
from gateway.ports import Added
from tests.contracts.store import reader_of, undone, writer_of

KEEP = 3
PROBES = st.sampled_from(["bed-c/low", "bed-c/mid", "kiln/air-on"])
VALUES = st.sampled_from([-0.0, 0.0, 15.0, 15.1, 812])
# A few times close together, so that the same one often comes again; some beyond the re-base.
TIMES = st.integers(0, 6) | st.integers(REBASE_MS - 3, REBASE_MS + 3)
READINGS = st.builds(
    Reading,
    PROBES,
    TIMES,
    VALUES,
    st.sampled_from([OWN_TIME, OWN_TIME | RETAINED, 0]),
    st.none() | st.integers(0, 9),
    st.none() | st.just(2.9),
)
EVENTS: st.SearchStrategy[Event] = st.one_of(
    st.builds(Started, st.text(max_size=3)),
    st.builds(Condition, st.just("broker"), st.booleans()),
    st.builds(Cast, st.just("bed-c"), st.none() | st.text(max_size=3)),
)
STEPS = st.one_of(
    st.lists(READINGS, max_size=8),
    EVENTS,
    st.binary(min_size=1, max_size=1),
    st.sampled_from(["received", "kept"]),
)
Step = list[Reading] | Event | bytes | str


class Model:
    """What the store should hold, in plain lists and sets."""

    def __init__(self) -> None:
        self.entries: list[Entry] = []
        self.values: dict[tuple[str, int], float] = {}
        self.totals: Counter[str] = Counter()
        self.recent: deque[bytes] = deque(maxlen=KEEP)

    def copy(self) -> "Model":
        other = Model()
        other.entries, other.values = list(self.entries), dict(self.values)
        other.totals, other.recent = Counter(self.totals), deque(self.recent, KEEP)
        return other

    def append(self, entry: Entry) -> None:
        assert entry.n == len(self.entries) + 1
        self.entries.append(entry)

    def took(self, at_ms: int, batch: list[Reading], added: Added) -> None:
        """Check what the store did with a batch, and do it too."""
        entries, conflicts, duplicates = deque(added.entries), deque(added.conflicts), 0
        for given in batch:
            key = (given.probe, given.measured_at_ms)
            if given.flags & OWN_TIME and key in self.values:
                if self.values[key] == given.value:
                    duplicates += 1
                else:
                    assert conflicts.popleft() == given
                continue
            entry = entries.popleft()
            kept = entry.what
            assert isinstance(kept, Reading)
            if given.flags & OWN_TIME:
                assert kept == given
            else:
                self.moved(given, kept)
            assert (entry.at_ms, entry.run_ms) == (at_ms, at_ms)
            self.values[kept.probe, kept.measured_at_ms] = kept.value
            self.append(entry)
        assert (list(entries), list(conflicts), duplicates) == ([], [], added.duplicates)

    def moved(self, given: Reading, kept: Reading) -> None:
        """Without a time of its own it may be moved a little later, to where the probe has nothing yet."""
        assert kept._replace(measured_at_ms=0) == given._replace(measured_at_ms=0)
        assert (kept.probe, kept.measured_at_ms) not in self.values
        assert 0 <= kept.measured_at_ms - given.measured_at_ms <= REBASE_MS + 2 * len(self.entries) + 1


class StoreAndList(RuleBasedStateMachine):
    """Random transactions against both."""

    @initialize()
    def begin(self) -> None:
        self.directory = Path(tempfile.mkdtemp(prefix="store-"))
        self.writer: Writer = writer_of(self.directory)
        self.reader: Reader = reader_of(self.directory)
        self.model = Model()
        self.at_ms = 0

    def _do(self, model: Model, step: Step) -> None:
        if isinstance(step, list):
            model.took(self.at_ms, step, self.writer.add_readings(self.at_ms, self.at_ms, step))
        elif isinstance(step, bytes):
            assert self.writer.remember_delivery(step, KEEP) == (step in model.recent)
            if step not in model.recent:
                model.recent.append(step)
        elif isinstance(step, str):
            self.writer.note_counts(**{step: 2})
            model.totals[step] += 2
        else:
            entry = self.writer.add_event(self.at_ms, self.at_ms, step)
            assert entry[1:] == (self.at_ms, self.at_ms, step)
            model.append(entry)

    @rule(steps=st.lists(STEPS, max_size=5), later_ms=st.sampled_from([0, 1, 10_000]))
    def commit(self, steps: list[Step], later_ms: int) -> None:
        self.at_ms += later_ms
        with self.writer.atomic():
            for step in steps:
                self._do(self.model, step)

    @rule(steps=st.lists(STEPS, max_size=5))
    def undo(self, steps: list[Step]) -> None:
        scratch = self.model.copy()
        with undone(self.writer):
            for step in steps:
                self._do(scratch, step)

    @rule()
    def reopen(self) -> None:
        self.writer.close()
        self.writer = writer_of(self.directory)

    @rule()
    def fold(self) -> None:
        self.writer.checkpoint()

    @invariant()
    def both_hold_the_same(self) -> None:
        assert (
            self.reader.entries_after(0, 10**6) == self.writer.entries_after(0, 10**6) == self.model.entries
        )
        assert self.reader.counts() == dict(self.model.totals)
        assert self.writer.last_stamp()[0] == len(self.model.entries)

    def teardown(self) -> None:
        if hasattr(self, "writer"):
            self.reader.close()
            self.writer.close()
            shutil.rmtree(self.directory)


StoreAndList.TestCase.settings = settings(max_examples=60, stateful_step_count=12, deadline=None)
TestStoreAndList = StoreAndList.TestCase
