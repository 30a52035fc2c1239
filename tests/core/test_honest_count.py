"""Thermometers counted out at loading: who was not seen in the room's air is asked about, and nobody else."""

from __future__ import annotations

import pytest

from gateway.core import engine, views_piece
from gateway.core.inputs import Cast, Loaded, Moved
from gateway.core.inputs_journey import Upheld, Voided
from tests.core.desk import HOUR, START, Desk
from tests.core.test_honest import _desk, _minutes

LOADED_MIN = 120


def _lie(room_c: float = 12.0) -> Desk:
    """Bed A with two thermometers at 17, over a room of `room_c`, for two hours."""
    desk = _desk()
    desk.lay(0, Cast("bed-a", "14", when_ms=START - 120 * HOUR))
    _minutes(desk, 1, LOADED_MIN, a1=17.0, a2=17.2, r1=room_c)
    return desk


def _asked(desk: Desk) -> list[str]:
    return [row["text"] for row in views_piece.questions(desk.state) if "Count them" in row["text"]]


def test_both_seen_to_come_out_is_no_question() -> None:
    desk = _lie()
    desk.lay(LOADED_MIN, Loaded("bed-a"))
    _minutes(desk, LOADED_MIN + 1, LOADED_MIN + 70, a1=12.3, a2=12.1, r1=12.0)
    assert _asked(desk) == []


def test_drawn_before_the_loading_is_recorded_is_no_question() -> None:
    desk = _lie()
    _minutes(desk, LOADED_MIN, LOADED_MIN + 40, a1=12.3, a2=12.1, r1=12.0)
    desk.lay(LOADED_MIN + 40, Loaded("bed-a"))
    _minutes(desk, LOADED_MIN + 41, LOADED_MIN + 130, a1=12.3, a2=12.1, r1=12.0)
    assert _asked(desk) == []


def _lost(desk: Desk) -> None:
    """a2 goes along with the grain, which warms on the kiln."""
    desk.lay(LOADED_MIN, Loaded("bed-a"))
    for minute in range(LOADED_MIN + 1, LOADED_MIN + 58):
        _minutes(desk, minute, minute + 1, a1=12.3, a2=17.0 + minute / 60.0, r1=12.0)


def test_one_that_reads_like_grain_is_asked_about_after_an_hour() -> None:
    desk = _lie()
    _lost(desk)
    assert _asked(desk) == [], "an hour is theirs to hang it up"
    desk.state = engine.load(engine.dump(desk.state))
    _minutes(desk, LOADED_MIN + 58, LOADED_MIN + 66, a1=12.3, a2=20.0, r1=12.0)
    [text] = _asked(desk)
    assert "1 of 2 thermometers were seen to come out; not a2." in text
    assert text.startswith("Bed A: emptied at 22:00, ")


def test_found_and_hung_in_the_air_ends_the_question() -> None:
    desk = _lie()
    _lost(desk)
    _minutes(desk, LOADED_MIN + 58, LOADED_MIN + 70, a1=12.3, a2=20.0, r1=12.0)
    assert len(_asked(desk)) == 1
    _minutes(desk, LOADED_MIN + 70, LOADED_MIN + 90, a1=12.3, a2=12.2, r1=12.0)
    assert _asked(desk) == []


@pytest.mark.parametrize("answer", [Upheld, Voided])
def test_somebody_counted_or_it_never_happened(answer: type) -> None:
    desk = _lie()
    _lost(desk)
    desk.wait(LOADED_MIN + 66)
    [row] = [row for row in views_piece.questions(desk.state) if "Count them" in row["text"]]
    desk.lay(LOADED_MIN + 67, answer(entry=row["entry"], why="two counted"))
    assert _asked(desk) == []


def test_grain_as_cool_as_the_room_lets_nobody_tell_and_all_are_to_be_counted() -> None:
    desk = _lie(room_c=17.0)
    desk.lay(LOADED_MIN, Loaded("bed-a"))
    _minutes(desk, LOADED_MIN + 1, LOADED_MIN + 70, a1=17.0, a2=17.0, r1=17.0)
    [text] = _asked(desk)
    assert "0 of 2 thermometers were seen to come out; not a1, a2." in text


def test_a_bed_moved_is_counted_and_a_part_of_one_is_not() -> None:
    part, whole = _lie(), _lie()
    part.lay(LOADED_MIN, Loaded("bed-a", from_m=0.0, to_m=5.0))
    whole.lay(LOADED_MIN, Moved("bed-a", "bed-b"))
    for desk in (part, whole):
        _minutes(desk, LOADED_MIN + 1, LOADED_MIN + 70, a1=17.0, a2=17.2, r1=12.0)
    assert (len(_asked(part)), len(_asked(whole))) == (0, 1)


def test_a_move_that_is_asked_about_is_counted_as_well_and_each_question_is_answered_by_itself() -> None:
    desk = _lie()
    desk.lay(1, Cast("bed-b", "13", when_ms=START - 120 * HOUR))
    desk.lay(LOADED_MIN, Loaded("bed-b", when_ms=START + HOUR))
    desk.lay(LOADED_MIN, Loaded("bed-a"))
    [odd] = [row for row in views_piece.questions(desk.state) if row["place"] == "bed-a"]
    desk.lay(LOADED_MIN + 5, Upheld(entry=odd["entry"], why="both in it"))
    _minutes(desk, LOADED_MIN + 6, LOADED_MIN + 70, a1=17.0, a2=17.2, r1=12.0)
    [row] = [row for row in views_piece.questions(desk.state) if row["place"] == "bed-a"]
    assert "0 of 2 thermometers were seen to come out" in row["text"]
    desk.lay(LOADED_MIN + 71, Upheld(entry=row["entry"], why="two counted"))
    assert [row["place"] for row in views_piece.questions(desk.state)] == ["bed-b"]


def test_a_bed_on_which_nothing_lay_is_not_counted() -> None:
    desk = _lie()
    desk.lay(LOADED_MIN, Loaded("bed-a"))
    _minutes(desk, LOADED_MIN + 1, LOADED_MIN + 70, a1=12.3, a2=12.2, r1=12.0)
    desk.lay(LOADED_MIN + 70, Moved("bed-a", "bed-b"))
    desk.wait(LOADED_MIN + 140)
    assert _asked(desk) == []


def test_after_three_days_nobody_is_asked_any_more() -> None:
    desk = _lie()
    _lost(desk)
    desk.wait(LOADED_MIN + 71 * 60)
    assert len(_asked(desk)) == 1
    desk.wait(LOADED_MIN + 72 * 60 + 10)
    assert _asked(desk) == []
