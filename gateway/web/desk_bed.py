"""What is looked up for a bed, for writing something down about it, and for a piece."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from gateway.core import people, views, views_heat, views_piece
from gateway.core.piece import in_couch
from gateway.core.rules import heat
from gateway.core.site import Place, Probe
from gateway.core.state import State
from gateway.core.wording import start as wording_start
from gateway.ports import Minute, Reader
from gateway.web.desk import MANY, Desk, NotHere, Row, Shown
from gateway.web.pages import bed, chart, floor
from gateway.web.pages.chart import Column

#: Minutes or quarters read of one probe at most: two days of the one, a month of the other.
_MOST = 3000


def bed_place(desk: Desk, name: str) -> Place:
    """The bed of that id; raises NotHere."""
    place = desk.given.site().place.get(name)
    if place is None or place.kind != "bed":
        raise NotHere("There is no such bed.")
    return place


def one_bed(desk: Desk, name: str) -> Shown:
    """A bed in figures."""
    place, say, now_ms = bed_place(desk, name), desk.say(), desk.given.now_ms()
    word = desk.asked("span", "day")

    def look(state: State) -> Row:
        lying, row = state.pieces.beds.get(name), views.bed(state, place)
        return {
            "row": row,
            "out": row["entry"] in wording_start.KEEP_OUT,
            "couch": lying is not None and in_couch(lying, state.at_ms),
            "cast_ms": lying.cast_ms if lying else None,
            "levels": floor.levels(state, place),
            "turned_ms": heat.newest_turn(state, name) or None,
            "alarms": floor.standing(state, name),
            "programme": state.programme(place),
            "hands": _hands(state, name),
            "ahead": views_heat.bed(state, place) if views_heat.judged(state, place) else None,
            "stretches": [
                one for piece in views_piece.pieces(state) for one in piece["stretches"] if one["bed"] == name
            ],
        }

    seen = desk.given.ask(look)
    span = bed.window(word, now_ms, seen["turned_ms"], seen["cast_ms"])
    zero_ms = seen["cast_ms"] or span[0]
    warm, damp = _probes(desk, name, "temperature"), _probes(desk, name, "co2")
    reader = desk.given.reader()
    with reader.snapshot():
        series = series_of(reader, [*warm, *damp], span)
        known, lines = reader.turns(MANY), reader.alarms(True, MANY)
    to_come = bed.ahead(seen["ahead"], span)
    ends_ms = max([span[1], *(one["at"] for one in to_come)])
    levels = bed.limits(seen["programme"], seen["cast_ms"], (span[0], ends_ms))
    return "bed.html", seen | {
        "here": "Pieces",
        "place": place,
        "where": bed.place_words(place),
        "word": word,
        "spans": bed.SPANS,
        "span": span,
        "zero_ms": zero_ms,
        "warm": warm,
        "damp": damp,
        "drawn": bed.drawing(say, warm, series, span, zero_ms, levels, to_come, seen["hands"]),
        "gas": bed.gas(say, damp, series, (span[0], ends_ms), zero_ms),
        "turns": bed.turns(known, name, span),
        "spells": bed.alarm_spans(lines, name, span),
        "table": bed.table([*warm, *damp], series, span),
    }


def _probes(desk: Desk, place: str, quantity: str) -> list[Probe]:
    found = [one for one in desk.given.site().probes_of[place] if one.quantity == quantity]
    return sorted(found, key=lambda one: (one.height_cm or 0.0, one.at_m or 0.0))


def _hands(state: State, name: str) -> list[Row]:
    return [one for piece in views_piece.pieces(state) for one in piece["by_hand"] if one["bed"] == name]


def series_of(reader: Reader, probes: list[Probe], span: tuple[int, int]) -> dict[str, list[Column]]:
    """Each probe's columns over the time shown."""
    return {probe.id: bed.calibrated(probe, grains_of(reader, probe, span), *span) for probe in probes}


def grains_of(reader: Reader, probe: Probe, span: tuple[int, int]) -> Sequence[Minute]:
    """What a probe said in that time, by the minute or, over days, by the quarter of an hour."""
    by = reader.quarters if span[1] - span[0] > chart.LONG_MS else reader.minutes
    return by(probe.id, *span, _MOST)


