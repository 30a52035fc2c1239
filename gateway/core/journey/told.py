"""What lay where at any moment, one piece's way and story, and what is to be asked in daylight.

Pure answers from what was recorded; times are Unix ms. Entries older than two weeks are no longer told.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable
from typing import Any, NamedTuple

from gateway.core.journey.fold import fold
from gateway.core.journey.ground import Ground, Piece, Span, extent
from gateway.core.journey.record import Pieces, Record
from gateway.core.site import Site


class Stay(NamedTuple):
    """Where a piece lay for a time: a steep, a bed (with the stretch of it), a kiln, the store."""

    piece: str
    kind: str
    place: str
    from_m: float | None
    to_m: float | None
    from_ms: int
    until_ms: int | None


def lay_where(pieces: Pieces, site: Site, at_ms: int) -> list[Stay]:
    """What lay where at a moment, in walking order; a piece that lay in two beds is told for each."""
    there = [one for one in pieces.now.spans if one.from_ms <= at_ms and _until(one) > at_ms]
    return sorted((stay for span in there for stay in _stays(site, span)), key=_walk)


def series(pieces: Pieces, site: Site, name: str) -> list[Stay]:
    """The way of one piece through steep, beds and kiln, in order of time: whose probes told of it."""
    mine = sorted((one for one in pieces.now.spans if one.piece == name), key=lambda one: one.from_ms)
    found = [stay for span in mine for stay in _stays(site, span)]
    return sorted(_one_stay_each(found), key=lambda one: (one.from_ms, one.from_m or 0.0, one.place))


def _one_stay_each(stays: list[Stay]) -> Iterable[Stay]:
    """A bed on which the same stretch went on being covered is one stay."""
    open_ends: dict[tuple[Any, ...], Stay] = {}
    found: list[Stay] = []
    for stay in stays:
        key = stay[:5]
        before = open_ends.get(key)
        whole = stay
        if before is not None and before.until_ms == stay.from_ms:
            found.remove(before)
            whole = stay._replace(from_ms=before.from_ms)
        open_ends[key] = whole
        found.append(whole)
    return found


def _until(span: Span) -> int:
    return 2**62 if span.until_ms is None else span.until_ms


def _stays(site: Site, span: Span) -> list[Stay]:
    if span.kind != "floor" or span.from_m is None or span.to_m is None:
        return [Stay(span.piece, span.kind, span.ground, None, None, span.from_ms, span.until_ms)]
    found = []
    for place in site.places:
        ground, low, high = extent(place)
        start, end = max(low, span.from_m), min(high, span.to_m)
        if place.kind == "bed" and ground == span.ground and end > start:
            found.append(Stay(span.piece, "bed", place.id, start, end, span.from_ms, span.until_ms))
    return found or [
        Stay(span.piece, "floor", span.ground, span.from_m, span.to_m, span.from_ms, span.until_ms)
    ]


def _walk(stay: Stay) -> tuple[int, str, float, str]:
    order = ("steep", "bed", "floor", "kiln", "store").index(stay.kind)
    return order, stay.place if order != 1 else "", stay.from_m or 0.0, stay.piece


def stage(ground: Ground, piece: Piece, at_ms: int) -> str:
    """steeping, couch, working, withering, kiln, stripped, store, joined or gone."""
    if any(part.piece == piece.name for part in ground.parts):
        if piece.couch_ends_ms is not None and at_ms < piece.couch_ends_ms:
            return "couch"
        return "withering" if piece.withering_ms is not None else "working"
    if piece.into:
        return "joined"
    if piece.stored_ms is not None:
        return "store"
    if piece.stripped_ms is not None:
        return "stripped"
    return "kiln" if piece.loaded_ms is not None else "gone"


class Told(NamedTuple):
    """One entry of a piece's story: the record, and the place it is about."""

    record: Record
    place: str | None


