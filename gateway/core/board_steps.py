"""The steps of one alarm's life on the board: each sends a signal to the table and rings whom it must."""

from __future__ import annotations

from dataclasses import replace

from gateway.core import callout
from gateway.core.alarm import Flag, Outcome, Signal, State, is_true, wants_answer
from gateway.core.board_state import BoardState, Out, Standing, key_of, record, ring, send
from gateway.core.callout import NEVER, Now
from gateway.core.finding import Finding
from gateway.core.site import Site
from gateway.core.wording import alarm as wording

#: Kinds that do not end by themselves: somebody has to say that all are out.
LATCHING = "gas_"
#: Numbers that ring an emergency service somewhere: 112 and 911 are what ITU-T E.161.1 recommends; 999 and
#: those from 110 to 119 are several countries' own (both from memory).
EMERGENCY = frozenset((*range(110, 120), 911, 999))
#: Somebody did not check out.
MISSED = "checkout_missed"


def higher(finding: Finding, than: Finding) -> bool:
    """Whether a finding stands above the one that stands already."""
    return finding.rank > than.rank or callout.grade(finding.priority) > callout.grade(than.priority)


def begun(
    board: BoardState, site: Site, alarm: Standing | None, finding: Finding, now: Now, out: Out
) -> None:
    """A condition begins: a new alarm, or one that waits for its reset is unanswered again."""
    if alarm is not None and alarm.state is State.RETURNED:
        send(alarm, Signal.LAPSE, now, out)
        leave(board, alarm)
        alarm = None
    if alarm is None:
        alarm = _new(board, site, finding, now.at_ms)
        board.standing[key_of(finding.subject)] = alarm
    alarm.finding, alarm.priority, alarm.cleared_at_ms = finding, finding.priority, None
    alarm.answered_by = alarm.answer = None
    if send(alarm, Signal.RAISE, now, out).announces:
        _ring_afresh(board, site, alarm, now, out)


def _new(board: BoardState, site: Site, finding: Finding, raised_at_ms: int) -> Standing:
    key = key_of(finding.subject)
    board.occurrences[key] = board.occurrences.get(key, 0) + 1
    number = free_number(board.next_alarm, site.air.emergency)
    board.next_alarm = number + 1
    return Standing(number, board.occurrences[key], finding, finding.priority, raised_at_ms)


def free_number(number: int, emergency: str) -> int:
    """The next number for an alarm: none that somebody in a hurry could take for the one to ring."""
    while number in EMERGENCY or str(number) == emergency:
        number += 1
    return number


def same_or_lower(alarm: Standing, finding: Finding, now: Now, out: Out) -> None:
    """A condition goes on; a lower level than before is noted and changes no state."""
    if finding.late:
        return
    eased = (finding.rank, finding.level) != (alarm.finding.rank, alarm.finding.level)
    alarm.finding = finding
    if eased:
        record(alarm, alarm.state, "eased", now, out)


def risen(board: BoardState, site: Site, alarm: Standing, finding: Finding, now: Now, out: Out) -> None:
    """A higher level: unanswered again, through any answer and any quiet."""
    alarm.finding = finding
    if callout.grade(finding.priority) > callout.grade(alarm.priority):
        alarm.priority = finding.priority
    alarm.answered_by = alarm.answer = alarm.quiet_at_ms = None
    alarm.hold_run_ms = alarm.quiet_run_ms = NEVER
    if send(alarm, Signal.RISE, now, out).announces:
        _ring_afresh(board, site, alarm, now, out)


def late_only(board: BoardState, site: Site, key: str, finding: Finding, now: Now, out: Out) -> None:
    """Found in old readings: into the history, raised and ended in one go; it calls nobody."""
    seen = board.late.get(key)
    if seen is not None and seen[0] == finding.since_ms and seen[1] >= finding.rank:
        return
    board.late[key] = (finding.since_ms, finding.rank)
    began = finding.since_ms if finding.since_ms is not None else finding.measured_at_ms
    alarm = _new(board, site, finding, now.at_ms if began is None else began)
    send(alarm, Signal.RAISE, now, out)
    alarm.cleared_at_ms = finding.measured_at_ms if finding.measured_at_ms is not None else now.at_ms
    for signal in (Signal.CLEAR, Signal.LAPSE):
        send(alarm, signal, now, out)


def ended(board: BoardState, site: Site, alarm: Standing, finding: Finding, now: Now, out: Out) -> None:
    """The condition is over: those who were rung hear of it; a quiet ends with its alarm."""
    alarm.finding = replace(finding, late=alarm.finding.late, level=finding.level or alarm.finding.level)
    alarm.cleared_at_ms = now.at_ms
    alarm.hold_run_ms = NEVER
    latching = finding.subject.kind.startswith(LATCHING)
    send(alarm, Signal.LATCH if latching else Signal.CLEAR, now, out)
    if Flag.SHELVED in alarm.flags:
        alarm.quiet_run_ms, alarm.quiet_at_ms = NEVER, None
        send(alarm, Signal.UNSHELVE, now, out)
    ring(board, site, alarm, callout.everybody_rung(alarm.calling, site), now, out)
    leave(board, alarm)


