"""A word told once a day by the site's clock, to readers who are called on until somebody has it.

The morning list, the night's work in the evening and the heat to come are such words. Each keeps for itself
when it is told next (Unix ms, and a running time before which it cannot be) and whom it has reached.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from gateway.core import callout, people
from gateway.core.board_state import BoardState, Out, notice
from gateway.core.callout import Calling, Now, Ring
from gateway.core.inputs import Delivery
from gateway.core.site import Site
from gateway.core.wording.alarm import Words

#: A word about the night is not sent when the gateway comes back only so long after (ours).
TOO_LATE_MS = 4 * 3_600_000
#: So long after the last of a backlog every probe has spoken again (ours): before, a word that is worked out
#: from the readings would be worked out from old ones.
_HEARD_AGAIN_MS = 300_000


def ahead(site: Site, now: Now, minute: int, at_ms: int = 0) -> tuple[int, int]:
    """When the word is told next, on both axes; a clock set back brings a known `at_ms` nearer."""
    soonest = people.next_instant_ms(site.time_zone, now.at_ms, minute)
    at_ms = min(at_ms or soonest, soonest)
    return at_ms, now.run_ms + max(0, at_ms - now.at_ms)


def late_ms(now: Now, at_ms: int) -> int | None:
    """How long ago the word's time came; None before it."""
    return now.at_ms - at_ms if at_ms and now.at_ms >= at_ms else None


def wait_run_ms(broker_lost: bool, settling_from_ms: int, run_ms: int) -> int | None:
    """The running time at which to look again whether the readings are of now; None where they are."""
    if broker_lost:
        return run_ms + _HEARD_AGAIN_MS
    heard_ms = settling_from_ms + _HEARD_AGAIN_MS
    return heard_ms if run_ms < heard_ms else None


def first(site: Site, calling: Calling, readers: Iterable[str]) -> list[Ring]:
    """The first phone of each reader; from now on they are being called."""
    rings = [Ring(who, site.phones_of[who][0].id, "call") for who in dict.fromkeys(readers)]
    calling.called = {ring.person: 1 for ring in rings}
    return rings


def is_newest(calling: Calling, what: Delivery) -> bool:
    """Whether this is the word's newest notice to that phone."""
    return calling.notices.get(what.phone) == what.notice


def after(site: Site, calling: Calling, now: Now, phone: str) -> list[Ring]:
    """Whom the word is sent to as that phone was not reached: its owner's next phone and the next person."""
    return callout.phone_failed(calling, site, "medium", now, phone)


def send(
    board: BoardState, calling: Calling, rings: list[Ring], words: Callable[[int], Words], now: Now, out: Out
) -> None:
    """One notice to each; `words` makes its text with its number."""
    for one in rings:
        calling.notices[one.phone] = board.next_notice
        notice(board, one, words(board.next_notice), "low", now, out)
