"""The alarms that stand: findings become signals, signals go through the table, moves become calls.

Every function here takes the board, the site as it is, and one moment (`Now`), and appends what came of it to
`out`. An alarm is one occurrence of a subject, with a number of its own; it leaves the board when it ends.
What an alarm that went off by itself still wants, an answer, lapses when the morning list has named it.
Two entries of an alarm's history are no signals of the table: `eased` (a lower level than before, still on)
and `cant` (somebody was asked and cannot come).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from math import isfinite

from gateway.core import board_morning, board_steps, callout
from gateway.core.alarm import Flag, Outcome, Signal, State, is_true
from gateway.core.board_state import (
    FIRST_NUMBER,
    BoardState,
    Out,
    Standing,
    by_number,
    due_run_ms,
    key_of,
    notice,
    record,
    ring,
    send,
    subject_of,
)
from gateway.core.callout import NEVER, Now, Ring
from gateway.core.finding import Finding, Subject
from gateway.core.inputs import Answered, Delivery, Quieted, TestCallAsked, Unquieted
from gateway.core.site import Site
from gateway.core.wording import alarm as wording

__all__ = [
    "FIRST_NUMBER", "NEVER", "BoardState", "Now", "Out", "Standing", "answer", "bed_turned", "delivery",
    "found", "next_due_run_ms", "quiet", "resumed", "site_changed", "test_call", "tick", "unquiet",
]  # fmt: skip

#: Longest quiet in seconds: nobody puts an alarm aside for more than a day in one go.
QUIET_MOST_S = 24 * 3600.0
#: A hot bed that cools at least this fast is being dealt with (ours).
FALLING_K_PER_H = -0.3


def next_due_run_ms(board: BoardState) -> int:
    """No tick before this running time can do anything; 2**62 when nothing waits."""
    return board.due_run_ms


def found(board: BoardState, site: Site, finding: Finding, now: Now, out: Out) -> None:
    """A condition holds, has ended, or has changed its level. The same finding again changes nothing."""
    key = key_of(finding.subject)
    alarm = board.standing.get(key)
    if not finding.on:
        board.late.pop(key, None)
        if alarm is not None and is_true(alarm.state):
            board_steps.ended(board, site, alarm, finding, now, out)
    elif alarm is not None and is_true(alarm.state) and not board_steps.higher(finding, alarm.finding):
        board_steps.same_or_lower(alarm, finding, now, out)
    elif finding.late:
        board_steps.late_only(board, site, key, finding, now, out)
    elif alarm is not None and is_true(alarm.state):
        board_steps.risen(board, site, alarm, finding, now, out)
    else:
        board_steps.begun(board, site, alarm, finding, now, out)
    board.due_run_ms = due_run_ms(board)


def answer(board: BoardState, site: Site, what: Answered, now: Now, out: Out) -> str | None:
    """Somebody answered: going, heard, cant, or all-out for gas. Returns None, or why nothing came of it."""
    alarm = by_number(board, what.alarm)
    if alarm is None:
        return f"{what.alarm} is not standing: it is over, or there is no such alarm."
    said = None
    if what.answer == "cant":
        said = board_steps.cannot(board, site, alarm, what.by, now, out)
    elif what.answer == "all-out":
        said = board_steps.all_out(board, alarm, what.by, now, out)
    elif what.answer in ("going", "heard"):
        board_steps.answered(board, site, alarm, what.answer, what.by, now, out)
    else:
        return f"answer: {what.answer[:20]!r} is not one of going, heard, cant, all-out."
    board.due_run_ms = due_run_ms(board)
    return said


def quiet(board: BoardState, site: Site, what: Quieted, now: Now, out: Out) -> str | None:
    """No calls for a time; a higher level still calls. Returns None, or why nothing came of it."""
    alarm = by_number(board, what.alarm)
    if alarm is None or not is_true(alarm.state):
        return f"{what.alarm} is not standing: it is over, or there is no such alarm."
    if alarm.priority == "highest":
        return f"{what.alarm} is a gas alarm: it cannot be made quiet."
    if not isfinite(what.for_s) or not 0 < what.for_s <= QUIET_MOST_S:
        return f"quiet for {what.for_s:g} s: expected more than 0 and at most {QUIET_MOST_S / 3600:g} hours."
    wait_ms = max(1, round(what.for_s * 1000))
    alarm.quiet_run_ms, alarm.quiet_at_ms = now.run_ms + wait_ms, now.at_ms + wait_ms
    if send(alarm, Signal.SHELVE, now, out, what.by).outcome is not Outcome.MOVED:
        record(alarm, alarm.state, Signal.SHELVE.value, now, out, what.by)
    board.due_run_ms = due_run_ms(board)
    return None


def unquiet(board: BoardState, site: Site, what: Unquieted, now: Now, out: Out) -> str | None:
    """The quiet ends now: the alarm is unanswered again. Returns None, or why nothing came of it."""
    alarm = by_number(board, what.alarm)
    if alarm is None or Flag.SHELVED not in alarm.flags:
        return f"{what.alarm} is not quiet."
    board_steps.off_the_shelf(board, site, alarm, what.by, now, out)
    board.due_run_ms = due_run_ms(board)
    return None


def bed_turned(
    board: BoardState, site: Site, bed: str, by: str | None, now: Now, out: Out,
    kinds: Sequence[str] = ("turn_overdue", "bed_hot"),
) -> None:  # fmt: skip
    """A turn was recorded: it answers the bed's overdue turn and holds its heat calls as going does."""
    for kind in kinds:
        alarm = board.standing.get(key_of(Subject(kind, bed)))
        if alarm is not None and is_true(alarm.state):
            board_steps.answered(board, site, alarm, "going", by, now, out)
    board.due_run_ms = due_run_ms(board)


