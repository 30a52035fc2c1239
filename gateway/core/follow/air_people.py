"""Who is inside: people check in for a round or an entry, and somebody is called if they do not check out.

The time to be out by is a time of day: it comes nearer while the gateway is down, too.
"""

from __future__ import annotations

from gateway.core.board_state import Out
from gateway.core.finding import Finding, Subject
from gateway.core.follow.air_state import Inside
from gateway.core.inputs_air import CheckedIn, CheckedOut
from gateway.core.site import Place
from gateway.core.state import NEVER_MS, State

MISSED = "checkout_missed"


def checked_in(state: State, what: CheckedIn, out: Out) -> None:
    """Somebody goes in; who is inside already moves on, or stays longer."""
    if what.person not in state.site.person or what.place not in state.site.place:
        return
    before = state.air.inside.get(what.person)
    minutes = state.site.air.out_after_min
    since_ms = _when(state, what.when_ms)
    for_ms = round(minutes * 60_000 if what.for_s is None else what.for_s * 1000)
    if before is not None and before.place == what.place:
        state.air.inside[what.person] = Inside(what.place, before.since_ms, since_ms + for_ms)
    else:
        state.air.inside[what.person] = Inside(what.place, since_ms, since_ms + for_ms)
    if before is not None and before.missed:
        _tell(state, before.place, out)


def checked_out(state: State, what: CheckedOut, out: Out) -> None:
    """Somebody is out again."""
    before = state.air.inside.pop(what.person, None)
    if before is not None and before.missed:
        _tell(state, before.place, out)


def _when(state: State, when_ms: int | None) -> int:
    now_ms = max(state.at_ms, state.noted_ms)
    return now_ms if when_ms is None else min(when_ms, now_ms)


def _tell(state: State, place: str, out: Out) -> None:
    from gateway.core.happenings_floor import tell

    tell(state, out, [finding(state, state.site.place[place])])


def tick(state: State) -> list[Finding]:
    """People whose time is past."""
    late = [one for one in state.air.inside.values() if not one.missed and state.at_ms >= one.until_ms]
    for one in late:
        one.missed = True
    return [finding(state, state.site.place[place]) for place in dict.fromkeys(one.place for one in late)]


def next_run_ms(state: State) -> int:
    """The running time at which the next is missed."""
    waiting = (one.until_ms for one in state.air.inside.values() if not one.missed)
    return min((state.run_ms + max(0, until_ms - state.at_ms) for until_ms in waiting), default=NEVER_MS)


def inside(state: State, place: str) -> tuple[str, ...]:
    """Who checked in there, the longest inside first."""
    found = [(one.since_ms, who) for who, one in state.air.inside.items() if one.place == place]
    return tuple(who for _, who in sorted(found))


def moved(state: State, by_ms: int) -> None:
    """The clock was set."""
    for one in state.air.inside.values():
        one.since_ms += by_ms
        one.until_ms += by_ms


def finding(state: State, place: Place) -> Finding:
    """Who is missed at a place, as it stands now; one more calls afresh."""
    here = {who: one for who, one in state.air.inside.items() if one.place == place.id and one.missed}
    return Finding(
        Subject(MISSED, place.id),
        bool(here),
        "high",
        "missed",
        max(1, len(here)),
        since_ms=min((one.since_ms for one in here.values()), default=None),
        wanted_by_ms=min((one.until_ms for one in here.values()), default=None),
        inside=tuple(sorted(here, key=lambda who: (here[who].until_ms, who))),
        air=_air(state, place),
    )


def _air(state: State, place: Place) -> str:
    from gateway.core.rules.air_said import short

    return short(state, place)
