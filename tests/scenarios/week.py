"""A week at Quern Hill: six pieces in flight on two floors, people of flesh, and all that goes wrong.

`live` lets the simulated maltings, a judge and the people go on side by side, a minute at a time: people
hear the calls and act on the floor, which the probes then tell of. Nothing of what is true reaches the judge
but by its probes and by what people record.

    python -m tests.scenarios.week [--seed N] [--days D] [--out DIR]

prints what `week_sums` makes of it, and leaves inputs.jsonl (contract C7), truth.jsonl and effects.jsonl.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any

from gateway.core import engine, rows, views_heat
from gateway.core.effects import BreakKnown, Effect, Notice
from gateway.core.inputs import (
    Answered,
    Cast,
    CouchBroken,
    Entry,
    Event,
    KilnWorked,
    Loaded,
    Refused,
    SiteChanged,
    Started,
    Turned,
    event_to_plain,
)
from gateway.core.moment import rfc3339
from gateway.core.reading import OWN_TIME, Reading, Reason
from gateway.core.wire.book import Book, decode
from gateway.replay_lines import Kept
from simulators.mishaps import Link, Mishaps, Timed
from simulators.world import World
from tests.scenarios import week_sums
from tests.scenarios.floor import HOUR, MINUTE, ms
from tests.scenarios.week_site import BEDS, settings, tables

START = "2026-01-12T06:00:00+00:00"
AGES_H = (6.0, 30.0, 54.0, 78.0, 102.0, 126.0)
#: A piece goes to the kiln at this age; the bed is cast anew two hours later.
DONE_H = 150.0
#: What a link of a maltings does to some of its messages (ours; wet grain blocks radio).
LINK = Mishaps(drop=0.01, double=0.01, delay=0.01, reorder=0.005, stuck=2e-5, silence=6e-5, garbage=0.0005)


@dataclass(frozen=True)
class Habits:
    """How people are: a turn each `every_h`, sometimes slipping; what they forget; the weather. All ours."""

    every_h: float = 7.5
    slips: float = 0.08
    slip_h: float = 6.0
    records_late: float = 0.10
    never_records: float = 0.08
    forgets_probe: float = 0.01
    answers_after_min: float = 15.0
    outdoors_c: float = 12.0


@dataclass
class Week:
    """What happened: effects as judged, inputs as C7 has them, the truth, and forecasts as they were said."""

    start_ms: int
    end_ms: int
    inputs: list[dict[str, Any]] = field(default_factory=list)
    effects: list[tuple[int, Effect]] = field(default_factory=list)
    truth: list[dict[str, Any]] = field(default_factory=list)
    forecasts: list[dict[str, Any]] = field(default_factory=list)
    events: list[tuple[int, Event]] = field(default_factory=list)
    readings: int = 0
    state: engine.State | None = None


class _Desk:
    """The judge, and what it is told, in order."""

    def __init__(self, week: Week, now_ms: int) -> None:
        with TemporaryDirectory() as folder:
            read = settings(Path(folder))
        self.week, self.site = week, read.site
        self.state = engine.new()
        self._book, self._kept, self._n = Book(self.site, read.broker.root), Kept(), 0
        self._waiting: list[Entry] = []
        self._add(now_ms, Started("week"))
        self._add(now_ms, SiteChanged(self.site))

    def _add(self, at_ms: int, what: Any) -> None:
        self._n += 1
        self._waiting.append(Entry(self._n, at_ms, at_ms, what))

    def hear(self, message: Timed, at_ms: int) -> None:
        for one in decode(self._book, message.topic, message.payload, False, at_ms, True):
            if isinstance(one, Reading):
                kept = self._kept.add(one, bool(one.flags & OWN_TIME))
                if isinstance(kept, Reason):
                    self._add(at_ms, Refused(message.topic, one.probe, kept.value, 1))
                elif kept is not None:
                    self._add(at_ms, kept)
                    self.week.readings += 1
                    self.week.inputs.append(
                        {"at": rfc3339(at_ms), "kind": "reading", "probe": one.probe,
                         "measured_at": rfc3339(kept.measured_at_ms), "value": kept.value}
                    )  # fmt: skip
            else:
                self._add(at_ms, Refused(one.topic, one.probe, one.reason, 1))

    def record(self, at_ms: int, event: Event) -> None:
        self.week.events.append((at_ms, event))
        self._add(at_ms, event)
        word, body = event_to_plain(event)
        said = {key: value for key, value in body.items() if value is not None}
        when_ms = said.pop("when_ms", None)
        if when_ms is not None:
            said["when"] = rfc3339(when_ms)
        self.week.inputs.append({"at": rfc3339(at_ms), "kind": word} | said)

    def judge(self, at_ms: int) -> list[Effect]:
        made = engine.advance(self.state, self._waiting, at_ms)
        self._waiting.clear()
        self.week.effects += [(at_ms, one) for one in made]
        return made


class _People:
    """One person on each floor, who turns one bed after another, records it or not, and answers the phone."""

    def __init__(self, world: World, desk: _Desk, habits: Habits, rng: Random) -> None:
        self._world, self._desk, self._habits, self._rng = world, desk, habits, rng
        self._due = dict.fromkeys(BEDS, 0.0)
        self._later: list[tuple[int, Callable[[int], None]]] = []
        self._busy: dict[str, int] = {}
        self._was_turning: dict[str, int] = {}
        for bed in BEDS:
            self._set_due(bed)

    def _set_due(self, bed: str) -> None:
        slips = self._rng.random() < self._habits.slips
        wait = self._habits.every_h + self._rng.gauss(0.0, 0.5) + (self._habits.slip_h if slips else 0.0)
        self._due[bed] = wait

    def later(self, at_ms: int, act: Callable[[int], None]) -> None:
        self._later.append((at_ms, act))
        self._later.sort(key=lambda one: one[0])

    def act(self, now_ms: int) -> None:
        while self._later and self._later[0][0] <= now_ms:
            self._later.pop(0)[1](now_ms)
        for bed, floor in BEDS.items():
            lying = self._world.beds[bed]
            if lying.turn is not None:
                self._was_turning.setdefault(bed, now_ms)
                continue
            if bed in self._was_turning:
                self._turned(bed, self._was_turning.pop(bed), now_ms)
            if lying.age_h >= DONE_H:
                self._load_and_cast(bed, now_ms)
            elif (
                now_ms >= self._busy.get(floor, 0)
                and max(one.since_turn_h for one in lying.columns) >= self._due[bed]
                and lying.age_h >= 16.0
            ):
                self._turn(bed, now_ms)

    def _turn(self, bed: str, now_ms: int) -> None:
        if self._world.command({"turn": bed}) is None:
            self._busy[BEDS[bed]] = now_ms + 55 * MINUTE
            self._was_turning[bed] = now_ms

    def _turned(self, bed: str, began_ms: int, now_ms: int) -> None:
        self._set_due(bed)
        draw = self._rng.random()
        habits = self._habits
        for probe in self._world.probes.values():
            if probe.left_on_hook and probe.plan.place == bed:
                back_ms = now_ms + round(self._rng.uniform(1.0, 3.0) * HOUR)
                name = probe.plan.id
                self.later(back_ms, partial(self._put_back, name))
        if draw < habits.never_records:
            return
        wait_min = self._rng.uniform(60, 300) if draw < habits.never_records + habits.records_late else 5.0
        when_ms = (began_ms + now_ms) // 2
        self.later(
            now_ms + round(wait_min * MINUTE),
            lambda at_ms: self._desk.record(at_ms, Turned(bed, by="cleo", when_ms=when_ms)),
        )

    def _put_back(self, probe: str, now_ms: int) -> None:
        self._world.command({"back": probe})

    def _load_and_cast(self, bed: str, now_ms: int) -> None:
        lying = self._world.beds[bed]
        self._desk.record(now_ms, Loaded(bed, kiln="kiln", by="ada"))
        around = self._world.floors[BEDS[bed]].surroundings()
        lying.lay(0.2, 14.0, 0.0, around)
        self._due[bed] = 7.5
        self._desk.record(now_ms + 1, Cast(bed, by="ada"))

        def broken(at_ms: int) -> None:
            self._turn(bed, at_ms)
            self._desk.record(at_ms, CouchBroken(bed, by="ada"))

        self.later(now_ms + 20 * HOUR, broken)

    def hear(self, made: list[Effect], now_ms: int) -> None:
        """A phone rang: who is called answers, and goes and turns what there is to turn."""
        for one in made:
            if isinstance(one, BreakKnown) and one.state == "announced":
                self.later(now_ms + HOUR, self._hand_dry)
            if not isinstance(one, Notice) or one.kind != "call" or one.alarm is None:
                continue
            answer_ms = now_ms + round(self._habits.answers_after_min * MINUTE)
            self.later(answer_ms, partial(self._answer, one))

    def _hand_dry(self, now_ms: int) -> None:
        self._desk.record(now_ms, KilnWorked("hand-dry", "kiln", by="ada"))

    def _answer(self, notice: Notice, at_ms: int) -> None:
        standing = {alarm.number: alarm for alarm in self._desk.state.board.standing.values()}
        alarm = standing.get(notice.alarm or 0)
        if alarm is None:
            return
        self._desk.record(at_ms, Answered(alarm.number, "going", by=notice.person))
        subject = alarm.finding.subject
        if subject.kind in ("bed_hot", "turn_overdue") and subject.place in BEDS:
            self._due[subject.place] = 0.0


def live(seed: int, days: float = 7.0, habits: Habits | None = None, mishaps: Mishaps = LINK) -> Week:
    """A week; the same seed gives the same one."""
    habits = habits or Habits()
    start_ms = ms(START)
    week = Week(start_ms, start_ms + round(days * 24 * HOUR))
    rng = Random(f"week {seed}")
    starts = {
        bed: {"age_h": age_h, "since_turn_h": rng.uniform(0.5, 6.0), "temperature_c": rng.uniform(14.0, 16.5)}
        for bed, age_h in zip(BEDS, AGES_H, strict=True)
    }
    world = World(tables(), seed, start_s=start_ms / 1000, starts=starts, forget=habits.forgets_probe)
    world.weather.mean_c = habits.outdoors_c
    link = Link(mishaps, seed)
    desk = _Desk(week, start_ms)
    people = _People(world, desk, habits, rng)
    for piece, (bed, start) in enumerate(starts.items(), 31):
        age_ms, since_ms = round(start["age_h"] * HOUR), round(start["since_turn_h"] * HOUR)
        desk.record(start_ms, Cast(bed, str(piece), by="ada", when_ms=start_ms - age_ms))
        if start["age_h"] > 24.0:
            desk.record(start_ms, CouchBroken(bed, by="ada", when_ms=start_ms - age_ms + 20 * HOUR))
        if start["age_h"] > 16.0:
            desk.record(start_ms, Turned(bed, by="ada", when_ms=start_ms - since_ms))
    desk.record(start_ms, KilnWorked("lit", "kiln", when_ms=start_ms - 6 * HOUR))
    now_ms = start_ms
    while now_ms < week.end_ms:
        world.step(60.0)
        now_ms += MINUTE
        for one in world.readings():
            link.send(Timed(world.now_s, one.topic, one.payload))
        for message in link.due(now_ms / 1000):
            desk.hear(message, now_ms)
        people.act(now_ms)
        people.hear(desk.judge(now_ms), now_ms)
        week.truth += world.truth()
        if (now_ms - start_ms) % (30 * MINUTE) == 0:
            week.forecasts += _forecasts(desk.state)
    world.finish()
    week.truth += world.truth()
    week.state = desk.state
    return week


def _forecasts(state: engine.State) -> list[dict[str, Any]]:
    return [rows.forecast(row) for row in views_heat.forecast(state)]


def write(week: Week, folder: Path) -> None:
    """inputs.jsonl, truth.jsonl, effects.jsonl and forecasts.jsonl."""
    folder.mkdir(parents=True, exist_ok=True)
    effects = [rows.effect(one) | {"at": rfc3339(at_ms)} for at_ms, one in week.effects]
    for name, lines in (
        ("inputs", week.inputs), ("truth", week.truth), ("effects", effects), ("forecasts", week.forecasts)
    ):  # fmt: skip
        text = "".join(json.dumps(line, ensure_ascii=False) + "\n" for line in lines)
        (folder / f"{name}.jsonl").write_text(text)


def main() -> int:
    """See the module."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--days", type=float, default=7.0)
    parser.add_argument("--out", type=Path)
    typed = parser.parse_args()
    week = live(typed.seed, typed.days)
    sys.stdout.write("\n".join(week_sums.told(week_sums.sums(week))) + "\n")
    if typed.out:
        write(week, typed.out)
    return 0


if __name__ == "__main__":
    sys.exit(main())