def delivery(board: BoardState, site: Site, what: Delivery, now: Now, out: Out) -> None:
    """A phone was reached, or not: then its owner's next phone and the next person are rung at once."""
    board_morning.delivery(board, site, what, now, out)
    for alarm in board.standing.values():
        calling = alarm.calling
        if calling.notices.get(what.phone) != what.notice:
            continue
        if what.outcome == "delivered":
            calling.failed = [phone for phone in calling.failed if phone != what.phone]
        elif alarm.calls:
            rings = callout.phone_failed(calling, site, alarm.priority, now, what.phone)
            ring(board, site, alarm, rings, now, out)
    board.due_run_ms = due_run_ms(board)


def test_call(board: BoardState, site: Site, what: TestCallAsked, now: Now, out: Out) -> None:
    """A call that starts with TEST, to every phone of one person or of everybody."""
    for phone in site.phones:
        if what.person in (None, phone.person):
            words = wording.test(site, phone.person, board.next_notice)
            notice(board, Ring(phone.person, phone.id, "test"), words, "low", now, out)


def resumed(board: BoardState, site: Site, now: Now, out: Out) -> None:
    """The gateway was down, or its clock was set: each unanswered alarm calls once, where it stood.

    A quiet ends at the time it was promised for, even if the gateway was down for a part of it.
    """
    for alarm in board.standing.values():
        if Flag.SHELVED in alarm.flags and alarm.quiet_at_ms is not None:
            alarm.quiet_run_ms = min(alarm.quiet_run_ms, now.run_ms + max(0, alarm.quiet_at_ms - now.at_ms))
        if alarm.calls:
            rings = callout.again(alarm.calling, site, alarm.priority, now)
            ring(board, site, alarm, rings, now, out)
    board_morning.look_ahead(board, site, now)
    board.due_run_ms = due_run_ms(board)


