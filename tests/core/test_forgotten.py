"""What was recorded late, by mistake, or of a probe that goes on sending: watch and words stay true."""

from __future__ import annotations

from dataclasses import replace

import pytest

from gateway.core.inputs import Cast, Loaded, PutInService, PutOutOfService, Turned
from tests.core.desk import HOUR, START, Desk, minutes, site, temperature

H = 60


def desk(air_c: float | None = None) -> Desk:
    """A bed with a piece; with a thermometer in its room where `air_c` is given."""
    whole = site()
    probes = (*whole.probes, temperature("room-air", "room"))
    places = tuple(replace(one, floor="lower") if one.id == "room" else one for one in whole.places)
    made = Desk(site(probes=probes, places=places) if air_c is not None else whole)
    made.lay(0, Cast("bed-a", "14"))
    return made


def stay(
    made: Desk, start: int, end: int, bed_c: float, per_h: float = 0.0, air_c: float | None = None
) -> None:
    """A reading each five minutes of the bed along a straight line, and of its room's air."""
    for minute in range(start, end, 5):
        made.read(minute, "a1", bed_c + per_h * (minute - start) / 60)
        if air_c is not None:
            made.read(minute, "room-air", air_c)


def signals(made: Desk, kind: str) -> list[str]:
    return [one.change.signal for one in made.alarms(kind)]


def test_a_hot_bed_recorded_empty_by_mistake_calls_again_when_it_does_not_cool_to_its_room() -> None:
    made = desk(12.0)
    stay(made, 5, 30, 24.0, air_c=12.0)
    made.lay(30, Loaded("bed-a", "kiln"))
    stay(made, 30, 75, 24.0, air_c=12.0)
    assert signals(made, "bed_hot") == ["raise", "clear"], "the last load's warmth may take so long"

    stay(made, 75, 130, 24.0, air_c=12.0)
    assert signals(made, "bed_hot") == ["raise", "clear", "lapse", "raise"]
    raised_min = minutes(made.alarms("bed_hot")[-1].raised_at_ms)
    assert raised_min is not None
    assert raised_min <= 30 + 45 + 30
    assert "no cast recorded" in made.notices()[-1].text


@pytest.mark.parametrize(("per_h", "air_c"), [(-1.0, 12.0), (0.0, 23.0)], ids=["it cools", "it is the air's"])
def test_an_emptied_bed_that_cools_or_is_as_warm_as_its_room_calls_nobody(per_h: float, air_c: float) -> None:
    made = desk(air_c)
    made.lay(5, Loaded("bed-a", "kiln"))
    stay(made, 5, 180, 24.5, per_h, air_c)
    assert made.alarms("bed_hot") == []


def _recorded_empty(bed_c: float, per_h: float = 0.0) -> Desk:
    """Loaded after half an hour, its probes heard for four hours more, and then no more; the room's are."""
    made = desk(12.0)
    stay(made, 5, 30, 18.0, air_c=12.0)
    made.lay(30, Loaded("bed-a", "kiln"))
    stay(made, 30, 270, bed_c, per_h, 12.0)
    for minute in range(270, 600, 5):
        made.read(minute, "room-air", 12.0)
    return made


@pytest.mark.parametrize("per_h", [0.0, 0.3, -0.2], ids=["it keeps warm", "it warms", "it hardly cools"])
def test_a_bed_recorded_empty_by_mistake_is_watched(per_h: float) -> None:
    made = _recorded_empty(18.0, per_h)
    assert signals(made, "bed_unwatched") == ["raise"]
    raised_min = minutes(made.alarms("bed_unwatched")[0].raised_at_ms)
    assert raised_min is not None
    assert raised_min == pytest.approx(270 + 30, abs=6)
    assert made.notices()[0].text.startswith("BED A NOT BEING WATCHED since 00:2")

    made.lay(600, Loaded("bed-a", "kiln", by="ada", why="looked: it is empty"))
    made.wait(900)
    assert signals(made, "bed_unwatched")[:2] == ["raise", "clear"]
    assert made.state.unwatched == []


def test_a_bed_recorded_empty_on_which_nobody_recorded_the_next_piece_is_watched() -> None:
    made = desk(12.0)
    made.lay(5, Loaded("bed-a", "kiln"))
    stay(made, 5, 120, 12.4, air_c=12.0)
    stay(made, 120, 240, 15.0, air_c=12.0)
    for minute in range(240, 400, 5):
        made.read(minute, "room-air", 12.0)
    assert signals(made, "bed_unwatched") == ["raise"]


