"""Tells a night to a gateway: time in steps, messages as they come, what people do, phones that ring."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

from gateway.core import codec, rows
from gateway.core.effects import EFFECTS
from gateway.core.inputs import VERBS, Event, event_to_plain
from gateway.core.moment import rfc3339
from gateway.core.reading import Reading
from gateway.ports import NoticeLine
from gateway.replay import run_inputs
from simulators.mishaps import Timed
from tests.scenarios.floor import Night, before
from tests.scenarios.gate import MANY, Alarm, Gate, PowerCut

Act = tuple[int, Callable[[Gate], object]]
STEP_MS = 30_000


@dataclass
class Story:
    """One gateway and the true time. `acts` are done when true time reaches theirs."""

    gate: Gate
    now_ms: int
    messages: Sequence[Timed]
    acts: list[Act] = field(default_factory=list)
    cuts: dict[int, int] = field(default_factory=dict)
    """True time from which the power may go, and at how many points later it does."""
    down: bool = False
    _next: int = 0

    @property
    def brought(self) -> Sequence[Timed]:
        """The messages that have reached the broker by now."""
        return self.messages[: self._next]

    def do(self, at_ms: int, what: Event | Callable[[Gate], object]) -> None:
        """Something is recorded, or done to the gateway, at a true time."""
        act = what if callable(what) else _recording(what)
        self.acts.append((at_ms, act))
        self.acts.sort(key=lambda one: one[0])

    def until(self, at_ms: int, step_ms: int = STEP_MS, deliver: bool = True) -> None:
        """Let true time pass up to a moment."""
        while self.now_ms < at_ms:
            passed = min(step_ms, at_ms - self.now_ms)
            self.now_ms += passed
            self.gate.hand.let_pass(passed)
            self._bring()
            if not self.down:
                self._guarded(self.gate.run)
            while self.acts and self.acts[0][0] <= self.now_ms:
                act = self.acts.pop(0)[1]
                self._guarded(lambda act=act: act(self.gate))  # type: ignore[misc]
            if deliver and not self.down:
                self._guarded(self.gate.deliver)

    def _bring(self) -> None:
        while self._next < len(self.messages) and self.messages[self._next].at_s * 1000 <= self.now_ms:
            message = self.messages[self._next]
            self.gate.bench.publish(message.topic, message.payload)
            self._next += 1

    def _guarded(self, act: Callable[[], object]) -> None:
        """Do it; where the power goes meanwhile, start again and go on. What was committed stays."""
        for from_ms in [one for one in self.cuts if one <= self.now_ms]:
            self.gate.cut_in(self.cuts.pop(from_ms))
        try:
            act()
        except PowerCut:
            self.gate.fall()
            self._open()
            self.gate.run()

    def _open(self) -> None:
        try:
            self.gate.open()
        except PowerCut:
            self.gate.fall()
            self._open()


def _recording(event: Event) -> Callable[[Gate], object]:
    return lambda gate: gate.record(event)


def story(gate: Gate, night: Night, messages: Sequence[Timed] | None = None) -> Story:
    """The night told to a gateway: what was recorded before it and in it, and what came of the probes."""
    for event in before(night.start_ms):
        gate.record(event)
    told = Story(gate, night.start_ms, night.messages if messages is None else messages)
    for at_ms, event in night.done:
        told.do(at_ms, event)
    return told


def same(
    found: Sequence[Alarm], expected: Sequence[Alarm], within_ms: int, late: Mapping[str, int] | None = None
) -> int:
    """The same alarms, each raised within so long of when it was; `late` allows a kind so much more to be
    raised after. The largest difference, in ms."""
    then = {one.name: one.raised_ms for one in expected}
    now = {one.name: one.raised_ms for one in found}
    assert sorted(now, key=str) == sorted(then, key=str), set(now) ^ set(then)
    apart = {name: at_ms - then[name] for name, at_ms in now.items()}
    allowed = {name: within_ms + (late or {}).get(name[0], 0) for name in apart}
    assert all(-within_ms <= by <= allowed[name] for name, by in apart.items()), apart
    return max((abs(by) for by in apart.values()), default=0)


class Call(NamedTuple):
    """One notice: minutes of true time do not matter here, only what the journal says."""

    at_ms: int
    person: str
    kind: str
    alarm: int | None
    text: str
    silent: bool


def calls(gate: Gate, kind: str | None = None, place: str | None = None) -> list[Call]:
    """All notices of alarms of a kind at a place, oldest first."""
    assert gate.reader is not None
    of = {
        one.line.alarm.number
        for one in gate.alarms()
        if kind in (None, one.kind) and place in (None, one.place)
    }
    found = sorted(gate.reader.notices(MANY), key=lambda line: line.notice.number)
    return [_call(line) for line in found if line.notice.alarm in of]


def _call(line: NoticeLine) -> Call:
    one = line.notice
    return Call(one.at_ms, one.person, one.kind, one.alarm, one.text, one.silent)


def signals(alarm: Alarm) -> list[str]:
    """The steps of its life."""
    return [step.signal for step in alarm.line.history]


def only(gate: Gate, kind: str, place: str) -> Alarm:
    """The one alarm of a kind at a place."""
    [found] = [one for one in gate.alarms() if (one.kind, one.place) == (kind, place)]
    return found


def show(text: str) -> None:
    """A figure for whoever reads the test's output (pytest -s, or a failure)."""
    print(text)  # noqa: T201 - the figure is what the test is run for


