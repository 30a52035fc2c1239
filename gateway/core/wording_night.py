"""The evening's word to the maltster: what of tonight's list does not fit one person."""

from __future__ import annotations

from collections.abc import Sequence

from gateway.core import people
from gateway.core import wording_gsm as gsm
from gateway.core.site import Site
from gateway.core.wording import Words


def too_much(site: Site, lines: Sequence[tuple[str, str, int, bool]], at_ms: int, notice: int) -> Words:
    """The title and the text; each line is (place, what, start in Unix ms, whether one person gets to it)."""
    over = [f"{_name(site, place)} {what} {_clock(site, at)}" for place, what, at, fits in lines if not fits]
    texts = (_text(len(lines), over, count, notice) for count in range(len(over), -1, -1))
    text = next(text for text in texts if (gsm.septets(text) or 0) <= gsm.MOST)
    return Words("TONIGHT: TOO MUCH FOR ONE", text)


def _text(jobs: int, over: list[str], count: int, notice: int) -> str:
    more = len(over) - count
    said = "; ".join(over[:count] + ([f"{more} more"] if more else []))
    return f"TONIGHT does not fit one person: {jobs} to do, not reached in time: {said}. ({notice})"


def _name(site: Site, place: str) -> str:
    known = site.place.get(place)
    return gsm.name(known.name if known else place, 20)


def _clock(site: Site, at_ms: int) -> str:
    return f"{people.local(site.time_zone, at_ms):%H:%M}"
