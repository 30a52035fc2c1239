"""What wants turning in a line as a person would say it, and what becomes of a bed that is left."""

from __future__ import annotations

from gateway.core.piece import Lying, day_of
from gateway.core.rules import due as dues
from gateway.core.rules import heat
from gateway.core.rules.due import Due, Reason
from gateway.core.rules.limits import level_of
from gateway.core.rules.reach import AHEAD_MS, Forecast, Reach, Warm
from gateway.core.rules.room_near import near_c
from gateway.core.rules.sample import SETTLES_MS
from gateway.core.rules.turning import stretch_words
from gateway.core.site import Place
from gateway.core.state import State
from gateway.core.wording.start import clock, start

_STEADY_PER_H = 0.05


def line(state: State, place: Place, due: Due) -> str:
    """The bed's whole line: what lies there, when to start, and why."""
    lying = state.pieces.beds.get(place.id)
    if lying is None:
        return f"{place.name}: {due.idle}"
    head = f"{place.name}, day {day_of(lying, state.at_ms)}, piece {lying.piece}: "
    if due.first is None:
        return f"{head}{due.idle}"
    when = start(state, place, due.first.start_ms).words
    return f"{head}{when} ({'; '.join(_because(state, place, lying, due))})"


def why(state: State, place: Place, due: Due) -> str:
    """The reason alone, and the stretch it is for where it is not all of the bed."""
    if due.first is None:
        return due.idle
    parts = [reason(state, place, due.first), _part(place, due), _order(state, due)]
    said = ", ".join(part for part in parts if part)
    if due.ends is None:
        return said
    turned = _turned(state, place)
    return f"{said}, {f'turned {turned}: ' if turned else ''}{_ends(state, due.ends)}"


def _because(state: State, place: Place, lying: Lying, due: Due) -> list[str]:
    first = reason(state, place, due.first) if due.first else ""
    found = [", ".join(part for part in (first, _trend(state, place)) if part), _last(state, lying, due)]
    found += [_part(place, due), _order(state, due), _ends(state, due.ends) if due.ends else ""]
    room = _room(state, place, heat.TURN_AT)
    found.append(f"{room}: thin it, shutters open in the cool hours" if room else "")
    if due.chilled:
        found.append("chilled: plough, thicken or close up, no turn by the clock alone")
    return [part for part in found if part]


def reason(state: State, place: Place, why: Reason) -> str:
    """A reason in words: 19 C by 02:10-03:20, longest between turns, CO2 4.1 %."""
    at = clock(state.site, why.due_ms, state.at_ms)
    if why.kind == "round":
        return f"the {at} round"
    if why.kind == "warm":
        return "warm enough to turn" if why.limit is None else f"at {_limit(why.limit)}, warm enough to turn"
    if why.kind == "hot":
        return _hot(state, place, why.limit)
    if why.kind == "heat" and why.reach is not None:
        return f"{_limit(why.limit)} {_by(state, why.reach)}"
    if why.kind == "rise":
        done = why.due_ms <= state.at_ms
        return f"up {why.limit:g} since the turn{'' if done else f' by about {at}'}"
    if why.kind == "spread":
        best, worst = heat.extreme(state, place.id, 1), heat.extreme(state, place.id, -1)
        if best is None or worst is None:
            return "uneven"
        warm, cool = best[1].value or 0.0, worst[1].value or 0.0
        return f"uneven: {warm:.1f} C at {best[0].id}, {cool:.1f} C at {worst[0].id}"
    if why.kind == "co2":
        most = max((w.value for _, w in state.good(place.id, "co2") if w.value is not None), default=None)
        return "stuffy" if most is None else f"CO2 {most / 10_000:.1f} %"
    return "longest between turns"


def _hot(state: State, place: Place, limit_c: float | None) -> str:
    held, lying = heat.held(state, place), state.pieces.beds.get(place.id)
    if limit_c is None or held is None or lying is None:
        return "too hot"
    window = held.window
    now = f"at {window.value or 0.0:.1f} C"
    if window.silent:
        now = f"{now[3:]} when last heard {clock(state.site, window.measured_ms, state.at_ms)}"
    said = f"{now}, limit {_limit(limit_c)}"
    turned_ms = dues.turned_ms(lying, held.probe)
    if turned_ms <= state.guard("bed_hot", place.id).since_ms:
        return said
    down_ms = turned_ms + SETTLES_MS
    again = "not down since"
    if state.at_ms < down_ms:
        again = f"again if not down by {clock(state.site, down_ms, state.at_ms)}"
    return f"{said}, turned {clock(state.site, turned_ms, state.at_ms)}: {again}"