def replayed(gate: Gate) -> int:
    """Judge the journal afresh; everything must be as it was kept. How many effects were compared."""
    gate.pipeline.end()
    found = gate.compared()
    assert found.differences == []
    assert found.equal, found.plain()
    assert "effects_differing" not in gate.counts()
    assert found.entries == len(journal(gate))
    return found.kept


def journal(gate: Gate) -> list[Any]:
    """Every entry."""
    assert gate.reader is not None
    return gate.reader.entries_after(0, MANY)


def replayed_as_inputs(gate: Gate, folder: Path) -> int:
    """Write the journal as an input file (contract C7) and judge that: the same effects in the same order.

    An input file has neither deliveries nor what the gateway found out by itself, so journal numbers differ
    and causes are left out of the comparison.
    """
    assert gate.reader is not None
    source, target = folder / "journal.jsonl", folder / "effects.jsonl"
    judged_to = json.loads(gate.bench.statuses[-1])["judged_to"]
    lines = [*_input_lines(journal(gate)), {"at": judged_to, "kind": "tick"}]
    source.write_text("".join(json.dumps(line) + "\n" for line in lines))
    outcome = run_inputs(gate.settings.site, source, target, lambda text: None)
    read = [json.loads(line) for line in target.read_text().splitlines()]
    # What the beds will do is said in a file of effects and is none: it follows from the state alone.
    made = [_plain(line) for line in read if line["kind"] != "forecast"]
    kept = [_plain(row) for row in _kept(gate)]
    assert made == kept
    readings = sum(isinstance(entry.what, Reading) for entry in journal(gate))
    assert (outcome.kept, outcome.duplicates, sum(outcome.refused.values())) == (readings, 0, 0)
    return len(made)


def _input_lines(entries: Iterable[Any]) -> Iterable[dict[str, Any]]:
    for entry in entries:
        at, what = rfc3339(entry.at_ms), entry.what
        if isinstance(what, Reading):
            yield {"at": at, "kind": "reading", "probe": what.probe, "value": what.value,
                   "measured_at": rfc3339(what.measured_at_ms), "sequence": what.sequence,
                   "battery": what.battery}  # fmt: skip
            continue
        word, body = event_to_plain(what)
        if word in VERBS:
            yield {"at": at, "kind": word, **body}


def _kept(gate: Gate) -> list[dict[str, Any]]:
    """All effects as rows, in the order in which they were made."""
    assert gate.reader is not None
    found: list[dict[str, Any]] = []
    after = 0
    while page := gate.reader.effects_in_order(after, MANY):
        after = page[-1].order
        found += [rows.effect(codec.restore(EFFECTS[one.kind], one.body)) for one in page]
    return found


def _plain(row: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in row.items() if key != "cause"}
