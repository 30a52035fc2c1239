"""The evening's words: what of the list does not fit one person, and what will be too hot all the same."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from gateway.core import people
from gateway.core.site import Site
from gateway.core.wording import gsm
from gateway.core.wording.alarm import Words


def too_much(site: Site, lines: Sequence[tuple[str, str, int, bool]], at_ms: int, notice: int) -> Words:
    """The title and the text; each line is (place, what, start in Unix ms, whether one person gets to it)."""
    over = [f"{_name(site, place)} {what} {_clock(site, at)}" for place, what, at, fits in lines if not fits]
    texts = (_text(len(lines), over, count, notice) for count in range(len(over), -1, -1))
    text = next(text for text in texts if (gsm.septets(text) or 0) <= gsm.MOST)
    return Words("TONIGHT: TOO MUCH FOR ONE", text)


class Heat(NamedTuple):
    """A bed that will be too hot: from when to when (Unix ms), its turn on the list, a warm room's C."""

    place: str
    piece: str | None
    limit_c: float
    early_ms: int
    late_ms: int | None
    turn_ms: int | None
    room_c: float | None
    couch: bool = False


def heat_to_come(site: Site, beds: Sequence[Heat], notice: int) -> Words:
    """The title and the text; beds that do not fit are counted."""
    texts = (_heats(site, beds, count, notice) for count in range(len(beds), -1, -1))
    text = next(text for text in texts if (gsm.septets(text) or 0) <= gsm.MOST)
    return Words("HEAT TONIGHT", text)


def _heats(site: Site, beds: Sequence[Heat], count: int, notice: int) -> str:
    more = len(beds) - count
    said = [_heat(site, bed) for bed in beds[:count]] + ([f"{more} more"] if more else [])
    warm = any(bed.room_c is not None for bed in beds)
    act = "" if all(bed.couch for bed in beds) else " Turn sooner or thin it."
    act = " Thin it, shutters open in the cool hours." if warm else act
    return f"HEAT TONIGHT. {'; '.join(said)}.{act} ({notice})"


def _heat(site: Site, bed: Heat) -> str:
    until = "" if bed.late_ms is None else f"-{_clock(site, bed.late_ms)}"
    if bed.couch:
        listed = "in the couch: break it sooner"
    else:
        listed = "not on the list" if bed.turn_ms is None else f"turn {_clock(site, bed.turn_ms)}"
    room = "" if bed.room_c is None else f", room {bed.room_c:.1f}: a turn cools little"
    piece = "no cast recorded" if bed.piece is None else f"piece {gsm.name(bed.piece, 8)}"
    head = f"{_name(site, bed.place)} {piece}"
    return f"{head} {bed.limit_c:.3g} C by {_clock(site, bed.early_ms)}{until}, {listed}{room}"


def _text(jobs: int, over: list[str], count: int, notice: int) -> str:
    more = len(over) - count
    said = "; ".join(over[:count] + ([f"{more} more"] if more else []))
    return f"TONIGHT does not fit one person: {jobs} to do, not reached in time: {said}. ({notice})"


def _name(site: Site, place: str) -> str:
    known = site.place.get(place)
    return gsm.name(known.name if known else place, 20)


def _clock(site: Site, at_ms: int) -> str:
    return f"{people.local(site.time_zone, at_ms):%H:%M}"
