"""Tables about pieces: tonight's list, where each piece is, its story, and what to ask in daylight."""

from __future__ import annotations

from rich.text import Text

from gateway.core.rows import Row
from gateway.core.wording.start import KEEP_OUT
from gateway.show.tables import Shown, cell, table
from gateway.show.words import Eyes, number

_BAD = "bold red"
_STAGES = {"working": "on the floor", "kiln": "in the kiln", "store": "in store", "stripped": "stripped"}


def tonight(found: list[Row], eyes: Eyes) -> Shown:
    """Steeps, then the beds in walking order: the time to start, the line, and what becomes of it if left."""
    lines = (
        [
            cell(
                "stay out" if row["entry"] in KEEP_OUT else eyes.time(row["start_at"]),
                "not by one" if not row["fits"] else "",
                style=_late(row),
            ),
            cell(row["line"], f"If left: {row['if_left']}", f"Air: {row['air']}", style=_late(row)),
        ]
        for row in found
    )
    return table(("Start", "What"), lines)


def _late(row: Row) -> str:
    return "" if row["fits"] and row["entry"] not in KEEP_OUT else _BAD


def pieces(found: list[Row], eyes: Eyes) -> Shown:
    """One piece a row: what it is, where, how far."""
    return table(("Piece", "Where", "How far"), (_piece(row, eyes) for row in found))


def _piece(row: Row, eyes: Eyes) -> list[Text]:
    lot = ", ".join(f"{key} {row[key]}" for key in ("lot", "variety", "recipe") if row[key])
    weight = number(row["weight_t"], "t") if row["weight_t"] is not None else ""
    day = f"day {row['day']}" if row["day"] is not None else ""
    warm = ""
    if row["thermal_kh"] is not None and row["thermal_watched_h"]:
        warm = f"{row['thermal_kh']:.0f} K·h above {row['thermal_base_c'] or 0:g} °C"
        warm += f" in {row['thermal_watched_h']:.0f} h watched (base: grade D)"
    return [
        cell(row["piece"], lot, weight),
        cell(_where(row, eyes), _STAGES.get(row["stage"], row["stage"])),
        cell(day, warm, row["depth_cm"] is not None and f"{row['depth_cm']:g} cm deep"),
    ]


def _where(row: Row, eyes: Eyes) -> str:
    open_ends = [stay for stay in row["way"] if stay["until"] is None]
    return ", ".join(f"{eyes.place(stay['place'])}{_metres(stay)}" for stay in open_ends)


def _metres(row: Row) -> str:
    return f" {row['from_m']:g}–{row['to_m']:g} m" if row["from_m"] is not None else ""


def story(found: list[Row], eyes: Eyes) -> Shown:
    """One piece's entries in the order in which they happened, with the numbers to put them right by."""
    lines = [
        [cell(""), cell(eyes.time(one["steeped_at"] or one["cast_at"])), _head(one, eyes)] for one in found
    ]
    for row in found:
        for one in row["story"]:
            by = f"by {eyes.who(one['by'])}" if one["by"] else ""
            back = "taken back" if one["taken_back"] else one["odd"] or ""
            said = ", ".join(part for part in (eyes.place(one["place"]), one["text"], by) if part)
            lines.append([cell(one["entry"]), cell(eyes.time(one["at"])), cell(said, one["why"], back)])
        for stay in row["way"]:
            until = f"until {eyes.time(stay['until'])}" if stay["until"] else "still"
            text = f"lay in {eyes.place(stay['place'])}{_metres(stay)} {until}"
            lines.append([cell(""), cell(eyes.time(stay["from"])), cell(text)])
    return table(("Entry", "At", "What"), lines)


def _head(row: Row, eyes: Eyes) -> Text:
    return cell(*(one.plain for one in _piece(row, eyes)))


def lay(found: list[Row], eyes: Eyes) -> Shown:
    """One stretch a row: which piece lay where, since when."""
    lines = (
        [
            cell(f"{eyes.place(row['place'])}{_metres(row)}"),
            cell(row["piece"] or "a lot"),
            cell(eyes.time(row["from"]), row["until"] and f"to {eyes.time(row['until'])}"),
        ]
        for row in found
    )
    return table(("Where", "Piece", "Since"), lines)


def questions(found: list[Row], eyes: Eyes) -> Shown:
    """One question a row, with the number of the entry it is about."""
    lines = (
        [
            cell(row["entry"] if row["entry"] is not None else ""),
            cell(eyes.time(row["at"])),
            cell(row["text"], row["by"] and f"recorded by {eyes.who(row['by'])}"),
        ]
        for row in found
    )
    return table(("Entry", "At", "What"), lines)


def notes(found: list[Row], eyes: Eyes) -> Shown:
    """One note a row, the newest first, with the number by which it is said to be read."""
    lines = (
        [
            cell(row["entry"]),
            cell(eyes.time(row["at"]), eyes.who(row["by"]) if row["by"] else ""),
            cell(row["text"], _read_by(row, eyes)),
        ]
        for row in found
    )
    return table(("Entry", "Left", "Note"), lines)


def _read_by(row: Row, eyes: Eyes) -> str:
    return f"read by {', '.join(map(eyes.who, row['read_by']))}" if row["read_by"] else "not read yet"
