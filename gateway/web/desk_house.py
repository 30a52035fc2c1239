"""What is looked up for probes, kiln, air, the round sheet."""

from __future__ import annotations

from gateway.core import night, people, views, views_air, views_kiln, views_note, views_piece
from gateway.core.site import Place
from gateway.core.state import State
from gateway.web.desk import Desk, NotHere, Row, Shown
from gateway.web.desk_bed import series_of
from gateway.web.pages import bed, floor, kiln, probes

_SHOWN_REJECTED = 1_000


def probe_list(desk: Desk) -> Shown:
    """All probes by their place, and topics nobody knows."""
    site, reader = desk.given.site(), desk.given.reader()
    rows = desk.given.ask(probes.probes)
    with reader.snapshot():
        counts, lines = reader.rejected_counts(), reader.rejected(_SHOWN_REJECTED)
    by_place = [(place, [row for row in rows if row["place"] == place.id]) for place in site.places]
    refused = [one for one in counts if one.probe]
    return "probes.html", {
        "here": "Probes",
        "by_place": [pair for pair in by_place if pair[1]],
        "unknown": probes.unknown(counts, lines),
        "grave": [row for row in rows if row["grave"]],
        "refused": refused[:50],
    }


def which(desk: Desk) -> Shown:
    """Which one is it: the thermometer that rises fastest, big."""
    return "which.html", {"here": "Probes", "rows": probes.in_hand(desk.given.ask(probes.probes))[:5]}


def one_probe(desk: Desk, name: str) -> Shown:
    """One probe: its number, big; its last day; in and out of service; another in its place."""
    site, now_ms, say = desk.given.site(), desk.given.now_ms(), desk.say()
    probe = site.probe.get(name)
    if probe is None:
        raise NotHere("There is no such probe.")

    def look(state: State) -> Row:
        row = next(one for one in probes.probes(state) if one["probe"] == name)
        there = floor.standing(state, probe.place)
        calls = [one for one in there if one["probe"] == name or one["priority"] != "low"]
        return row | {"alarms": calls}

    row = desk.given.ask(look)
    reader, span = desk.given.reader(), (now_ms - 24 * 3_600_000, now_ms)
    with reader.snapshot():
        series = series_of(reader, [probe], span)
        counts = [one for one in reader.rejected_counts() if one.probe == name]
    drawn, unit = None, say.unit_of(probe.quantity, row["kind"])
    if series[name] and probe.quantity == "temperature":
        drawn = bed.drawing(say, [probe], series, span, span[0])
    elif series[name] and unit == "%":
        drawn = bed.gas(say, [probe], series, span, span[0])
    elif series[name]:
        drawn = bed.plain(say, [probe], series, span)
    return "probe.html", {
        "here": "Probes",
        "row": row,
        "probe": probe,
        "alarms": row["alarms"],
        "drawn": drawn,
        "unit_of": unit,
        "counts": counts,
        "swap": probes.swap(probe),
    }


def kilns(desk: Desk) -> Shown:
    """Each kiln: programme against what is measured."""
    found = [_kiln(desk, place) for place in desk.given.site().places if place.kind == "kiln"]
    return "kiln.html", {
        "here": "Kiln",
        "kilns": found,
        "work": kiln.WORK,
    }


def _kiln(desk: Desk, place: Place) -> Row:
    say, reader = desk.say(), desk.given.reader()

    def look(state: State) -> Row:
        found = kiln.kiln(state, place)
        shown = kiln.span(found["lit_ms"], say.now_ms)
        return found | {
            "air": [row for row in views_air.air(state) if row["place"] == place.id],
            "story": _work_of(state, place.id, shown[0]),
        }

    seen = desk.given.ask(look)
    shown = kiln.span(seen["lit_ms"], say.now_ms)
    warm = [one for one in say.site.probes_of[place.id] if one.quantity == "temperature"]
    warm.sort(key=lambda probe: probe.height_cm or 0.0)
    with reader.snapshot():
        series = series_of(reader, warm, shown)
    lines = kiln.steps(seen["told"], seen["lit_ms"], shown)
    drawn = kiln.drawing(say, warm, series, shown, lines) if any(series.values()) else None
    return (
        seen
        | kiln.estimated(say, seen["told"])
        | {
            "place": place,
            "drawn": drawn,
            "marks": kiln.marks(seen["told"]["break"], shown),
            "warm": warm,
            "table": bed.table(warm, series, shown),
            "zero_ms": shown[0],
        }
    )


def _work_of(state: State, place: str, since_ms: int) -> list[Row]:
    """What was recorded at the kiln since it is shown, newest first."""
    return [
        {
            "at": one.when_ms,
            "what": str(one.body.get("what", one.word)).replace("-", " "),
            "by": one.body.get("by"),
            "entry": one.n,
        }
        for one in reversed(state.pieces.records)
        if one.body.get("kiln") == place and not one.void_n and one.when_ms >= since_ms - 3_600_000
    ][:30]


_GRAVE = {"leave": 0, "no_entry": 1, "unknown": 2}


def air(desk: Desk) -> Shown:
    """Air and entry: every place that people enter."""
    site = desk.given.site()
    rows = desk.given.ask(views_air.air)
    places: dict[str, list[Row]] = {}
    for row in rows:
        places.setdefault(row["place"], []).append(row)
    inside = [one | {"place": place} for place, found in places.items() for one in found[0]["inside"]]
    return "air.html", {
        "here": "Air",
        # Where nobody may stay comes first; else as the site file has them.
        "places": sorted(places.items(), key=lambda one: _GRAVE.get(one[1][0]["entry"], len(_GRAVE))),
        "inside": inside,
        "people": site.people,
        "jurisdiction": site.air.jurisdiction,
        "emergency": site.air.emergency,
    }


def round_sheet(desk: Desk) -> Shown:
    """The night on one page, for when the board is dead: what lies where, what to do, lines to fill in."""
    now_ms, site = desk.given.now_ms(), desk.given.site()

    def look(state: State) -> Row:
        until_ms = night.morning_ms(state)
        hours = list(range(now_ms - now_ms % 3_600_000 + 3_600_000, until_ms + 1, 2 * 3_600_000))[:7]
        return {
            "beds": [
                row | {"levels": floor.levels(state, site.place[row["bed"]])} for row in views.beds(state)
            ],
            "walk": sorted(views.tonight(state), key=lambda row: row["start_at"] or row["due_at"]),
            "steeps": [row for row in views_piece.pieces(state) if row["stage"] == "steeping"],
            "hours": hours,
            "until": until_ms,
            "rooms": floor.rooms(state),
            "kilns": views_kiln.kilns(state),
        }

    return "round.html", desk.given.ask(look) | {
        "here": "Round sheet",
        "on": [site.person[who].name for who in people.on_shift(site, now_ms)],
    }


def note(desk: Desk) -> Shown:
    """What one shift left for the next."""
    rows = desk.given.ask(views_note.notes)
    return "note.html", {
        "here": "Hand-over",
        "notes": rows,
        "me_as": desk.me.by,
    }
