"""Pieces and beds: what lies where, the couch, part turns, and entries that cannot be true."""

from __future__ import annotations

import pytest

from gateway.core import piece
from gateway.core.piece import Pieces
from gateway.core.site import Couch, Day, Place, Programme

HOUR = 3_600_000
A = Place("bed-a", "bed", "Bed A", "lower", 0.0, 10.0)
B = Place("bed-b", "bed", "Bed B", "lower", 10.0, 20.0)
COUCH = Couch(high_c=24.0, urgent_c=27.0, low_c=8.0, max_h=30.0)


def day(number: float, turn_at_c: float) -> Day:
    return Day(number, 15.0, turn_at_c, 22.0, 25.0, 8.0, 8.0, 12.0)


def test_a_cast_piece_lies_there_and_an_unnamed_one_gets_the_next_number() -> None:
    pieces = Pieces()
    pieces.cast(A, None, "14", 0)
    pieces.cast(B, None, None, HOUR)

    assert pieces.beds["bed-a"].piece == "14"
    assert pieces.beds["bed-b"].piece == "15"


def test_the_couch_ends_when_broken_or_turned_or_lapsed() -> None:
    pieces = Pieces()
    pieces.cast(A, COUCH, "1", 0)
    lying = pieces.beds["bed-a"]

    assert piece.in_couch(lying, 29 * HOUR)
    assert not piece.in_couch(lying, 30 * HOUR)

    pieces.break_couch("bed-a", 20 * HOUR)

    assert not piece.in_couch(lying, 21 * HOUR)
    assert piece.oldest_part(lying).turned_ms == 20 * HOUR


def test_a_part_turn_leaves_the_rest_as_old_as_it_was() -> None:
    pieces = Pieces()
    pieces.cast(A, None, "1", 0)
    pieces.turn(A, 0.0, 4.0, 5 * HOUR, "Ada")
    oldest = piece.oldest_part(pieces.beds["bed-a"])

    assert (oldest.from_m, oldest.to_m, oldest.turned_ms) == (4.0, 10.0, 0)

    pieces.turn(A, 4.0, None, 6 * HOUR, "Ada")
    oldest = piece.oldest_part(pieces.beds["bed-a"])

    assert (oldest.from_m, oldest.to_m, oldest.turned_ms) == (0.0, 4.0, 5 * HOUR)


def test_an_entry_of_an_older_turn_changes_nothing_newer() -> None:
    pieces = Pieces()
    pieces.cast(A, None, "1", 0)
    pieces.turn(A, None, None, 9 * HOUR, "Ada")
    pieces.turn(A, None, None, 4 * HOUR, "Ben")

    assert piece.oldest_part(pieces.beds["bed-a"]).turned_ms == 9 * HOUR


def test_what_cannot_be_true_is_kept_and_said() -> None:
    pieces = Pieces()
    pieces.turn(A, None, None, 0, "Ada")
    pieces.cast(A, None, "1", 10 * HOUR)
    pieces.turn(A, None, None, 9 * HOUR, "Ada")
    pieces.turn(A, 8.0, 2.0, 11 * HOUR, "Ada")
    pieces.load("bed-b", "kiln")

    assert [text.split(":")[0] for text in pieces.odd] == ["bed-a", "bed-a", "bed-a", "bed-b"]


def test_a_move_empties_the_bed_and_keeps_the_turn_clock() -> None:
    pieces = Pieces()
    pieces.cast(A, None, "1", 0)
    pieces.turn(A, None, None, 3 * HOUR, "Ada")
    pieces.move(A, B, 5 * HOUR)

    assert list(pieces.beds) == ["bed-b"]
    assert pieces.empty == ["bed-a"]
    assert piece.oldest_part(pieces.beds["bed-b"]).turned_ms == 3 * HOUR


def test_a_piece_moved_onto_another_joins_it_as_old_as_the_older() -> None:
    pieces = Pieces()
    pieces.cast(A, None, "1", 0)
    pieces.cast(B, None, "2", 5 * HOUR)
    pieces.move(A, B, 6 * HOUR)

    assert pieces.beds["bed-b"].piece == "2+1"
    assert pieces.beds["bed-b"].cast_ms == 0


def test_the_fire_counts_from_the_first_lighting_until_it_is_drawn() -> None:
    pieces = Pieces()
    pieces.kiln("kiln", "lit", 1 * HOUR)
    pieces.kiln("kiln", "relit", 5 * HOUR)

    assert pieces.kilns["kiln"].lit_ms == 1 * HOUR

    pieces.kiln("kiln", "drawn", 9 * HOUR)

    assert pieces.kilns["kiln"].lit_ms is None


@pytest.mark.parametrize(
    ("hours", "expected"),
    [(0, 16.0), (24, 16.0), (36, 16.5), (48, 17.0), (60, 17.5), (72, 18.0), (200, 18.0)],
)
def test_limits_hold_at_their_day_and_ramp_between(hours: float, expected: float) -> None:
    programme = Programme("floor", days=(day(0, 16.0), day(1, 16.0), day(2, 17.0), day(3, 18.0)))

    assert piece.day_figure(programme, hours, "turn_at_c") == expected