def site_changed(board: BoardState, before: Site | None, site: Site, now: Now, out: Out) -> None:
    """Another site file holds: alarms about what it no longer has end; the morning follows its clock."""
    for alarm in list(board.standing.values()):
        if not _is_there(alarm.finding.subject, site) and is_true(alarm.state):
            gone = replace(alarm.finding, on=False, value=None, detail="no longer in the site file")
            board_steps.ended(board, site, alarm, gone, now, out)
    kept = {key for key in board.occurrences if _is_there(subject_of(key), site)} | set(board.standing)
    board.occurrences = {key: count for key, count in board.occurrences.items() if key in kept}
    board.late = {key: seen for key, seen in board.late.items() if key in kept}
    if before is None or (before.time_zone, before.callout) != (site.time_zone, site.callout):
        board_morning.start(board, site, now)
    board.due_run_ms = due_run_ms(board)


def tick(
    board: BoardState,
    site: Site,
    now: Now,
    out: Out,
    fresh: Callable[[Subject], Finding | None],
) -> None:
    """Time has passed: repeats, the next person, holds and quiets that end, the morning list.

    `fresh` gives the finding with the newest value, for the words only: level and limit stay as found.
    """
    for alarm in list(board.standing.values()):
        step = _due_step(alarm, now)
        if step is not None:
            _refresh(alarm, fresh(alarm.finding.subject))
            step(board, site, alarm, now, out)
    for alarm in board_morning.tick(board, site, now, out):
        send(alarm, Signal.LAPSE, now, out)
        board_steps.leave(board, alarm)
    board.due_run_ms = due_run_ms(board)


Step = Callable[[BoardState, Site, Standing, Now, Out], None]


def _due_step(alarm: Standing, now: Now) -> Step | None:
    """What is due for an alarm at this moment, if anything."""
    if Flag.SHELVED in alarm.flags:
        return _quiet_is_over if alarm.quiet_run_ms <= now.run_ms else None
    if alarm.state is State.ACKNOWLEDGED and alarm.hold_run_ms <= now.run_ms:
        return _hold_is_over
    waits = min(alarm.calling.repeat_run_ms, alarm.calling.next_run_ms)
    return _call_again if alarm.calls and waits <= now.run_ms else None


def _quiet_is_over(board: BoardState, site: Site, alarm: Standing, now: Now, out: Out) -> None:
    board_steps.off_the_shelf(board, site, alarm, None, now, out)


def _hold_is_over(board: BoardState, site: Site, alarm: Standing, now: Now, out: Out) -> None:
    trend, turned_ms = alarm.finding.trend_per_h, alarm.finding.last_turned_ms
    falls = trend is not None and trend <= FALLING_K_PER_H
    lately = turned_ms is not None and now.at_ms - turned_ms < callout.step_ms(
        site.callout, site.callout.going_hold_s
    )
    if alarm.finding.subject.kind == "bed_hot" and (falls or lately):
        # Something changed: the bed comes down, or is being turned. Look again before anybody is woken.
        alarm.hold_run_ms = now.run_ms + callout.step_ms(site.callout, site.callout.heard_hold_s)
        return
    board_steps.call_anew(board, site, alarm, None, now, out)


def _call_again(board: BoardState, site: Site, alarm: Standing, now: Now, out: Out) -> None:
    calling = alarm.calling
    rings: list[Ring] = []
    repeat, more = calling.repeat_run_ms <= now.run_ms, calling.next_run_ms <= now.run_ms
    if repeat:
        rings += callout.again(calling, site, alarm.priority, now)
    if more:
        rings += callout.widen(calling, site, alarm.priority, now)
    ring(board, site, alarm, rings, now, out)


def _refresh(alarm: Standing, newest: Finding | None) -> None:
    if newest is not None and newest.on == is_true(alarm.state):
        old = alarm.finding
        alarm.finding = replace(
            newest, subject=old.subject, priority=old.priority, level=old.level, rank=old.rank,
            limit=old.limit, late=old.late, on=old.on,
        )  # fmt: skip


def _is_there(subject: Subject, site: Site) -> bool:
    return (subject.place is None or subject.place in site.place) and (
        subject.probe is None or subject.probe in site.probe
    )
