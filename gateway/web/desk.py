"""What is looked up for each page: the judge's state, the store, and who asks; no HTTP in here."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from gateway.core import people, views_note, views_piece
from gateway.core.alarm import is_true
from gateway.core.board import Standing
from gateway.core.journey import told
from gateway.core.rules import air_said
from gateway.core.state import State
from gateway.core.wording import start as wording_start
from gateway.web.given import Account, Given
from gateway.web.pages import alarms, floor
from gateway.web.pages.say import Say

Row = dict[str, Any]
Shown = tuple[str, Row]
_UNDO_MS = 60_000
#: A note that nobody marked as read leaves the floor's page after so long (ours).
_NOTE_MS = 36 * 3_600_000
MANY = 2_000
#: While one of these stands nothing new is heard: what the floor shows is how it was.
_BLINDING = ("gateway_broker", "gateway_disk")


class NotHere(Exception):
    """There is no such bed, piece, alarm or probe: the words to show."""


@dataclass(slots=True)
class Desk:
    """One request: what is given, who asks, what the address says."""

    given: Given
    me: Account
    query: Mapping[str, str] = field(default_factory=dict)

    def say(self) -> Say:
        """The writer for this reader, at this moment."""
        return Say(self.given.site(), self.given.now_ms(), self.me.fahrenheit)

    def asked(self, key: str, default: str = "", most: int = 80) -> str:
        """One word of the address, cut to a sensible length."""
        return self.query.get(key, default)[:most]


def common(desk: Desk) -> Row:
    """What the frame of every page shows: who waits for an answer, and what was written down just now."""
    site = desk.given.site()
    lines = desk.given.reader().alarms(False)
    entry = desk.asked("done")
    number = int(entry) if entry.isascii() and entry.isdigit() and len(entry) < 16 else None
    return {
        "calling": alarms.calling([alarms.row(line) for line in lines]),
        "gas_watch": any(
            probe.quantity in ("co2", "co") and site.place[probe.place].kind != "bed" for probe in site.probes
        ),
        "done": desk.given.ask(lambda state: _done(state, number)) if number is not None else None,
    }


def home(desk: Desk) -> Shown:
    """The floor."""
    now_ms, site = desk.given.now_ms(), desk.given.site()
    me = desk.me.by

    def look(state: State) -> Row:
        shown = floor.floor(state)
        shown["questions"] = [
            one | {"piece": _piece_at(state, one["place"])} for one in views_piece.questions(state)
        ]
        shown["fire"] = any(one.finding.subject.kind == "kiln_fire" for one in state.board.standing.values())
        elsewhere = _elsewhere(state)
        shown["blind"] = [one for one in elsewhere if one["kind"] in _BLINDING]
        shown["elsewhere"] = [one for one in elsewhere if one["kind"] not in _BLINDING]
        shown["in_boxes"] = [row["number"] for one in shown["keepout"] for row in one["alarms"]]
        shown["notes"] = [
            one
            for one in views_note.notes(state)
            if me not in one["read_by"] and one["by"] != me and now_ms - one["at"] < _NOTE_MS
        ]
        return shown

    shown = desk.given.ask(look)
    return "floor.html", shown | {
        "here": "Floor",
        "night": people.is_night(site.callout, site.time_zone, now_ms),
    }


def _piece_at(state: State, place: str | None) -> str | None:
    """Whose story a question about a bed is part of."""
    lying = state.pieces.beds.get(place or "")
    return lying.piece if lying else None


def _done(state: State, number: int) -> Row | None:
    """The entry that was made just now and may still be taken back at once."""
    record = state.pieces.find(number)
    if record is None or record.void_n or state.at_ms - record.known_ms > _UNDO_MS:
        return None
    text = told.say(state.site, record)
    place = record.body.get("bed") or record.body.get("steep") or record.body.get("kiln")
    named = state.site.place[place].name + ": " if place in state.site.place else ""
    return {"entry": record.n, "text": named + text, "until": record.known_ms + _UNDO_MS}


def _elsewhere(state: State) -> list[Row]:
    """What stands and is not drawn on a bed."""
    beds = {place.id for place in state.site.places if place.kind == "bed"}
    places = {one.finding.subject.place for one in state.board.standing.values()} - beds
    rows = [row for place in places for row in floor.standing(state, place)]
    rows = [row for row in rows if row["priority"] != "low"]
    for row in rows:
        place = row["place"]
        name = state.site.place[place].name if place in state.site.place else ""
        row["words"] = f"{name}: {alarms.words(row)}" if name else alarms.words(row)
    return sorted(rows, key=floor.urgency)


def alarm_list(desk: Desk) -> Shown:
    """What stands, how it went before, and how much was asked of people."""
    reader, say = desk.given.reader(), desk.say()
    with reader.snapshot():
        lines, notices = reader.alarms(True, MANY), reader.notices(MANY)
    words, stands = desk.asked("q"), alarms.stands(lines, notices)
    over = [line for line in lines if line.alarm.state == "normal"]
    return "alarms.html", {
        "here": "Alarms",
        "stands": stands,
        "listed": alarms.listed(stands),
        "q": words,
        "before": alarms.found(over, words, say),
        "load": alarms.load(lines, say.site, say.now_ms),
    }


def _now(state: State, shown: Row) -> float | None:
    """What an alarm's probe reads now; None where it is not heard or the alarm is over or of no value."""
    window = state.windows.get(shown["probe"] or "")
    measured = shown["value"] is not None and shown["unit"] in ("Cel", "ppm", "%RH")
    if window is None or window.silent or not measured or shown["over"]:
        return None
    return window.value


def _all_out(standing: list[Standing]) -> Row | None:
    """Who said that all are out while the reading was up; None once it is down: then it is asked again."""
    for one in standing:
        if one.all_out_at_ms is not None and is_true(one.state):
            return {"by": one.all_out_by, "at": one.all_out_at_ms}
    return None


def one_alarm(desk: Desk, number: int) -> Shown:
    """One alarm: what is wrong, who was told, who answered, what to do; its sheet."""
    reader, site = desk.given.reader(), desk.given.site()
    with reader.snapshot():
        lines, notices = reader.alarms(True, MANY), reader.notices(MANY)
    line = next((one for one in lines if one.alarm.number == number), None)
    if line is None:
        raise NotHere(f"There is no alarm {number}.")
    shown = alarms.row(line, [one for one in notices if one.notice.alarm == number])
    place = site.place.get(shown["place"] or "")

    def look(state: State) -> Row:
        lying = state.pieces.beds.get(shown["place"] or "")
        standing = [one for one in state.board.standing.values() if one.number == number]
        return {
            "piece": lying.piece if lying else None,
            "answer": standing[0].answer if standing else None,
            "calls": bool(standing) and standing[0].calls,
            "all_out": _all_out(standing),
            "out": wording_start.start(state, place, None).out if place else False,
            "air": air_said.short(state, place) if place else "",
            "now_value": _now(state, shown),
        }

    return "alarm.html", {
        "here": "Alarms",
        "one": shown,
        "sheet": alarms.sheet(shown["kind"]),
        "place": place,
        "gas": shown["kind"].startswith("gas_"),
        **desk.given.ask(look),
    }
