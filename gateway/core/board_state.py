"""The board's memory: the alarms that stand, and what their changes and calls are written to."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from gateway.core import alarm as table
from gateway.core import callout
from gateway.core.alarm import Flag, Signal, State
from gateway.core.callout import NEVER, Calling, Now, Ring
from gateway.core.effects import AlarmChange, Cause, Change, Effect, Notice
from gateway.core.finding import Finding, Subject
from gateway.core.people import is_night
from gateway.core.site import Site
from gateway.core.wording import alarm as wording

FIRST_NUMBER = 101


@dataclass(slots=True)
class Out:
    """Collects the effects of one journal entry or tick; `n` is its number, or the tick's running time."""

    n: int
    effects: list[Effect] = field(default_factory=list)

    def cause(self) -> Cause:
        """The name of the effect that is appended next."""
        return (self.n, len(self.effects))


@dataclass(slots=True)
class Standing:
    """One occurrence of an alarm that has not ended. `priority` is the highest since the last answer.

    `hold_run_ms`: when an answer's hold ends; `quiet_*`: when the quiet ends, on both axes. `all_out_*`: who
    said last that all are out, and when, while the reading was still up.
    """

    number: int
    occurrence: int
    finding: Finding
    priority: str
    raised_at_ms: int
    state: State = State.NORMAL
    flags: set[Flag] = field(default_factory=set)
    cleared_at_ms: int | None = None
    answered_by: str | None = None
    answer: str | None = None
    hold_run_ms: int = NEVER
    quiet_run_ms: int = NEVER
    quiet_at_ms: int | None = None
    calling: Calling = field(default_factory=Calling)
    all_out_by: str | None = None
    all_out_at_ms: int | None = None

    def __post_init__(self) -> None:
        """A subject that was kept as a plain list becomes a subject again."""
        if not isinstance(self.finding.subject, Subject):
            self.finding = replace(self.finding, subject=Subject(*self.finding.subject))

    @property
    def calls(self) -> bool:
        """Whether somebody is rung for it until somebody answers."""
        return table.wants_answer(self.state) and not self.flags and callout.grade(self.priority) > 0


@dataclass(slots=True)
class BoardState:
    """All that stands, by subject; alarms that have ended leave it.

    `late`: what was last recorded from old readings, by subject: since when, and its rank.
    """

    standing: dict[str, Standing] = field(default_factory=dict)
    occurrences: dict[str, int] = field(default_factory=dict)
    late: dict[str, tuple[int | None, int]] = field(default_factory=dict)
    next_alarm: int = FIRST_NUMBER
    next_notice: int = 1
    morning_at_ms: int = 0
    morning_run_ms: int = 0
    morning: Calling = field(default_factory=Calling)
    due_run_ms: int = 0


def key_of(subject: Subject) -> str:
    """The subject as one word: a unit separator stands in no name."""
    return "\x1f".join((subject.kind, subject.place or "", subject.probe or ""))


def subject_of(key: str) -> Subject:
    """The inverse of `key_of`."""
    kind, place, probe = key.split("\x1f")
    return Subject(kind, place or None, probe or None)


def by_number(board: BoardState, number: int) -> Standing | None:
    """The alarm that stands under a number."""
    return next((one for one in board.standing.values() if one.number == number), None)


def record(alarm: Standing, before: State, signal: str, now: Now, out: Out, by: str | None = None) -> None:
    """One step of an alarm's life into the effects, with the alarm as it stands now."""
    found = alarm.finding
    out.effects.append(
        AlarmChange(
            cause=out.cause(),
            number=alarm.number,
            occurrence=alarm.occurrence,
            kind=found.subject.kind,
            place=found.subject.place,
            probe=found.subject.probe or found.hottest_probe,
            priority=alarm.priority,
            level=found.level,
            state=alarm.state.value,
            value=found.value,
            unit=found.unit,
            limit=found.limit,
            raised_at_ms=alarm.raised_at_ms,
            measured_at_ms=found.measured_at_ms,
            cleared_at_ms=alarm.cleared_at_ms,
            late=found.late,
            answered_by=alarm.answered_by,
            quiet_until_ms=alarm.quiet_at_ms,
            change=Change(now.at_ms, before.value, alarm.state.value, signal, by),
        )
    )


def send(
    alarm: Standing, signal: Signal, now: Now, out: Out, by: str | None = None, word: str = ""
) -> table.Move:
    """Ask the table, move the alarm, record the step; nothing is recorded where nothing changed."""
    before = alarm.state
    move = table.move(alarm.state, frozenset(alarm.flags), signal)
    if move.outcome is table.Outcome.MOVED:
        alarm.state, alarm.flags = move.state, set(move.flags)
        record(alarm, before, word or signal.value, now, out, by)
    return move


def ring(board: BoardState, site: Site, alarm: Standing, rings: list[Ring], now: Now, out: Out) -> None:
    """A notice for each phone; its number is remembered, so that a failure finds its alarm."""
    for one in rings:
        over = one.kind == "over"
        if over or alarm.state is State.LATCHED_UNACKNOWLEDGED:
            words = wording.over(
                alarm.finding, site, now.at_ms, alarm.number, board.next_notice, alarm.cleared_at_ms
            )
        else:
            words = wording.call(alarm.finding, site, now.at_ms, alarm.number, board.next_notice)
        if not over:
            alarm.calling.notices[one.phone] = board.next_notice
        silent = over and is_night(site.callout, site.time_zone, now.at_ms)
        notice(board, one, words, alarm.priority, now, out, alarm, silent)


def notice(
    board: BoardState,
    to: Ring,
    words: wording.Words,
    priority: str,
    now: Now,
    out: Out,
    alarm: Standing | None = None,
    silent: bool = False,
) -> None:
    """One notice to one phone into the effects, under the next number."""
    out.effects.append(
        Notice(
            cause=out.cause(),
            number=board.next_notice,
            alarm=alarm.number if alarm else None,
            occurrence=alarm.occurrence if alarm else None,
            person=to.person,
            phone=to.phone,
            kind=to.kind,
            priority=priority,
            place=alarm.finding.subject.place if alarm else None,
            title=words.title,
            text=words.text,
            silent=silent,
            at_ms=now.at_ms,
        )
    )
    board.next_notice += 1


def due_run_ms(board: BoardState) -> int:
    """The earliest running time at which anything of the board waits."""
    due = board.morning_run_ms
    for alarm in board.standing.values():
        if Flag.SHELVED in alarm.flags:
            due = min(due, alarm.quiet_run_ms)
        elif alarm.calls:
            due = min(due, alarm.calling.repeat_run_ms, alarm.calling.next_run_ms)
        elif alarm.state is State.ACKNOWLEDGED:
            due = min(due, alarm.hold_run_ms)
    return due