def story(pieces: Pieces, site: Site, name: str) -> list[Told]:
    """The entries that are about a piece, in the order in which they happened; those taken back, too."""
    ground = copy.deepcopy(pieces.base)
    steeped: dict[str, list[Told]] = {}
    found: list[Told] = []
    for record in pieces.records:
        body = record.body
        place = body.get("bed") or body.get("steep") or body.get("kiln")
        told = Told(record, place)
        if record.word == "steeped" and not record.void_n:
            steeped[body["steep"]] = []
        if record.word in ("steeped", "steep-stand"):
            steeped.setdefault(body["steep"], []).append(told)
            if name == _in_steep(ground, body):
                found.append(told)
        here = _touched(ground, site, record)
        if not record.void_n:
            fold(ground, site, record.event, record.when_ms, record.known_ms)
        if record.word == "cast" and body.get("piece") == name and body.get("steep"):
            found = [*steeped.pop(body["steep"], []), *(one for one in found if one.record.word != "steeped")]
        if record.word not in ("steeped", "steep-stand") and name in here | _touched(ground, site, record):
            found.append(told)
    unique = {one.record.n: one for one in found}
    return sorted(unique.values(), key=lambda one: one.record.key)


def _in_steep(ground: Ground, body: dict[str, Any]) -> str | None:
    steeping = ground.steeps.get(body["steep"])
    return body.get("piece") or (steeping.piece if steeping else None)


def _touched(ground: Ground, site: Site, record: Record) -> set[str]:
    """The pieces an entry is about, as things stand."""
    body = record.body
    found = {body[key] for key in ("piece", "other", "name") if body.get(key)}
    for key in ("bed", "to"):
        place = site.place.get(body.get(key) or "")
        if place is not None and record.word != "cast":
            low, high = body.get("from_m"), body.get("to_m")
            for part in ground.on(place):
                inside = key == "to" or (
                    (low is None or part.to_m > low) and (high is None or part.from_m < high)
                )
                found |= {part.piece} if inside else set()
    firing = ground.kilns.get(body.get("kiln") or "")
    if firing is not None:
        found |= {one for one in (firing.piece, firing.last) if one}
    return found


_WORDS = {
    "steeped": "steeped", "steep-stand": "stand", "cast": "cast", "couch-broken": "couch broken",
    "turned": "turned", "ploughed": "ploughed", "thinned": "thinned", "thickened": "thickened",
    "sprinkled": "sprinkled", "withering": "withering", "hand": "by hand", "chit": "chit", "spire": "spire",
    "smell": "smells of", "moved": "moved", "joined": "joined", "split": "split off", "loaded": "loaded",
    "kiln": "kiln", "order": "order",
}  # fmt: skip


def say(site: Site, record: Record) -> str:
    """An entry in a few words, without its place and time: "turned, 20-25 m", "thinned to 10 cm"."""
    body = record.body
    text = _WORDS.get(record.word, record.word)
    if record.n < 0:
        text += ", as the probes show; nobody recorded it"
    if record.word == "steep-stand":
        text = f"{body.get('stand')} stand"
    elif record.word == "kiln":
        text = str(body.get("what", "")).replace("-", " ")
    elif record.word == "smell":
        text = f"smells of {body.get('what')}"
    figures = (
        ("c", " {:g} C"), ("water_c", ", water {:g} C"), ("depth_cm", " to {:g} cm"),
        ("share_pct", " {:g} %"), ("litres", " with {:g} l"), ("at_m", " at {:g} m"),
        ("height_cm", ", {:g} cm up"), ("weight_t", ", {:g} t"), ("moisture_wb", ", {:g} % moisture"),
    )  # fmt: skip
    text += "".join(form.format(body[key]) for key, form in figures if isinstance(body.get(key), int | float))
    low, high = body.get("from_m"), body.get("to_m")
    if low is not None or high is not None:
        text += f", {'' if low is None else format(low, 'g')}-{'' if high is None else format(high, 'g')} m"
    place = site.place.get(body.get("to") or "")
    text += f" to {place.name}" if place else ""
    text += "".join(f", {key} {body[key]}" for key in ("lot", "variety", "recipe") if body.get(key))
    return text
