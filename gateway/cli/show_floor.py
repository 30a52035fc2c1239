"""What the commands about pieces answer: rows, the line above, and whether it is bad news."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from gateway.core import moment, views, views_heat, views_kiln, views_note, views_piece
from gateway.core.engine import State
from gateway.core.rows import Row
from gateway.core.rules import air_said
from gateway.errors import SettingsFault
from gateway.show import documents, tables, tables_floor, tables_heat, tables_kiln, words
from gateway.show.words import Eyes


class Told(NamedTuple):
    """The document's rows, what stands above the table, the table, and if it is bad."""

    rows: list[Row]
    head: str
    table: Callable[[list[Row], Eyes], tables.Shown]
    bad: bool


def tonight(state: State) -> Told:
    """What wants doing tonight."""
    found = documents.tonight(views.tonight(state))
    beds = sum(row["what"] == "turn" for row in found)
    late = sum(not row["fits"] for row in found)
    head = words.count(beds, "bed") + " to turn"
    head += f", {len(found) - beds} in the steeps" if len(found) > beds else ""
    head = f"{head}; {late} not in one person's time" if late else head
    return Told(found, "\n".join([head, *_rooms(state)]), tables_floor.tonight, False)


def _rooms(state: State) -> list[str]:
    """The air of each room, before anybody goes in for the night's turning."""
    rooms = [place for place in state.site.places if place.kind == "room"]
    return [f"{room.name}: {air_said.long(state, room)}." for room in rooms]


def forecast(state: State) -> Told:
    """What each bed will do if nobody turns it."""
    found = documents.forecast(views_heat.forecast(state))
    told = sum(row["not_yet"] is None for row in found)
    head = f"{words.count(len(found), 'bed')}, {told} foretold; nine in ten lie in the brackets"
    return Told(found, head, tables_heat.forecast, False)


def kiln(state: State) -> Told:
    """How far each kiln's load is, and what its probes say."""
    found = documents.kiln(views_kiln.kilns(state))
    hot = sum(_is_hot(row) for row in found)
    head = words.count(len(found), "kiln") + (f", {hot} too hot" if hot else "")
    head += ". Moisture is estimated, heat damage an index. No guard against fire."
    return Told(found, head, tables_kiln.kilns, hot > 0)


def _is_hot(row: Row) -> bool:
    over = row["air_on_c"] is not None and row["air_on_c"] >= row["air_on_limit_c"]
    grain = [one for one in row["grain"] if one["limit_c"] is not None and one["value_c"] >= one["limit_c"]]
    return over or bool(grain)


def pieces(state: State, name: str | None) -> Told:
    """All pieces on their way, or one with its story."""
    found = documents.pieces(views_piece.pieces(state, name))
    if name is None:
        return Told(found, words.count(len(found), "piece"), tables_floor.pieces, False)
    head = f"Piece {name}" if found else f"There is no piece {name}."
    return Told(found, head, tables_floor.story, not found)


def lay(state: State, when: str | None) -> Told:
    """What lay where at a time; raises SettingsFault for a time that cannot be read."""
    try:
        at_ms = state.at_ms if when is None else moment.typed(when, state.at_ms, state.site.time_zone)
    except ValueError as fault:
        raise SettingsFault(f"--at: {fault}") from fault
    found = documents.lay(views_piece.lay(state, at_ms))
    at = moment.local(at_ms, state.site.time_zone, state.at_ms)
    return Told(found, f"What lay where at {at}", tables_floor.lay, False)


def questions(state: State) -> Told:
    """What is to be asked in daylight."""
    found = documents.questions(views_piece.questions(state))
    head = words.count(len(found), "question") if found else "Nothing to ask."
    return Told(found, head, tables_floor.questions, bool(found))


def notes(state: State) -> Told:
    """What those before have left written."""
    found = documents.notes(views_note.notes(state))
    unread = sum(not row["read_by"] for row in found)
    head = words.count(len(found), "note") + (f", {unread} not read yet" if unread else "")
    return Told(found, head, tables_floor.notes, False)