def leave(board: BoardState, alarm: Standing) -> None:
    """An alarm that is normal again leaves the board."""
    if alarm.state is State.NORMAL:
        del board.standing[key_of(alarm.finding.subject)]


def _ring_afresh(board: BoardState, site: Site, alarm: Standing, now: Now, out: Out) -> None:
    rings = callout.begin(alarm.calling, site, alarm.priority, now)
    if alarm.finding.subject.kind == MISSED:
        # Whoever is on shift may be the one who lies there.
        rings += callout.others_too(alarm.calling, site, alarm.priority, now, alarm.finding.inside)
    ring(board, site, alarm, rings, now, out)


def call_anew(
    board: BoardState, site: Site, alarm: Standing, by: str | None, now: Now, out: Out, cannot: bool = False
) -> None:
    """An answer no longer holds: unanswered again, who was rung before and the next person too."""
    alarm.hold_run_ms, alarm.answered_by, alarm.answer = NEVER, None, None
    if not send(alarm, Signal.REALARM, now, out, by).announces:
        return
    calling = alarm.calling
    if cannot:
        rings = callout.cannot_come(calling, site, alarm.priority, now, by)
        calling.repeat_run_ms = now.run_ms + callout.repeat_ms(site.callout, alarm.priority)
    else:
        rings = callout.in_vain(calling, site, alarm.priority, now)
    ring(board, site, alarm, rings, now, out)


def off_the_shelf(board: BoardState, site: Site, alarm: Standing, by: str | None, now: Now, out: Out) -> None:
    """The quiet is over: what is still true is unanswered again."""
    alarm.quiet_run_ms, alarm.quiet_at_ms = NEVER, None
    alarm.hold_run_ms, alarm.answered_by, alarm.answer = NEVER, None, None
    if send(alarm, Signal.UNSHELVE, now, out, by).announces:
        _ring_afresh(board, site, alarm, now, out)
    leave(board, alarm)


def answered(
    board: BoardState, site: Site, alarm: Standing, word: str, by: str | None, now: Now, out: Out
) -> None:
    """Somebody goes, or has heard: nobody is rung until that answer's hold is over."""
    steps = site.callout
    kind = alarm.finding.subject.kind
    # Where somebody may lie in bad air nobody is left alone with an answer for long.
    long = word == "going" and kind != MISSED and not kind.startswith(LATCHING)
    wait_s = steps.going_hold_s if long else steps.heard_hold_s
    held = alarm.hold_run_ms if alarm.hold_run_ms < NEVER else 0
    before = (alarm.answered_by, alarm.answer)
    alarm.answered_by, alarm.answer = by, word
    alarm.priority = alarm.finding.priority
    if is_true(alarm.state) and callout.grade(alarm.priority):
        alarm.hold_run_ms = max(held, now.run_ms + callout.step_ms(steps, wait_s))
    move = send(alarm, Signal.ANSWER, now, out, by)
    if move.outcome is not Outcome.MOVED and before != (by, word):
        record(alarm, alarm.state, Signal.ANSWER.value, now, out, by)
    leave(board, alarm)


def cannot(board: BoardState, site: Site, alarm: Standing, by: str | None, now: Now, out: Out) -> str | None:
    """Somebody cannot come: the next person at once; an own promise to go is taken back."""
    if alarm.state is State.ACKNOWLEDGED and by is not None and by == alarm.answered_by:
        call_anew(board, site, alarm, by, now, out, cannot=True)
        return None
    if not wants_answer(alarm.state):
        who = wording.person(alarm.answered_by, None)
        return (
            f"{alarm.number} is answered by {who}." if alarm.answered_by else f"{alarm.number} is answered."
        )
    if by is None or by not in alarm.calling.cannot:
        record(alarm, alarm.state, "cant", now, out, by)
    if alarm.calls:
        rings = callout.cannot_come(alarm.calling, site, alarm.priority, now, by)
        ring(board, site, alarm, rings, now, out)
    return None


def all_out(board: BoardState, alarm: Standing, by: str | None, now: Now, out: Out) -> str | None:
    """Somebody confirms that all are out: it answers and ends a gas alarm whose reading is down.

    While it is up that is noted, and ends nothing: whoever looks sees that it was said, when, and by whom.
    """
    if is_true(alarm.state):
        if alarm.finding.subject.kind.startswith(LATCHING):
            alarm.all_out_by, alarm.all_out_at_ms = by, now.at_ms
            record(alarm, alarm.state, "all-out", now, out, by)
        return f"{alarm.number}: the reading is not down yet. Stay out."
    send(alarm, Signal.ANSWER, now, out, by)
    alarm.answered_by, alarm.answer = by, "all-out"
    send(alarm, Signal.RESET, now, out, by)
    leave(board, alarm)
    return None
