"""Driver 2: the same engine without a broker, over a file of inputs or over a store's own journal."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any, BinaryIO

from gateway import __version__
from gateway.core import engine, rows, views_heat
from gateway.core.effects import EFFECT_KINDS, TICK_CAUSES_FROM, Cause, Effect, effect_to_plain
from gateway.core.inputs import Entry, Input, Refused, SiteChanged, Started
from gateway.core.reading import OWN_TIME, Reading, Reason, Rejected
from gateway.core.site import Site
from gateway.errors import NoAnswer, SettingsFault
from gateway.ports import READINGS_GONE, Cursor, KeptEffect, Reader
from gateway.replay_lines import Kept, Line, faults

Progress = Callable[[str], None]
_TOGETHER = 2000
_SAY_EVERY = 200_000
_DIFFERENCES = 5
#: How often a file of effects says what the beds will do, and how those lines are numbered beside effects.
_FORECAST_MS = 30 * 60_000
_FORECASTS_FROM = 1000


@dataclass(slots=True)
class Outcome:
    """What became of an input file: `readings` = kept + duplicates + the refused."""

    lines: int = 0
    backward: int = 0
    readings: int = 0
    kept: int = 0
    duplicates: int = 0
    refused: Counter[str] = field(default_factory=Counter)
    events: int = 0
    effects: Counter[str] = field(default_factory=Counter)

    def plain(self) -> dict[str, Any]:
        """The counts as one JSON value."""
        names = ("lines", "backward", "readings", "kept", "duplicates", "refused", "events", "effects")
        return {name: getattr(self, name) for name in names}


class _Judge:
    """Numbers the inputs as a journal would and judges them some thousand at a time."""

    def __init__(self, site: Site, write: Callable[[str], Any], progress: Progress) -> None:
        self.outcome = Outcome()
        self._site = site
        self._write, self._progress = write, progress
        self._state = engine.new()
        self._kept = Kept()
        self._n = 0
        self._said_ms = 0
        self._waiting: list[Entry] = []

    def take(self, line: Line) -> None:
        """One line of the file, in its order."""
        if self._n == 0:
            self._add(line.at_ms, Started(__version__))
            self._add(line.at_ms, SiteChanged(self._site))
        due_ms = line.at_ms // _FORECAST_MS * _FORECAST_MS
        if due_ms > self._said_ms:
            self._foretell(due_ms)
        what = line.what
        if isinstance(what, Reading | Rejected):
            self._measured(line.at_ms, what)
        elif what is None:
            self.judge(line.at_ms)
        else:
            self.outcome.events += 1
            self._add(line.at_ms, what)
        if len(self._waiting) >= _TOGETHER:
            self.judge(line.at_ms)

    def _measured(self, at_ms: int, what: Reading | Rejected) -> None:
        self.outcome.readings += 1
        if self.outcome.readings % _SAY_EVERY == 0:
            self._progress(f"{self.outcome.readings} readings, at {rows.when(at_ms)}")
        if isinstance(what, Rejected):
            self._refuse(at_ms, what.topic, what.probe, what.reason)
            return
        kept = self._kept.add(what, bool(what.flags & OWN_TIME))
        if kept is None:
            self.outcome.duplicates += 1
        elif isinstance(kept, Reason):
            self._refuse(at_ms, self._site.probe[what.probe].topic, what.probe, kept)
        else:
            self.outcome.kept += 1
            self._add(at_ms, kept)

    def _refuse(self, at_ms: int, topic: str, probe: str | None, reason: Reason) -> None:
        self.outcome.refused[reason.value] += 1
        self._add(at_ms, Refused(topic, probe, reason.value, 1))

    def _add(self, at_ms: int, what: Input) -> None:
        self._n += 1
        self._waiting.append(Entry(self._n, at_ms, at_ms, what))

    def _foretell(self, at_ms: int) -> None:
        """What each bed will do, as it is thought at a whole half hour: of no effect on anything else."""
        first, self._said_ms = not self._said_ms, at_ms
        if first:
            return
        self.judge(at_ms)
        for ordinal, row in enumerate(views_heat.forecast(self._state)):
            said = {"cause": [at_ms, _FORECASTS_FROM + ordinal], "kind": "forecast"} | rows.forecast(row)
            self._write(json.dumps(said, ensure_ascii=False) + "\n")

    def judge(self, until_ms: int) -> None:
        """Judge what waits, and the ticks up to here."""
        for made in engine.judged(self._state, self._waiting, until_ms):
            self.outcome.effects[EFFECT_KINDS[type(made)]] += 1
            self._write(json.dumps(rows.effect(made), ensure_ascii=False) + "\n")
        self._waiting.clear()


def run_inputs(site: Site, source: Path, target: Path, progress: Progress) -> Outcome:
    """Judge a file of inputs and write its effects, one line each; `target` appears only if all went well.

    Raises SettingsFault naming file, line, key and value of what cannot be taken.
    """
    partial = target.with_name(target.name + ".part")
    try:
        with source.open("rb") as lines, partial.open("w", encoding="utf-8") as out:
            outcome = _run(site, lines, str(source), out, progress)
        partial.replace(target)
    except OSError as fault:
        raise SettingsFault(str(fault)) from fault
    finally:
        partial.unlink(missing_ok=True)
    return outcome


def _run(site: Site, source: BinaryIO, name: str, out: IO[str], progress: Progress) -> Outcome:
    judge = _Judge(site, out.write, progress)
    last_ms = 0

    def take(line: Line) -> None:
        nonlocal last_ms
        last_ms = line.at_ms
        judge.take(line)

    found, count, backward = faults(source, name, take, site)
    if found:
        raise SettingsFault("\n".join(found))
    judge.judge(last_ms)
    judge.outcome.lines, judge.outcome.backward = count, backward
    return judge.outcome


@dataclass(slots=True)
class Comparison:
    """A store's journal judged afresh beside what was made of it live; `differences` are the first few."""

    entries: int = 0
    kept: int = 0
    made: int = 0
    same: int = 0
    versions: list[str] = field(default_factory=list)
    differences: list[str] = field(default_factory=list)

    @property
    def equal(self) -> bool:
        """Whether the journal gives exactly what was kept."""
        return self.kept == self.made == self.same

    def plain(self) -> dict[str, Any]:
        """The counts as one JSON value."""
        names = ("entries", "kept", "made", "same", "versions", "differences")
        return {name: getattr(self, name) for name in names}