def _turned(state: State, place: Place) -> str:
    """When the bed was turned for the heat alarm that stands; nothing where that is not known."""
    turned_ms = heat.newest_turn(state, place.id)
    if turned_ms <= state.guard("bed_hot", place.id).since_ms:
        return ""
    return clock(state.site, turned_ms, state.at_ms)


def _ends(state: State, ends: heat.Ends) -> str:
    later = ends.at_ms > state.at_ms
    at = f"about {clock(state.site, ends.at_ms, state.at_ms)}" if later else "with the next reading"
    return f"{ends.c:.1f} C now, heat alarm ends by itself {at} if it stays under {_limit(ends.under_c)}"


def _limit(limit_c: float | None) -> str:
    return "warm" if limit_c is None else f"{round(limit_c, 1):g} C"


def _by(state: State, reach: Reach) -> str:
    if reach.early_ms is None or reach.late_ms is None:
        return f"by about {clock(state.site, reach.at_ms, state.at_ms)}"
    ends = [clock(state.site, at_ms, state.at_ms) for at_ms in (reach.early_ms, reach.late_ms)]
    return f"by {'-'.join(dict.fromkeys(ends))}"


def _trend(state: State, place: Place) -> str:
    best = heat.extreme(state, place.id, 1)
    slope = best[1].trend_per_h(heat.newest_turn(state, place.id)) if best else None
    if slope is None:
        return ""
    if abs(slope) < _STEADY_PER_H:
        return "steady"
    return f"{'up' if slope > 0 else 'down'} {abs(slope):.1f} an hour"


def _last(state: State, lying: Lying, due: Due) -> str:
    if due.clock is None or due.clock.last_ms is None:
        return "not turned yet" if not lying.turned else ""
    known = state.site.person.get(due.clock.by or "")
    who = known.name if known else due.clock.by
    return f"last turned {clock(state.site, due.clock.last_ms, state.at_ms)}{f' by {who}' if who else ''}"


def _part(place: Place, due: Due) -> str:
    if due.clock is None or due.clock.whole:
        return ""
    return f"{stretch_words(place, due.clock.from_m, due.clock.to_m)} not done"


def _order(state: State, due: Due) -> str:
    if due.order is None:
        return ""
    until = clock(state.site, due.order.until_ms, state.at_ms)
    return f"left till {until}{f': {due.order.why}' if due.order.why else ''}"


def if_left(state: State, place: Place, ahead: Forecast, until_ms: int) -> str:
    """What becomes of the bed if nobody turns it: how warm when the night ends, and the limits it meets.

    By day the morning is farther off than anything is foretold: then to where that ends.
    """
    until_ms = min(until_ms, state.at_ms + AHEAD_MS)
    warm = ahead.at(state, place, until_ms)
    until = clock(state.site, until_ms, state.at_ms)
    found = [f"{_warm(warm)} at {until}" if warm else f"too little heard to say how warm at {until}"]
    for level in heat.ladder_for(state, place, "bed_hot", state.at_ms).levels[1:]:
        reach = ahead.reach(state, place, level.limit)
        if reach is not None and reach.at_ms <= until_ms:
            now = reach.at_ms <= state.at_ms
            found.append(f"{_limit(level.limit)} {'already' if now else _by(state, reach)}")
    found.append(_room(state, place, heat.HIGH))
    return ", ".join(part for part in found if part)


def _room(state: State, place: Place, rank: int) -> str:
    """Where the room is nearly as warm as a level: no turn cools grain below it."""
    level = level_of(heat.ladder_for(state, place, "bed_hot", state.at_ms), rank)
    room_c = near_c(state, place, level.limit if level else None)
    if room_c is None:
        return ""
    return f"room {room_c:.1f} C, so a turn cools little"


def _warm(warm: Warm) -> str:
    if warm.low_c is None or warm.high_c is None:
        return f"about {warm.c:.1f} C"
    return f"{warm.low_c:.1f}-{warm.high_c:.1f} C"
