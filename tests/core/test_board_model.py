"""The board against its promises, under anything that may happen to it in any order."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from gateway.core import board, board_steps, codec
from gateway.core.alarm import Flag, State
from gateway.core.board import NEVER
from gateway.core.effects import AlarmChange, Effect, Notice
from gateway.core.finding import Finding, Subject
from gateway.core.inputs import Answered, Delivery, Quieted, Unquieted
from gateway.core.site import Callout
from tests.core.board_floor import GAS, NIGHT_MS, SITE, URGENT, Floor

LEVELS = {1: ("low", "low"), 2: ("high", "medium"), 3: ("urgent", "high")}
SUBJECTS = (
    Subject("bed_hot", "bed-c"),
    Subject("turn_overdue", "bed-c"),
    Subject("bed_low", "bed-a"),
    GAS.subject,
    Subject("gateway_broker"),
)
PEOPLE = st.sampled_from(["ada", "ben", "cleo", "dan", None])
SITES = (
    SITE,
    replace(SITE, shifts=()),
    replace(SITE, phones=SITE.phones[1:]),
    replace(SITE, time_zone="Pacific/Apia"),
    replace(SITE, callout=Callout(high_repeat_s=120.0, high_next_s=130.0, medium_repeat_s=600.0)),
)
REPEAT_MS = 900_000  # the longest repeat of any of these sites
TICK_MS = 10_000


def _finding(subject: Subject, rank: int, on: bool, late: bool, run_ms: int) -> Finding:
    if subject == GAS.subject:
        return replace(GAS, on=on, late=late, since_ms=run_ms)
    level, priority = LEVELS[rank]
    return replace(
        URGENT, subject=subject, on=on, level=level, priority=priority, rank=rank, late=late, since_ms=run_ms
    )


class Boards(RuleBasedStateMachine):
    """Three boards live the same life: each tick; only due ticks; through its stored form at every step."""

    def __init__(self) -> None:
        super().__init__()
        self.floors = [Floor(at_ms=NIGHT_MS) for _ in range(3)]
        self.site = SITE
        self.states: dict[int, str] = {}
        self.subjects: dict[int, tuple[str, str | None]] = {}
        self.causes: set[tuple[int, int]] = set()
        self.checked = 0
        self.last_rung: dict[int, int] = {}

    @initialize(hour=st.integers(0, 23))
    def at_an_hour(self, hour: int) -> None:
        for floor in self.floors:
            floor.offset_ms += hour * 3_600_000
            floor.put(board.resumed)

    def all(self, verb: object, *what: object) -> None:
        for floor in self.floors:
            floor.put(verb, *what)  # type: ignore[arg-type]
        self.check()

    @rule(subject=st.sampled_from(SUBJECTS), rank=st.integers(1, 3), on=st.booleans(), late=st.booleans())
    def finds(self, subject: Subject, rank: int, on: bool, late: bool) -> None:
        self.all(board.found, _finding(subject, rank, on, late, self.floors[0].run_ms))

    @rule(subject=st.sampled_from(SUBJECTS), rank=st.integers(1, 3))
    def finds_fresh(self, subject: Subject, rank: int) -> None:
        self.all(board.found, _finding(subject, rank, True, False, self.floors[0].run_ms))

    @rule(back=st.integers(0, 4), word=st.sampled_from(["going", "heard", "cant", "all-out", "?"]), by=PEOPLE)
    def answers(self, back: int, word: str, by: str | None) -> None:
        self.all(board.answer, Answered(self.number(back), word, by))

    @rule(back=st.integers(0, 4), seconds=st.integers(-5, 90_000))
    def quiets(self, back: int, seconds: int) -> None:
        self.all(board.quiet, Quieted(self.number(back), float(seconds)))

    @rule(back=st.integers(0, 4))
    def unquiets(self, back: int) -> None:
        self.all(board.unquiet, Unquieted(self.number(back)))

    @rule(by=PEOPLE, bed=st.sampled_from(["bed-a", "bed-c"]))
    def turns(self, by: str | None, bed: str) -> None:
        self.all(board.bed_turned, bed, by)

    @rule(back=st.integers(1, 8), outcome=st.sampled_from(["delivered", "failed", "gone"]))
    def delivers(self, back: int, outcome: str) -> None:
        notices = self.floors[0].notices()
        if notices:
            notice = notices[-min(back, len(notices))]
            self.all(board.delivery, Delivery(notice.number, notice.phone, outcome))

    @rule(seconds=st.integers(1, 40_000))
    def waits_long(self, seconds: int) -> None:
        self.wait(seconds)

    @rule(seconds=st.integers(1, 1_000))
    def waits(self, seconds: int) -> None:
        self.wait(seconds)

    def wait(self, seconds: float) -> None:
        every, due, stored = self.floors
        every.wait(seconds)
        due.wait(seconds, only_due=True)
        stored.restart()
        stored.wait(seconds / 2)
        stored.restart()
        stored.wait(seconds - seconds / 2)
        self.check()

    @rule(hours=st.floats(0, 60))
    def is_down(self, hours: float) -> None:
        for floor in self.floors:
            floor.offset_ms += round(hours * 3_600_000)
        self.all(board.resumed)

    @rule(minutes=st.floats(-600, 600))
    def clock_is_set(self, minutes: float) -> None:
        for floor in self.floors:
            floor.offset_ms += round(minutes * 60_000)
        self.all(board.resumed)

    @rule(site=st.sampled_from(SITES))
    def site_changes(self, site: object) -> None:
        for floor in self.floors:
            before, floor.site = floor.site, site  # type: ignore[assignment]
            floor.put(board.site_changed, before, site=True)
        self.check()

    def number(self, back: int) -> int:
        """The number of one of the newest alarms, or one that never was."""
        return self.floors[0].board.next_alarm - back

    def check(self) -> None:
        """What has been said since the last check keeps the rules of a single effect."""
        every, due, stored = self.floors
        assert due.said == every.said
        assert stored.said == every.said
        for _, effect in every.said[self.checked :]:
            assert effect.cause not in self.causes
            self.causes.add(effect.cause)
            self.check_one(effect)
        self.checked = len(every.said)

    def check_one(self, effect: Effect) -> None:
        if isinstance(effect, AlarmChange):
            before = self.states.get(effect.number, State.NORMAL.value)
            assert effect.change.from_state == before
            assert effect.change.to_state == effect.state
            following = board_steps.free_number(max(self.states, default=100) + 1, SITE.air.emergency)
            assert effect.number in (*self.states, following)
            self.states[effect.number] = effect.state
            self.subjects[effect.number] = (effect.kind, effect.place)
            if effect.late:
                self.last_rung[effect.number] = -1
        elif isinstance(effect, Notice):
            self.check_notice(effect)

    def check_notice(self, notice: Notice) -> None:
        if notice.alarm is None:
            assert notice.title == "MORNING LIST"
            return
        assert self.last_rung.get(notice.alarm) != -1, "an alarm found in old readings rang somebody"
        assert notice.priority != "low" or notice.kind == "over"
        if notice.kind in ("call", "repeat"):
            assert self.states[notice.alarm] in (State.UNACKNOWLEDGED, State.LATCHED_UNACKNOWLEDGED)

    @invariant()
    def what_stands_is_what_was_said(self) -> None:
        standing = self.floors[0].board.standing
        assert {one.number: one.state.value for one in standing.values()} == {
            number: state for number, state in self.states.items() if state != State.NORMAL
        }
        assert len(standing) <= len(SUBJECTS)

    @invariant()
    def nothing_that_wants_an_answer_is_ever_silent_for_longer_than_a_repeat(self) -> None:
        floor = self.floors[0]
        for alarm in floor.board.standing.values():
            if Flag.SHELVED in alarm.flags:
                assert alarm.quiet_run_ms < NEVER
                assert board.next_due_run_ms(floor.board) <= alarm.quiet_run_ms
            elif alarm.calls:
                assert alarm.calling.repeat_run_ms <= floor.run_ms + REPEAT_MS
                assert alarm.calling.repeat_run_ms > floor.run_ms - TICK_MS
                assert board.next_due_run_ms(floor.board) <= alarm.calling.repeat_run_ms
            elif alarm.state is State.ACKNOWLEDGED and alarm.priority != "low":
                assert board.next_due_run_ms(floor.board) <= alarm.hold_run_ms < NEVER

    @invariant()
    def whoever_must_hear_it_has_been_rung(self) -> None:
        floor = self.floors[0]
        for alarm in floor.board.standing.values():
            assert not alarm.calls or alarm.calling.called

    @invariant()
    def the_boards_agree(self) -> None:
        plain = [codec.plain(floor.board) for floor in self.floors]
        assert plain[0]["standing"] == plain[1]["standing"] == plain[2]["standing"]


Boards.TestCase.settings = settings(max_examples=60, stateful_step_count=40, deadline=None)
TestBoards = Boards.TestCase
