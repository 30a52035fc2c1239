"""Who is rung for one alarm, when, and how often (contract C9).

*High*: the first person on shift at once, again each `high_repeat_s`, one person more each `high_next_s`.
*Highest*: everybody on every phone at once, again each `high_repeat_s`. *Medium*: the first person on shift,
again each `medium_repeat_s`. *Low* rings nobody. Nobody on shift: everybody. A phone that fails, or a person
who cannot come, passes the call to the next person at once; who cannot come is then left out of the repeats
unless nobody else remains. All steps count on running time, times `speed`.

*High* and *highest* only add people: those rung once are rung again at every repeat, and so is whoever has
come on shift meanwhile. A *medium* call goes with the shift: it rings whoever is first on shift by now and
those called in who are on shift themselves, and no longer who has gone home. Only where nobody on shift is to
be had (none is there, they cannot come, every phone of theirs failed, or they were rung before an answer that
came to nothing) does everybody rung once go on being rung. All who were rung hear that it is over.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

from gateway.core import people
from gateway.core.site import Callout, Site

NEVER = 2**62
PRIORITIES = ("low", "medium", "high", "highest")


class Now(NamedTuple):
    """One moment on both axes (core/timeline): calendar and running time, in ms."""

    at_ms: int
    run_ms: int


class Ring(NamedTuple):
    """One phone to ring. `kind`: call (first time, or afresh) or repeat."""

    person: str
    phone: str
    kind: str


@dataclass(slots=True)
class Calling:
    """How far the calling of one alarm has come.

    `called`: person to the number of their phones in use. `notices`: phone to the newest notice sent there.
    `added`: who was called in beyond the plan. `vain`: who had been rung when an answer came to nothing.
    """

    called: dict[str, int] = field(default_factory=dict)
    cannot: list[str] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)
    notices: dict[str, int] = field(default_factory=dict)
    repeat_run_ms: int = NEVER
    next_run_ms: int = NEVER
    added: list[str] = field(default_factory=list)
    vain: list[str] = field(default_factory=list)


def grade(priority: str) -> int:
    """0 low to 3 highest; a word that is none of them counts as medium."""
    return PRIORITIES.index(priority) if priority in PRIORITIES else 1


def step_ms(callout: Callout, seconds: float) -> int:
    """A step of the call in ms of running time, at least 1."""
    return max(1, round(seconds * 1000 * callout.speed))


def repeat_ms(callout: Callout, priority: str) -> int:
    """How long after one call the next one follows, ms of running time."""
    return step_ms(callout, callout.high_repeat_s if grade(priority) >= 2 else callout.medium_repeat_s)


def begin(calling: Calling, site: Site, priority: str, now: Now) -> list[Ring]:
    """Ring afresh: whoever must hear it now, and who was rung for this alarm before and still is."""
    calling.cannot.clear()
    calling.failed.clear()
    calling.vain.clear()
    return again(calling, site, priority, now, kind="call")


def in_vain(calling: Calling, site: Site, priority: str, now: Now) -> list[Ring]:
    """Ring afresh, and the next person too: somebody had answered, and nothing came of it."""
    calling.cannot.clear()
    calling.failed.clear()
    calling.vain = list(calling.called)
    rings = again(calling, site, priority, now, kind="call")
    return rings + widen(calling, site, priority, now)


def again(calling: Calling, site: Site, priority: str, now: Now, kind: str = "repeat") -> list[Ring]:
    """Ring those rung before who did not say they cannot, and whoever must hear it by now."""
    if not grade(priority):
        return []
    _forget_the_gone(calling, site)
    if priority == "highest":
        calling.called = {who: len(site.phones_of[who]) for who in calling.called}
    wanted = _wanted(calling, site, priority, now)
    before = [who for who in calling.called if _can(calling, who) or who in wanted]
    if grade(priority) == 1:
        before = _still(calling, site, now, before, wanted)
    if not before and not wanted:
        before = list(calling.called)
    added = [who for who in wanted if who not in calling.called]
    rings = _phones(calling, site, before, kind)
    rings += _add(calling, site, added, priority)
    calling.repeat_run_ms = now.run_ms + repeat_ms(site.callout, priority)
    if kind == "call":
        _arm_next(calling, site, priority, now)
    return rings


def widen(calling: Calling, site: Site, priority: str, now: Now) -> list[Ring]:
    """Ring one person more: the first in the order of calling who has not been rung for this alarm."""
    if not grade(priority):
        return []
    _arm_next(calling, site, priority, now)
    left = [who for who in people.order(site, now.at_ms) if who not in calling.called]
    calling.added += left[:1]
    return _add(calling, site, left[:1], priority)


def others_too(calling: Calling, site: Site, priority: str, now: Now, missing: Iterable[str]) -> list[Ring]:
    """One person more, outside the plan, and more until somebody is rung who is not among the missing."""
    rings = widen(calling, site, priority, now)
    while all(who in missing for who in calling.called):
        more = widen(calling, site, priority, now)
        if not more:
            break
        rings += more
    return rings


def cannot_come(calling: Calling, site: Site, priority: str, now: Now, who: str | None) -> list[Ring]:
    """Somebody cannot come: the next person at once. The same person again changes nothing."""
    if who is not None and who in calling.cannot:
        return []
    if who is not None and priority != "highest":
        calling.cannot.append(who)
    return widen(calling, site, priority, now)


def phone_failed(calling: Calling, site: Site, priority: str, now: Now, phone: str) -> list[Ring]:
    """A phone was not reached: that person's next phone and the next person, at once; once for each phone."""
    if phone in calling.failed:
        return []
    calling.failed.append(phone)
    owner = next((one.person for one in site.phones if one.id == phone), None)
    rings = []
    if owner in calling.called:
        more = site.phones_of[owner][calling.called[owner] :][:1]
        calling.called[owner] += len(more)
        rings = [Ring(owner, one.id, "call") for one in more]
    return rings + widen(calling, site, priority, now)


