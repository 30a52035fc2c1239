"""What each event means to the judge: one function an event, in one table.

Readings are in `engine`; everything about pieces is in `happenings_floor`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from gateway.core import board, followers, handover, night, night_heat, rebase
from gateway.core.board import Now, Out
from gateway.core.follow import air_people, honest_doubts
from gateway.core.happenings_floor import ENTERED, entered, tell
from gateway.core.inputs import (
    Answered,
    ClockStepped,
    Condition,
    Delivery,
    NotedAt,
    PutInService,
    PutOutOfService,
    Quieted,
    Refused,
    Restored,
    Resumed,
    SiteChanged,
    Started,
    TestCallAsked,
    Unquieted,
)
from gateway.core.inputs_air import CheckedIn, CheckedOut
from gateway.core.inputs_note import HandedOver, HandoverRead
from gateway.core.reading import Reason
from gateway.core.rules import silence, surroundings
from gateway.core.state import State


def _now(state: State) -> Now:
    return Now(state.at_ms, state.run_ms)


def _started(state: State, what: Started, out: Out) -> None:
    state.settling_from_ms = state.run_ms
    _runs_again(state)


def _runs_again(state: State) -> None:
    """What was recorded while the gateway was down had happened by now, whatever that clock said."""
    if state.noted_ms > state.at_ms:
        state.pieces.not_after(state.site, state.at_ms)
    state.noted_ms = 0


def _noted_at(state: State, what: NotedAt, out: Out) -> None:
    state.noted_ms = what.at_ms


def _resumed(state: State, what: Resumed, out: Out) -> None:
    # The entry is stamped after the gap; the axis learns of it here, so that later ticks agree.
    rebase.resumed(state, what.down_ms)
    state.settling_from_ms = state.run_ms
    state.resumed_at_ms = state.at_ms
    board.resumed(state.board, state.site, _now(state), out)
    night.look_ahead(state)
    night_heat.look_ahead(state)


def _restored(state: State, what: Restored, out: Out) -> None:
    state.board.next_alarm += what.alarms
    state.board.next_notice += what.notices
    state.turns += what.turns


def _clock_stepped(state: State, what: ClockStepped, out: Out) -> None:
    rebase.stepped(state, what.by_ms)


def _site_changed(state: State, what: SiteChanged, out: Out) -> None:
    old = state.site if state.site.id else None
    state.site = what.site
    board.site_changed(state.board, old, what.site, _now(state), out)
    if old is None or (old.time_zone, old.callout) != (what.site.time_zone, what.site.callout):
        night.start(state)
        night_heat.start(state)
    tell(state, out, surroundings.phones_changed(state))
    state.pieces.look(what.site)
    followers.site_changed(state)
    for probe in [probe for probe in state.windows if probe not in what.site.probe]:
        del state.windows[probe]
    for key in [key for key in state.guards if key.split(" ", 1)[1] not in what.site.place]:
        del state.guards[key]
    state.overdue = [bed for bed in state.overdue if bed in what.site.place]
    state.unwatched = [bed for bed in state.unwatched if bed in what.site.place]
    state.lost = {bed: rank for bed, rank in state.lost.items() if bed in what.site.place}
    state.lost_run_ms = 0
    state.out_of_service = {p: why for p, why in state.out_of_service.items() if p in what.site.probe}
    state.out_since_ms = {p: at for p, at in state.out_since_ms.items() if p in what.site.probe}


def _refused(state: State, what: Refused, out: Out) -> None:
    probe = state.site.probe.get(what.probe or "")
    if probe is None:
        return
    state.window(probe.id).refused = what.reason
    if what.reason == Reason.CONFLICT:
        tell(state, out, surroundings.conflict(state, probe))
    if what.reason in (Reason.IMPLAUSIBLE, Reason.NOT_FINITE):
        tell(state, out, honest_doubts.refused(state, probe, what.count))


def _condition(state: State, what: Condition, out: Out) -> None:
    tell(state, out, surroundings.condition(state, what))


def _delivery(state: State, what: Delivery, out: Out) -> None:
    board.delivery(state.board, state.site, what, _now(state), out)
    night.delivery(state, what, out)
    night_heat.delivery(state, what, out)
    tell(state, out, surroundings.delivery(state, what))


def _answered(state: State, what: Answered, out: Out) -> None:
    board.answer(state.board, state.site, what, _now(state), out)


def _quieted(state: State, what: Quieted, out: Out) -> None:
    board.quiet(state.board, state.site, what, _now(state), out)


def _unquieted(state: State, what: Unquieted, out: Out) -> None:
    board.unquiet(state.board, state.site, what, _now(state), out)


def _out_of_service(state: State, what: PutOutOfService, out: Out) -> None:
    probe = state.site.probe.get(what.probe)
    if probe is None:
        return
    state.out_of_service[probe.id] = (what.why or "")[:200]
    state.out_since_ms.setdefault(probe.id, state.at_ms)
    for guard in state.guards.values():
        guard.marks.pop(probe.id, None)
    tell(state, out, [silence.finding(state, probe), *silence.watch(state)])


def _in_service(state: State, what: PutInService, out: Out) -> None:
    probe = state.site.probe.get(what.probe)
    if probe is None or state.out_of_service.pop(probe.id, None) is None:
        return
    state.out_since_ms.pop(probe.id, None)
    window = state.window(probe.id)
    # It has the whole allowance to be heard again.
    window.silent = False
    window.heard_run_ms = state.run_ms
    tell(state, out, silence.watch(state))


def _test_call(state: State, what: TestCallAsked, out: Out) -> None:
    board.test_call(state.board, state.site, what, _now(state), out)


Happening = Callable[[State, Any, Out], None]
_OF_PIECES: dict[type, Happening] = dict.fromkeys(ENTERED, entered)
HAPPENINGS: dict[type, Happening] = {
    Started: _started,
    Resumed: _resumed,
    Restored: _restored,
    ClockStepped: _clock_stepped,
    NotedAt: _noted_at,
    SiteChanged: _site_changed,
    Refused: _refused,
    Condition: _condition,
    Delivery: _delivery,
    Answered: _answered,
    Quieted: _quieted,
    Unquieted: _unquieted,
    PutOutOfService: _out_of_service,
    PutInService: _in_service,
    TestCallAsked: _test_call,
    CheckedIn: air_people.checked_in,
    CheckedOut: air_people.checked_out,
    HandedOver: handover.handed_over,
    HandoverRead: handover.read,
    **_OF_PIECES,
}
