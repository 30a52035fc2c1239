"""A piece from barley lot to store: stretches, part moves, splits, joins, late entries and corrections."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest

from gateway.core import codec, piece
from gateway.core.inputs import Cast, CouchBroken, KilnWorked, Loaded, Moved, Turned
from gateway.core.inputs_journey import (
    Chitted,
    Corrected,
    HandRead,
    Joined,
    Ordered,
    Ploughed,
    Smelled,
    Split,
    Sprinkled,
    Steeped,
    Stood,
    Thickened,
    Thinned,
    Upheld,
    Voided,
    Withering,
)
from gateway.core.journey import told
from gateway.core.journey.ground import Ground
from gateway.core.journey.record import KEPT_MS, Pieces
from gateway.core.site import Couch, Day, Floor, Place, Programme, Site

HOUR = 3_600_000
#: 2026-03-02 20:00 UTC.
START = 1_772_481_600_000
COUCH = Couch(high_c=24.0, urgent_c=27.0, low_c=8.0, max_h=30.0)


def day(number: float, turn_at_c: float) -> Day:
    return Day(number, 15.0, turn_at_c, 22.0, 25.0, 8.0, 8.0, 12.0)


def place(bed: str, start: float, end: float, programme: str = "plain") -> Place:
    return Place(bed, "bed", f"Bed {bed[-1].upper()}", "lower", start, end, programme=programme)


SITE = Site(
    "quern-hill",
    "Quern Hill Maltings",
    "UTC",
    floors=(Floor("lower", 40.0),),
    places=(
        Place("steep-1", "steep", "Steep 1"),
        place("bed-a", 0, 10),
        place("bed-b", 10, 20),
        place("bed-c", 20, 30, "couched"),
        place("bed-d", 30, 40),
        Place("kiln", "kiln", "Kiln"),
    ),
    programmes=(
        Programme("plain", days=(day(0, 16.0),)),
        Programme("couched", days=(day(0, 16.0),), couch=COUCH),
    ),
)
WALKING = replace(SITE, floors=(Floor("lower", 40.0, pieces="walk", walk_m=2.0),))


class Book:
    """Entries laid one by one, `at` in hours after START; `when`: what really happened earlier."""

    def __init__(self, site: Site = SITE) -> None:
        self.site, self.pieces, self.n = site, Pieces(), 0

    def lay(self, at_h: float, what: Any, when_h: float | None = None) -> int:
        self.n += 1
        at_ms = START + int(at_h * HOUR)
        if when_h is not None:
            what = replace(what, when_ms=START + int(when_h * HOUR))
        if isinstance(what, Corrected | Voided | Upheld):
            self.pieces.put_right(self.site, self.n, what, at_ms)
        else:
            self.pieces.take(self.site, self.n, what, at_ms)
        return self.n

    def stretches(self) -> list[tuple[str, float, float]]:
        return [(part.piece, part.from_m, part.to_m) for part in self.pieces.now.parts]

    def turned(self, bed: str) -> list[tuple[float, float, float]]:
        return [(p.from_m, p.to_m, hours(p.turned_ms)) for p in self.pieces.beds[bed].parts]

    def odd(self) -> list[str]:
        return [record.odd for record in self.pieces.odd()]


def hours(at_ms: int | None) -> float:
    assert at_ms is not None
    return (at_ms - START) / HOUR


def test_a_cast_piece_lies_there_and_an_unnamed_one_gets_the_next_number() -> None:
    book = Book()
    book.lay(0, Cast("bed-a", "14"))
    book.lay(1, Cast("bed-b"))

    assert {bed: one.piece for bed, one in book.pieces.beds.items()} == {"bed-a": "14", "bed-b": "15"}


def test_a_number_once_given_is_not_given_again_when_an_entry_comes_late() -> None:
    book = Book()
    book.lay(0, Cast("bed-a", "14"))
    book.lay(5, Cast("bed-b"))
    book.lay(6, Cast("bed-d"), when_h=2)
    void = book.lay(7, Voided(2))
    book.lay(8, Cast("bed-c"))

    assert {bed: one.piece for bed, one in book.pieces.beds.items()} == {
        "bed-a": "14", "bed-d": "16", "bed-c": "17",
    }  # fmt: skip
    assert void == 4


def test_the_couch_ends_when_broken_or_turned_or_lapsed() -> None:
    book = Book()
    book.lay(0, Cast("bed-c", "1"))

    assert piece.in_couch(book.pieces.beds["bed-c"], START + 29 * HOUR)
    assert not piece.in_couch(book.pieces.beds["bed-c"], START + 30 * HOUR)

    book.lay(20, CouchBroken("bed-c"))

    assert not piece.in_couch(book.pieces.beds["bed-c"], START + 21 * HOUR)
    assert book.turned("bed-c") == [(20, 30, 20)]


def test_a_part_turn_leaves_the_rest_as_old_as_it_was() -> None:
    book = Book()
    book.lay(0, Cast("bed-a", "1"))
    book.lay(5, Turned("bed-a", 0.0, 4.0, by="ada"))
    oldest = piece.oldest_part(book.pieces.beds["bed-a"])

    assert (oldest.from_m, oldest.to_m, hours(oldest.turned_ms)) == (4.0, 10.0, 0)

    book.lay(6, Turned("bed-a", 4.0, None, by="ada"))
    oldest = piece.oldest_part(book.pieces.beds["bed-a"])

    assert (oldest.from_m, oldest.to_m, hours(oldest.turned_ms)) == (0.0, 4.0, 5)


def test_a_turn_recorded_late_is_put_where_it_belongs() -> None:
    book = Book()
    book.lay(0, Cast("bed-a", "1"))
    book.lay(9, Turned("bed-a", 0.0, 5.0))
    book.lay(10, Turned("bed-a", by="ben"), when_h=4)

    assert book.turned("bed-a") == [(0, 5, 9), (5, 10, 4)]


def test_a_turn_said_to_be_of_tomorrow_counts_from_now_and_is_asked_about() -> None:
    book = Book()
    book.lay(0, Cast("bed-a", "1"))
    book.lay(5, Turned("bed-a"), when_h=29)

    assert book.turned("bed-a") == [(0, 10, 5)]
    assert book.odd() == ["Bed A: turned, said to be later than it was recorded"]


def test_what_cannot_be_true_is_kept_and_said_in_plain_words() -> None:
    book = Book()
    book.lay(0, Turned("bed-b"))
    book.lay(1, Cast("bed-a", "14"))
    book.lay(2, Turned("bed-a"), when_h=0.5)
    book.lay(3, Turned("bed-a", 8.0, 2.0))
    book.lay(4, Loaded("bed-d", "kiln"))
    book.lay(5, Cast("bed-a", "15"))
    book.lay(6, Voided(99, why="?"))

    assert book.odd() == [
        "Bed B: turned, but nothing is recorded as lying there",
        "Bed A: turned before piece 14 was cast",
        "Bed A: turned from 8 to 2 m, which is no stretch of it",
        "Bed D: loaded, but nothing is recorded as lying there",
        "Bed A: piece 15 cast where piece 14 lies; is that gone?",
        "Entry 99: no entry about a piece, or too old to be changed",
    ]


def test_a_figure_that_cannot_be_is_kept_asked_about_and_reckoned_from_by_nobody() -> None:
    book = Book()
    book.lay(0, Steeped("steep-1", moisture_wb=120.0, weight_t=8.0))
    book.lay(48, Cast("bed-a", "14", "steep-1"))
    depth = book.lay(49, Thinned("bed-a", 150.5))
    hand = book.lay(50, HandRead("bed-a", 174.0, at_m=3.0))
    share = book.lay(51, Chitted("bed-a", 120.0))
    water = book.lay(52, Sprinkled("bed-a", -3.0))
    book.lay(53, HandRead("bed-d", 174.0))

    assert book.odd() == [
        "Steep 1: a moisture of 120 % cannot be",
        "Bed A: a depth of 150.5 cm cannot be",
        "Bed A: a reading of 174 C cannot be",
        "Bed A: a share of 120 % cannot be",
        "Bed A: -3 litres cannot be",
        "Bed D: a reading of 174 C cannot be",
    ]
    mine = book.pieces.now.pieces["14"]
    assert (mine.moisture_wb, mine.weight_t, mine.depth_cm, mine.hand) == (None, 8.0, None, [])

    book.lay(60, Corrected(depth, depth_cm=15.5))
    book.lay(60, Corrected(hand, c=17.4, height_cm=8.0))
    book.lay(60, Corrected(share, share_pct=95.0))
    book.lay(60, Corrected(water, litres=120.0))
    assert len(book.odd()) == 2
    mine = book.pieces.now.pieces["14"]
    assert (mine.depth_cm, [(one.c, one.at_m, one.height_cm) for one in mine.hand]) == (
        15.5,
        [(17.4, 3.0, 8.0)],
    )


def test_a_number_that_has_lain_elsewhere_for_days_is_asked_about_and_a_lot_cast_on_two_beds_is_not() -> None:
    book = Book()
    book.lay(0, Cast("bed-a", "14"))
    book.lay(20, Cast("bed-b", "14"))
    assert book.odd() == []

    again = book.lay(60, Cast("bed-d", "14"))

    assert book.odd() == [
        (
            "Bed D: piece 14 cast 60 h apart from piece 14 in Bed A and Bed B: both are told as one; "
            "are they? Two pieces want two numbers"
        )
    ]
    book.lay(61, Voided(again, why="it is 17"))
    book.lay(61, Cast("bed-d", "17"), when_h=60)
    assert book.odd() == []
    assert [one.pieces for one in book.pieces.beds.values()] == [["14"], ["14"], ["17"]]


def test_an_entry_that_did_not_fit_fits_once_the_cast_is_recorded_late() -> None:
    book = Book()
    book.lay(5, Turned("bed-a"))
    assert len(book.odd()) == 1

    book.lay(6, Cast("bed-a", "14"), when_h=0)

    assert book.odd() == []
    assert book.turned("bed-a") == [(0, 10, 5)]


def test_a_correction_supersedes_and_a_void_takes_back_and_comes_back() -> None:
    book = Book()
    book.lay(0, Cast("bed-a", "1"))
    book.lay(0, Cast("bed-b", "2"))
    turn = book.lay(8, Turned("bed-a", by="ada"))
    wrong = book.lay(9, Corrected(turn, bed="bed-b", by="cleo", done_by="ben"), when_h=7)

    assert book.turned("bed-a") == [(0, 10, 0)]
    assert book.turned("bed-b") == [(10, 20, 7)]
    assert book.pieces.beds["bed-b"].parts[0].by == "ben"

    void = book.lay(10, Voided(wrong, why="no"))
    assert book.turned("bed-b") == [(10, 20, 0)]

    book.lay(11, Voided(void, why="yes"))
    assert book.turned("bed-b") == [(10, 20, 7)]


def test_an_odd_entry_that_is_upheld_is_asked_about_no_longer() -> None:
    book = Book()
    odd = book.lay(0, Turned("bed-a"))
    book.lay(1, Upheld(odd, why="old malt"))

    assert book.odd() == []


def test_a_move_empties_the_bed_and_keeps_the_turn_clock() -> None:
    book = Book()
    book.lay(0, Cast("bed-a", "1"))
    book.lay(3, Turned("bed-a"))
    book.lay(5, Moved("bed-a", "bed-b"))

    assert list(book.pieces.beds) == ["bed-b"]
    assert book.pieces.empty == ["bed-a"]
    assert book.turned("bed-b") == [(10, 20, 3)]


def test_a_half_moved_piece_lies_in_two_beds_and_then_in_one() -> None:
    book = Book()
    book.lay(0, Cast("bed-a", "1"))
    book.lay(5, Moved("bed-a", "bed-b", from_m=5.0, to_m=10.0, onto_from_m=10.0, onto_to_m=15.0))

    assert book.stretches() == [("1", 0, 5), ("1", 10, 15)]
    assert {bed: one.piece for bed, one in book.pieces.beds.items()} == {"bed-a": "1", "bed-b": "1"}

    book.lay(6, Moved("bed-a", "bed-b", onto_from_m=15.0, onto_to_m=20.0))

    assert book.stretches() == [("1", 10, 15), ("1", 15, 20)]
    assert book.pieces.empty == ["bed-a"]
    assert book.odd() == []


def test_two_pieces_may_lie_in_one_bed_and_the_younger_gives_the_limits() -> None:
    book = Book()
    book.lay(0, Cast("bed-a", "1"))
    book.lay(24, Cast("bed-b", "2", from_m=15.0, to_m=20.0))
    book.lay(30, Moved("bed-a", "bed-b", onto_from_m=10.0, onto_to_m=15.0))
    lying = book.pieces.beds["bed-b"]

    assert (lying.piece, hours(lying.cast_ms)) == ("1/2", 24)
    assert book.odd() == []


def test_a_piece_moved_onto_another_joins_it_as_old_as_the_older() -> None:
    book = Book()
    book.lay(0, Cast("bed-a", "1"))
    book.lay(5, Cast("bed-b", "2"))
    book.lay(6, Moved("bed-a", "bed-b"))

    assert book.pieces.beds["bed-b"].piece == "2+1"
    assert hours(book.pieces.beds["bed-b"].cast_ms) == 0
    assert book.odd() == ["Bed B: piece 1 moved onto piece 2; the two are one now"]


def test_half_a_piece_moved_onto_a_couch_joins_it_and_the_other_half_stays_what_it_was() -> None:
    book = Book()
    book.lay(0, Cast("bed-a", "1"))
    book.lay(70, Cast("bed-c", "2"))
    book.lay(72, Moved("bed-a", "bed-c", from_m=5.0, to_m=10.0))

    assert book.stretches() == [("1", 0, 5), ("2+1", 20, 30)]
    assert not piece.in_couch(book.pieces.beds["bed-c"], START + 73 * HOUR), "grain that grows is no couch"
    assert hours(book.pieces.beds["bed-c"].cast_ms) == 0
    assert book.pieces.now.pieces["1"].into is None
    assert book.pieces.now.pieces["2"].into == "2+1"


def test_pieces_join_and_split_by_name() -> None:
    book = Book()
    book.lay(0, Cast("bed-a", "1"))
    book.lay(5, Cast("bed-b", "2"))
    book.lay(6, Joined("2", "1", "3"))

    assert book.stretches() == [("3", 0, 10), ("3", 10, 20)]
    assert hours(book.pieces.beds["bed-b"].cast_ms) == 0

    book.lay(7, Split("bed-b", 15.0, 20.0, "4"))

    assert book.stretches() == [("3", 0, 10), ("3", 10, 15), ("4", 15, 20)]
    assert hours(book.pieces.now.pieces["4"].cast_ms) == 0
    assert book.odd() == []


def test_a_piece_walks_down_the_floor_as_it_is_turned_and_not_over_the_next() -> None:
    book = Book(WALKING)
    book.lay(0, Cast("bed-a", "1"))
    book.lay(0, Cast("bed-b", "2"))
    book.lay(8, Turned("bed-b"))
    book.lay(9, Turned("bed-a"))
    book.lay(16, Turned("bed-a"))

    assert book.stretches() == [("1", 2, 12), ("2", 12, 22)]
    assert set(book.pieces.beds) == {"bed-a", "bed-b", "bed-c"}
    assert book.pieces.beds["bed-b"].pieces == ["1", "2"]

    book.lay(17, Loaded("bed-c", "kiln"))

    assert book.stretches() == [("1", 2, 12)]
    assert book.pieces.kilns["kiln"].piece == "2"


def test_a_turn_may_say_where_the_piece_lies_since() -> None:
    book = Book()
    book.lay(0, Cast("bed-c", "1"))
    book.lay(8, Turned("bed-c", onto_from_m=24.0, onto_to_m=36.0))

    assert book.stretches() == [("1", 24, 36)]
    assert set(book.pieces.beds) == {"bed-c", "bed-d"}


def test_the_steep_gives_the_piece_its_lot_and_is_empty_after() -> None:
    book = Book()
    book.lay(0, Steeped("steep-1", "24-117", "Maris", 12.0, 8.0))
    book.lay(0.2, Stood("steep-1", "wet", 12.5))
    book.lay(8, Stood("steep-1", "dry"))
    stands = [(one.kind, one.water_c) for one in book.pieces.now.steeps["steep-1"].stands]
    book.lay(48, Cast("bed-a", "14"))
    mine = book.pieces.now.pieces["14"]

    assert stands == [("wet", 12.5), ("dry", None)]
    assert (mine.lot, mine.weight_t, hours(mine.steeped_ms)) == ("24-117", 8.0, 0)
    assert book.pieces.now.steeps == {}
    assert [(one.kind, one.place) for one in told.series(book.pieces, SITE, "14")] == [
        ("steep", "steep-1"),
        ("bed", "bed-a"),
    ]
    assert [one.record.word for one in told.story(book.pieces, SITE, "14")] == [
        "steeped",
        "steep-stand",
        "steep-stand",
        "cast",
    ]
    assert book.odd() == []


def test_the_fire_counts_from_the_first_lighting_until_it_is_drawn() -> None:
    book = Book()
    book.lay(1, KilnWorked("lit"))
    book.lay(5, KilnWorked("relit"))

    assert hours(book.pieces.kilns["kiln"].lit_ms) == 1

    book.lay(9, KilnWorked("drawn"))

    assert book.pieces.kilns["kiln"].lit_ms is None


def test_what_lay_where_is_known_for_any_moment_and_so_is_one_piece_s_way() -> None:
    book = Book()
    book.lay(0, Cast("bed-a", "1"))
    book.lay(24, Cast("bed-c", "2"))
    book.lay(30, Moved("bed-a", "bed-b", from_m=5.0, to_m=10.0, onto_from_m=10.0, onto_to_m=15.0))
    book.lay(100, Loaded("bed-a", "kiln"))
    book.lay(101, Loaded("bed-b", "kiln"))
    book.lay(130, KilnWorked("stripped"))
    book.lay(131, KilnWorked("to-store"))

    def at(hour: float) -> list[tuple[str, str, float | None, float | None]]:
        found = told.lay_where(book.pieces, SITE, START + int(hour * HOUR))
        return [(one.piece, one.place, one.from_m, one.to_m) for one in found]

    assert at(-1) == []
    assert at(0) == [("1", "bed-a", 0, 10)]
    assert at(29.9) == [("1", "bed-a", 0, 10), ("2", "bed-c", 20, 30)]
    assert at(30) == [("1", "bed-a", 0, 5), ("1", "bed-b", 10, 15), ("2", "bed-c", 20, 30)]
    assert at(100.5) == [("1", "bed-b", 10, 15), ("2", "bed-c", 20, 30), ("1", "kiln", None, None)]
    assert at(132) == [("2", "bed-c", 20, 30)]
    way = [
        (one.place, hours(one.from_ms), hours(one.until_ms)) for one in told.series(book.pieces, SITE, "1")
    ]
    assert way[:4] == [("bed-a", 0, 30), ("bed-a", 30, 100), ("bed-b", 30, 101), ("kiln", 100, 130)]
    assert told.stage(book.pieces.now, book.pieces.now.pieces["1"], 0) == "store"


def test_notes_are_kept_on_the_piece_and_depth_is_the_newest() -> None:
    book = Book()
    book.lay(0, Cast("bed-a", "1"))
    book.lay(1, Thickened("bed-a", 30.0))
    book.lay(10, Thinned("bed-a", 12.0))
    book.lay(11, HandRead("bed-a", 16.4, at_m=3.0, height_cm=6.0, by="ada"))
    book.lay(12, Smelled("bed-a", "apples"))
    book.lay(13, Withering("bed-a"))
    book.lay(14, Thinned("bed-a", 20.0))
    mine = book.pieces.now.pieces["1"]

    assert (mine.depth_cm, mine.hand[0].c, hours(mine.withering_ms)) == (20.0, 16.4, 13)
    assert book.pieces.beds["bed-a"].withering
    assert book.odd() == ["Bed A: thinned to 20 cm from 12 cm"]
    assert [told.say(SITE, one.record) for one in told.story(book.pieces, SITE, "1")][:4] == [
        "cast",
        "thickened to 30 cm",
        "thinned to 12 cm",
        "by hand 16.4 C at 3 m, 6 cm up",
    ]


def test_a_forgotten_stripping_is_asked_about_and_the_new_piece_is_in_the_kiln() -> None:
    book = Book()
    book.lay(0, Cast("bed-a", "1"))
    book.lay(0, Cast("bed-b", "2"))
    book.lay(100, Loaded("bed-a"))
    book.lay(150, Loaded("bed-b"))

    assert book.pieces.kilns["kiln"].piece == "2"
    assert book.odd() == ["Kiln: piece 2 loaded, and nobody recorded that piece 1 was stripped"]


def test_a_clock_set_back_leaves_nothing_in_the_future() -> None:
    book = Book()
    book.lay(0, Cast("bed-a", "1"))
    book.lay(1000, Turned("bed-a"))
    book.pieces.not_after(SITE, START + 5 * HOUR)

    assert book.turned("bed-a") == [(0, 10, 5)]


@pytest.mark.parametrize(
    ("hours_since", "expected"),
    [(0, 16.0), (24, 16.0), (36, 16.5), (48, 17.0), (60, 17.5), (72, 18.0), (200, 18.0)],
)
def test_limits_hold_at_their_day_and_ramp_between(hours_since: float, expected: float) -> None:
    programme = Programme("floor", days=(day(0, 16.0), day(1, 16.0), day(2, 17.0), day(3, 18.0)))

    assert piece.day_figure(programme, hours_since, "turn_at_c") == expected


def _anything(rng: random.Random) -> Any:
    bed, other = rng.choice(["bed-a", "bed-b", "bed-c", "bed-d"]), rng.choice(["bed-a", "bed-d"])
    low, high = rng.uniform(-5, 45), rng.uniform(-5, 45)
    return rng.choice(
        [
            Steeped("steep-1", piece=rng.choice([None, "40"])),
            Stood("steep-1", rng.choice(["wet", "dry"])),
            Cast(bed, rng.choice([None, "7", "8"])),
            Cast(bed, from_m=low, to_m=high),
            CouchBroken(bed),
            Turned(bed),
            Turned(bed, low, high),
            Turned(bed, onto_from_m=low, onto_to_m=high),
            Ploughed(bed, low, None),
            Thinned(bed, 10.0),
            Sprinkled(bed),
            Chitted(bed),
            Withering(bed),
            HandRead(bed, 16.0),
            Moved(bed, other),
            Moved(bed, other, from_m=low, to_m=high),
            Moved(bed, other, onto_from_m=low, onto_to_m=high),
            Joined("7", "8"),
            Split(bed, low, high, rng.choice(["9", "10"])),
            Loaded(bed),
            Loaded(bed, from_m=low, to_m=high),
            KilnWorked(rng.choice(["lit", "drawn", "stripped", "to-store"])),
            Ordered(bed, START + 10 * HOUR, why="warm"),
        ]
    )


def _whole(ground: Ground) -> Any:
    return codec.plain(ground)


@pytest.mark.parametrize("site", [SITE, WALKING])
@pytest.mark.parametrize("seed", range(15))
def test_any_order_of_recording_comes_to_what_happened(seed: int, site: Site) -> None:
    """The same happenings, recorded in time or late and out of order, leave the same ground."""
    rng = random.Random(seed)
    # Pieces are named: the next number depends on who records first.
    happened = [
        replace(w, piece="7") if isinstance(w, Cast) else w for w in (_anything(rng) for _ in range(60))
    ]
    happened = [replace(what, when_ms=START + index * HOUR) for index, what in enumerate(happened)]
    happened = [replace(what, steep="steep-1") if isinstance(what, Cast) else what for what in happened]
    in_time, late = Pieces(), Pieces()
    for n, what in enumerate(happened, 1):
        in_time.take(site, n, what, START + 100 * HOUR)
    for n, what in sorted(enumerate(happened, 1), key=lambda _: rng.random()):
        late.take(site, n, what, START + 100 * HOUR)

    assert _whole(late.now) == _whole(in_time.now)
    assert [record.odd for record in late.records] == [record.odd for record in in_time.records]


@pytest.mark.parametrize("site", [SITE, WALKING])
@pytest.mark.parametrize("seed", range(15))
def test_nothing_overlaps_and_old_entries_put_onto_the_base_change_nothing(seed: int, site: Site) -> None:
    rng = random.Random(seed + 500)
    book = Book(site)
    for step in range(120):
        what = _anything(rng)
        late = rng.random() < 0.2 and not isinstance(what, Cast)
        book.lay(step * 8, what, when_h=max(0.0, step * 8 - rng.uniform(0, 60)) if late else None)
        if rng.random() < 0.1:
            book.lay(step * 8 + 1, Voided(rng.randrange(1, book.n + 1), why="wrong"))
        parts = book.pieces.now.parts
        for one, after in pairwise(parts):
            assert one.ground != after.ground or after.from_m >= one.to_m - 1e-9
        assert all(part.to_m > part.from_m for part in parts)
        number = book.pieces.now.number
        again = Pieces(base=book.pieces.base, records=book.pieces.records)
        again._again(site)
        again.now.number = number
        assert _whole(again.now) == _whole(book.pieces.now)
        assert all(record.known_ms >= START + step * 8 * HOUR - KEPT_MS for record in book.pieces.records[:1])
    kept = codec.plain(book.pieces)
    assert codec.plain(codec.restore(Pieces, kept)) == kept