def everybody_rung(calling: Calling, site: Site) -> list[Ring]:
    """Every phone this alarm has rung, for the word that it is over."""
    _forget_the_gone(calling, site)
    return _phones(calling, site, calling.called, "over")


def _wanted(calling: Calling, site: Site, priority: str, now: Now) -> list[str]:
    """Whom the call must reach at this moment whatever happened before."""
    on = people.on_shift(site, now.at_ms)
    if priority == "highest" or not on:
        return [who for who in people.order(site, now.at_ms) if priority == "highest" or _can(calling, who)]
    return [who for who in on if _can(calling, who)][:1]


def _still(calling: Calling, site: Site, now: Now, before: list[str], wanted: list[str]) -> list[str]:
    """Whom of those rung before a medium call still rings: those on shift, while one of them is to be had."""
    on = people.on_shift(site, now.at_ms)
    still = [who for who in before if who in wanted or (who in on and who in calling.added)]
    enough = any(who in on and _to_be_had(calling, site, who) for who in (*still, *wanted))
    return still if enough else before


def _to_be_had(calling: Calling, site: Site, who: str) -> bool:
    works = any(phone.id not in calling.failed for phone in site.phones_of[who])
    return works and _can(calling, who) and who not in calling.vain


def _can(calling: Calling, who: str) -> bool:
    return who not in calling.cannot


def _add(calling: Calling, site: Site, who: Iterable[str], priority: str) -> list[Ring]:
    added = list(who)
    for one in added:
        calling.called[one] = len(site.phones_of[one]) if priority == "highest" else 1
    return _phones(calling, site, added, "call")


def _phones(calling: Calling, site: Site, who: Iterable[str], kind: str) -> list[Ring]:
    return [Ring(one, phone.id, kind) for one in who for phone in site.phones_of[one][: calling.called[one]]]


def _arm_next(calling: Calling, site: Site, priority: str, now: Now) -> None:
    wait = step_ms(site.callout, site.callout.high_next_s)
    calling.next_run_ms = now.run_ms + wait if priority == "high" else NEVER


def _forget_the_gone(calling: Calling, site: Site) -> None:
    """Who left the site file, or lost the phone, is no longer rung."""
    for one in [one for one in calling.called if not site.phones_of.get(one)]:
        del calling.called[one]
