"""What each event means to the judge: one function an event, in one table. Readings are in `engine`."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from gateway.core import board, rebase
from gateway.core.board import Now, Out
from gateway.core.effects import TurnKnown
from gateway.core.finding import Finding
from gateway.core.inputs import (
    Answered,
    Cast,
    ClockStepped,
    Condition,
    CouchBroken,
    Delivery,
    KilnWorked,
    Loaded,
    Moved,
    PutInService,
    PutOutOfService,
    Quieted,
    Refused,
    Resumed,
    SiteChanged,
    Started,
    TestCallAsked,
    Turned,
    Unquieted,
)
from gateway.core.reading import Reason
from gateway.core.rules import heat, silence, surroundings, turning
from gateway.core.rules.limits import Guard
from gateway.core.site import Place
from gateway.core.state import State


def _now(state: State) -> Now:
    return Now(state.at_ms, state.run_ms)


def _tell(state: State, out: Out, found: list[Finding]) -> None:
    for finding in found:
        board.found(state.board, state.site, finding, _now(state), out)


def _started(state: State, what: Started, out: Out) -> None:
    state.settling_from_ms = state.run_ms


def _resumed(state: State, what: Resumed, out: Out) -> None:
    # The entry is stamped after the gap; the axis learns of it here, so that later ticks agree.
    rebase.resumed(state, what.down_ms)
    state.settling_from_ms = state.run_ms
    state.resumed_at_ms = state.at_ms
    board.resumed(state.board, state.site, _now(state), out)


def _clock_stepped(state: State, what: ClockStepped, out: Out) -> None:
    rebase.stepped(state, what.by_ms)


def _site_changed(state: State, what: SiteChanged, out: Out) -> None:
    old = state.site if state.site.id else None
    state.site = what.site
    board.site_changed(state.board, old, what.site, _now(state), out)
    for probe in [probe for probe in state.windows if probe not in what.site.probe]:
        del state.windows[probe]
    for key in [key for key in state.guards if key.split(" ", 1)[1] not in what.site.place]:
        del state.guards[key]
    state.overdue = [bed for bed in state.overdue if bed in what.site.place]
    state.unwatched = [bed for bed in state.unwatched if bed in what.site.place]
    state.out_of_service = {p: why for p, why in state.out_of_service.items() if p in what.site.probe}


def _refused(state: State, what: Refused, out: Out) -> None:
    probe = state.site.probe.get(what.probe or "")
    if probe is None:
        return
    state.window(probe.id).refused = what.reason
    if what.reason == Reason.CONFLICT:
        _tell(state, out, surroundings.conflict(state, probe))


def _condition(state: State, what: Condition, out: Out) -> None:
    _tell(state, out, surroundings.condition(state, what))


def _delivery(state: State, what: Delivery, out: Out) -> None:
    board.delivery(state.board, state.site, what, _now(state), out)
    _tell(state, out, surroundings.delivery(state, what))


def _bed(state: State, bed: str) -> Place | None:
    return state.site.place.get(bed)


def _when(state: State, when_ms: int | None) -> int:
    return state.at_ms if when_ms is None else when_ms


def _forget_heat(state: State, bed: str, out: Out) -> None:
    """Other grain, or none, lies there: what the probes said of the last piece holds for it no longer."""
    now = _now(state)
    for kind in ("bed_hot", "bed_low"):
        if state.guards.pop(f"{kind} {bed}", Guard()).rank:
            place = state.site.place[bed]
            board.found(state.board, state.site, heat.finding(state, place, kind), now, out)


def _cast(state: State, what: Cast, out: Out) -> None:
    place = _bed(state, what.bed)
    if place is None:
        return
    couch = state.programme(place).couch
    state.pieces.cast(place, couch, what.piece, _when(state, what.when_ms), state.at_ms)
    _forget_heat(state, what.bed, out)
    _after_piece(state, out)


def _couch_broken(state: State, what: CouchBroken, out: Out) -> None:
    state.pieces.break_couch(what.bed, _when(state, what.when_ms))
    _after_piece(state, out)


def _turned(state: State, what: Turned, out: Out) -> None:
    place = _bed(state, what.bed)
    if place is None:
        return
    when_ms = _when(state, what.when_ms)
    odd = state.pieces.turn(place, what.from_m, what.to_m, when_ms, what.by)
    state.turns += 1
    low = place.from_m if what.from_m is None else what.from_m
    high = place.to_m if what.to_m is None else what.to_m
    out.effects.append(
        TurnKnown(
            out.cause(), state.turns, place.id, low, high, "recorded", when_ms, when_ms, state.at_ms,
            what.by, state="flagged" if odd else "kept",
        )
    )  # fmt: skip
    board.bed_turned(state.board, state.site, place.id, what.by, _now(state), out)
    _after_piece(state, out)


def _moved(state: State, what: Moved, out: Out) -> None:
    source, target = _bed(state, what.bed), _bed(state, what.to)
    if source is None or target is None:
        return
    state.pieces.move(source, target, _when(state, what.when_ms))
    _forget_heat(state, what.bed, out)
    _after_piece(state, out)


def _loaded(state: State, what: Loaded, out: Out) -> None:
    if _bed(state, what.bed) is None:
        return
    state.pieces.load(what.bed, what.kiln or _only_kiln(state))
    _forget_heat(state, what.bed, out)
    _after_piece(state, out)


def _after_piece(state: State, out: Out) -> None:
    _tell(state, out, [*turning.judge(state), *silence.watch(state)])


def _kiln(state: State, what: KilnWorked, out: Out) -> None:
    kiln = what.kiln or _only_kiln(state)
    if kiln is not None:
        state.pieces.kiln(kiln, what.what, _when(state, what.when_ms))


def _only_kiln(state: State) -> str | None:
    kilns = [place.id for place in state.site.places if place.kind == "kiln"]
    return kilns[0] if kilns else None


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
    for guard in state.guards.values():
        guard.marks.pop(probe.id, None)
    _tell(state, out, [silence.finding(state, probe), *silence.watch(state)])


def _in_service(state: State, what: PutInService, out: Out) -> None:
    probe = state.site.probe.get(what.probe)
    if probe is None or state.out_of_service.pop(probe.id, None) is None:
        return
    window = state.window(probe.id)
    # It has the whole allowance to be heard again.
    window.silent = False
    window.heard_run_ms = state.run_ms
    _tell(state, out, silence.watch(state))


def _test_call(state: State, what: TestCallAsked, out: Out) -> None:
    board.test_call(state.board, state.site, what, _now(state), out)


HAPPENINGS: dict[type, Callable[[State, Any, Out], None]] = {
    Started: _started,
    Resumed: _resumed,
    ClockStepped: _clock_stepped,
    SiteChanged: _site_changed,
    Refused: _refused,
    Condition: _condition,
    Delivery: _delivery,
    Cast: _cast,
    CouchBroken: _couch_broken,
    Turned: _turned,
    Moved: _moved,
    Loaded: _loaded,
    KilnWorked: _kiln,
    Answered: _answered,
    Quieted: _quieted,
    Unquieted: _unquieted,
    PutOutOfService: _out_of_service,
    PutInService: _in_service,
    TestCallAsked: _test_call,
}