def test_an_empty_bed_whose_probes_are_switched_off_is_silent() -> None:
    at_once = desk(12.0)
    stay(at_once, 5, 30, 18.0, air_c=12.0)
    at_once.lay(30, Loaded("bed-a", "kiln"))
    at_once.wait(10 * H)
    air, cooling, day = _recorded_empty(12.3), _recorded_empty(18.0, -0.6), _recorded_empty(11.8, 0.4)
    grain_gone = desk(12.0)
    grain_gone.lay(5, Loaded("bed-a", "kiln"))
    stay(grain_gone, 5, 240, 18.0, air_c=12.0)
    assert grain_gone.state.unrecorded == ["bed-a"]
    stay(grain_gone, 240, 270, 13.0, air_c=12.0)
    grain_gone.wait(10 * H)
    for made in (at_once, air, cooling, day, grain_gone):
        assert signals(made, "bed_unwatched") == []


def test_a_turn_recorded_late_answers_the_overdue_turn_it_moves_on() -> None:
    made = desk()
    made.wait(12 * H + 1)
    made.lay(13 * H, Turned("bed-a", by="ben", when_ms=START + 11 * HOUR))
    assert signals(made, "turn_overdue") == ["raise", "answer", "clear"]
    assert made.alarms("turn_overdue")[-1].state == "normal"
    assert made.alarms("turn_overdue")[-1].answered_by == "ben"


def test_half_a_turn_recorded_late_answers_too_and_an_older_turn_than_the_last_does_not() -> None:
    made = desk()
    made.lay(1 * H, Turned("bed-a", by="ada"))
    made.wait(13 * H + 1)
    made.lay(13 * H + 2, Turned("bed-a", by="ben", when_ms=START + HOUR // 2))
    assert signals(made, "turn_overdue") == ["raise"]

    made.lay(14 * H, Turned("bed-a", 0.0, 5.0, by="ben", when_ms=START + 12 * HOUR))
    assert signals(made, "turn_overdue") == ["raise", "answer"]


def test_a_turn_recorded_late_holds_no_heat_calls() -> None:
    made = desk()
    stay(made, 5, 3 * H, 23.0)
    made.lay(3 * H, Turned("bed-a", by="ben", when_ms=START + HOUR))
    assert signals(made, "bed_hot") == ["raise"]


def test_an_overdue_turn_says_by_when_it_was_wanted_and_which_part_waits() -> None:
    made = Desk(site(probes=(temperature("a1", "bed-a"),)))
    made.lay(0, Cast("bed-a", "14"))
    stay(made, 5, 2 * H, 15.0, 0.1)
    made.lay(2 * H, Turned("bed-a", 0.0, 5.0, by="ada"))
    stay(made, 2 * H, 12 * H + 5, 15.0, 0.1)
    text = made.notices()[-1].text
    assert text.startswith("TURN OVERDUE piece 14, Bed A")
    assert "anted by 04:00, now 08:00. 16.0 C. Kiln-end half not done. " in text
    assert " Air the room, then turn. Reply 101 GO" in text


def test_a_bed_whose_last_probe_was_put_out_of_service_is_unwatched_since_then_though_it_sends_on() -> None:
    made = desk()
    stay(made, 5, 30, 16.0)
    made.lay(20, PutOutOfService("a2", "broken"))
    made.lay(30, PutOutOfService("a1", "cable"))
    stay(made, 31, 60, 16.0)
    made.wait(60)
    texts = [one.text for one in made.notices()]
    assert len(texts) > 4
    assert all(text.startswith("BED A NOT BEING WATCHED since 20:") for text in texts)
    assert {text.split("since ")[1][:5] for text in texts} <= {"20:25", "20:30"}

    made.lay(60, PutInService("a1"))
    assert made.state.out_since_ms == {"a2": START + 20 * 60_000}


def test_a_hot_bed_that_fell_silent_rings_with_what_was_heard_last_and_when() -> None:
    made = desk()
    for minute in range(1, 25):
        made.read(minute, "a1", 23.0)
    made.wait(3 * H)
    texts = [one.text for one in made.notices() if one.text.startswith("PIECE 14 HOT")]
    assert "Bed A day 0: 23.0 C, limit 22" in texts[0]
    assert "Bed A day 0: 23.0 C at 20:24, limit 22" in texts[-1]
    assert not any("no value" in text for text in texts)