def as_text(counts: dict[str, Any]) -> str:
    """The counts as one line of JSON."""
    return json.dumps(counts, ensure_ascii=False)


def compare(reader: Reader, progress: Progress) -> Comparison:
    """Judge the whole journal again, up to where the judge has come, and compare effect by effect.

    Equality is promised within one version, on one machine.
    """
    found = Comparison()
    with reader.snapshot():
        gone = int(reader.get_meta(READINGS_GONE) or 0)
        if gone:
            raise NoAnswer(
                f"{gone} readings were let go because the site keeps them no longer (store.keep_raw_days); "
                "a journal is compared from its beginning: take a back-up from before"
            )
        cursor, _, _ = reader.load_judge()
    of_entries = _Kept(reader, 0, cursor.n)
    of_ticks = _Kept(reader, TICK_CAUSES_FROM, cursor.run_ms)
    for made in _judged(reader, cursor, found, progress):
        found.made += 1
        _beside(of_entries if made.cause[0] < TICK_CAUSES_FROM else of_ticks, made, found)
    of_entries.before(None, found)
    of_ticks.before(None, found)
    return found


def _beside(kept: _Kept, made: Effect, found: Comparison) -> None:
    kept.before(made.cause, found)
    there, here = kept.take(made.cause), effect_to_plain(made)
    found.kept += there is not None
    if there == here:
        found.same += 1
    else:
        _note(found, f"{list(made.cause)}: kept {_short(there)}, now {_short(here)}")


class _Kept:
    """The effects kept by the causes from one to another, in order, a page of them held at a time.

    Those of entries are made in the order of their causes, and so are those of ticks, but the two mix:
    there is one of these for each.
    """

    def __init__(self, reader: Reader, first: int, last: int) -> None:
        self._rest = _effects(reader, first, last)
        self._next = next(self._rest, None)

    def take(self, cause: Cause) -> tuple[str, dict[str, Any]] | None:
        """Kind and body of the effect with this cause, where it is the next; None else."""
        one = self._next
        if one is None or one.cause != cause:
            return None
        self._next = next(self._rest, None)
        return one.kind, one.body

    def before(self, cause: Cause | None, found: Comparison) -> None:
        """Say of all before this cause, or of all that are left, that nothing was made of them now."""
        while (one := self._next) is not None and (cause is None or one.cause < cause):
            found.kept += 1
            _note(found, f"{list(one.cause)}: kept {_short((one.kind, one.body))}, now nothing")
            self._next = next(self._rest, None)


def _judged(reader: Reader, cursor: Cursor, found: Comparison, progress: Progress) -> Iterator[Effect]:
    state, n = engine.new(), 0
    while entries := [entry for entry in reader.entries_after(n, _TOGETHER) if entry.n <= cursor.n]:
        found.versions += [one.what.version for one in entries if isinstance(one.what, Started)]
        before, found.entries, n = found.entries, found.entries + len(entries), entries[-1].n
        if before // _SAY_EVERY != found.entries // _SAY_EVERY:
            progress(f"{found.entries} of {cursor.n} entries, at {rows.when(entries[-1].at_ms)}")
        yield from engine.judged(state, entries, entries[-1].run_ms)
    if n:
        yield from engine.judged(state, [], cursor.run_ms)


def _effects(reader: Reader, first: int, last: int) -> Iterator[KeptEffect]:
    after = (first, -1)
    while page := reader.effects(after):
        for one in page:
            if one.cause[0] > last:
                return
            yield one
        after = page[-1].cause


def _note(found: Comparison, text: str) -> None:
    if len(found.differences) < _DIFFERENCES:
        found.differences.append(text)


def _short(effect: tuple[str, dict[str, Any]] | None) -> str:
    return "nothing" if effect is None else f"{effect[0]} {json.dumps(effect[1], ensure_ascii=False)[:400]}"