def write(desk: Desk, name: str) -> Shown:
    """Everything that can be written down about a bed and what lies on it."""
    place, site = bed_place(desk, name), desk.given.site()

    def look(state: State) -> Row:
        lying = state.pieces.beds.get(name)
        return {
            "piece": lying.piece if lying else None,
            "couch": bool(lying and lying.couch_ends_ms is not None),
            "watched": views.bed(state, place)["watched"],
            "steeps": [
                {"id": steep, "piece": one.piece or one.lot or "?"}
                for steep, one in state.pieces.now.steeps.items()
            ],
            "next_piece": str(state.pieces.now.number + 1),
        }

    return "write.html", desk.given.ask(look) | {
        "here": "Floor",
        "place": place,
        "where": bed.place_words(place),
        "people": site.people,
        "beds": [one for one in site.places if one.kind == "bed" and one.id != name],
        "kilns": [one for one in site.places if one.kind == "kiln"],
        "on": people.on_shift(site, desk.given.now_ms()),
    }


def pieces(desk: Desk) -> Shown:
    """All pieces that are on their way, and the beds."""
    site = desk.given.site()

    def look(state: State) -> Row:
        beds = {row["bed"]: row | {"alarms": _calls(state, [row["bed"]])} for row in views.beds(state)}
        rows = [one | {"alarms": _calls(state, _lies(one))} for one in views_piece.pieces(state)]
        # What calls somebody stands first, the gravest before all; else they stand by their way.
        return {
            "pieces": sorted(rows, key=lambda one: min(map(floor.urgency, one["alarms"]), default=(9,))),
            "beds": beds,
        }

    shown = desk.given.ask(look)
    steeps = [place for place in site.places if place.kind == "steep"]
    return "pieces.html", shown | {
        "here": "Pieces",
        "idle": [row for row in shown["beds"].values() if not row["piece"]],
        "steeps": steeps,
        "recipes": site.recipes,
    }


def _lies(piece: Row) -> list[str]:
    """Where a piece lies now: its beds, or the steep or kiln it is in."""
    stays = [stay["place"] for stay in piece["way"] if stay["until"] is None]
    return list(dict.fromkeys([*piece["beds"], *stays]))


def _calls(state: State, places: Sequence[str]) -> list[Row]:
    """The alarms at these places that call somebody, the most urgent first."""
    found = [row for place in places for row in floor.standing(state, place) if row["priority"] != "low"]
    return sorted(found, key=floor.urgency)


def one_piece(desk: Desk, name: str) -> Shown:
    """A piece's whole story, from steep to store, on one page."""
    say, now_ms = desk.say(), desk.given.now_ms()
    found = desk.given.ask(lambda state: views_piece.pieces(state, name[:40]))
    if not found:
        raise NotHere("There is no such piece.")
    one: Row = found[0]
    stays = [stay for stay in one["way"] if stay["place"] in say.site.place]
    drawn = _whole(desk, one, stays, now_ms)
    return "piece.html", {"here": "Pieces", "one": one, "drawn": drawn, "stays": stays}


def _whole(desk: Desk, one: Row, stays: list[Row], now_ms: int) -> Row | None:
    """The temperatures wherever the piece lay, in one drawing; None where nothing was measured."""
    say, site = desk.say(), desk.given.site()
    beds = [stay for stay in stays if site.place[stay["place"]].kind == "bed"]
    if one["cast_at"] is None or not beds:
        return None
    span = one["cast_at"], max([stay["until"] or now_ms for stay in beds])
    reader, series = desk.given.reader(), dict[str, list[Column]]()
    probes: list[Probe] = []
    with reader.snapshot():
        for stay in beds:
            for probe in _probes(desk, stay["place"], "temperature"):
                until = stay["until"] or now_ms
                grains = grains_of(reader, probe, (stay["from"], until))
                if probe not in probes:
                    probes.append(probe)
                series[probe.id] = series.get(probe.id, []) + bed.calibrated(probe, grains, *span)
        known = reader.turns(MANY)
    if not any(series.values()):
        return None
    place = site.place[beds[-1]["place"]]
    programme = desk.given.ask(lambda state: state.programme(place))
    made: dict[str, Any] = bed.drawing(
        say, probes, series, span, span[0], bed.limits(programme, one["cast_at"], span), (), one["by_hand"]
    )
    made["turns"] = [turn for stay in beds for turn in bed.turns(known, stay["place"], span)]
    return made
