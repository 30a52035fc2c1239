"""A hot bed whose probes come out of it is not cooler: they hang in the room's air, or a turn is at work."""

from __future__ import annotations

import pytest

from gateway.core.inputs import Cast
from gateway.core.reading import OWN_TIME, RANGE_HIGH, Reading
from tests.core.desk import MINUTE, START, Desk, site, temperature
from tests.core.test_engine import signals


def hot(room_c: float = 12.0) -> Desk:
    """Bed A called at 22.5 C, for half an hour; a thermometer hangs in its room."""
    plain = site()
    desk = Desk(site(probes=(*plain.probes, temperature("room-t", "room"))))
    desk.lay(0, Cast("bed-a", "14"))
    for minute in range(1, 31):
        read(desk, minute, 22.5, room_c)
    assert [signal for _, signal, _ in signals(desk, "bed_hot")] == ["raise"]
    return desk


def read(desk: Desk, minute: int, bed_c: float, room_c: float) -> None:
    for probe in ("a1", "a2"):
        desk.read(minute, probe, bed_c)
    desk.read(minute, "room-t", room_c)


def out(desk: Desk, from_min: int, to_min: int, room_c: float = 12.0, first_c: float = 22.5) -> None:
    """They come to the air with a probe's lag."""
    for minute in range(from_min, to_min):
        read(desk, minute, room_c + (first_c - room_c) * 2.0 ** -((minute - from_min + 1) / 3.0), room_c)


def test_probes_on_a_hook_do_not_end_a_heat_alarm_before_they_should_be_back() -> None:
    desk = hot()
    out(desk, 31, 70)
    assert [signal for _, signal, _ in signals(desk, "bed_hot")] == ["raise"]
    text = [notice.text for notice in desk.notices() if notice.kind == "repeat"][-1]
    assert "probes out?" in text
    out(desk, 70, 90, first_c=12.1)
    assert [signal for _, signal, _ in signals(desk, "bed_hot")] == ["raise", "clear"]


def test_probes_put_back_into_hot_grain_are_the_same_alarm() -> None:
    desk = hot()
    out(desk, 31, 50)
    for minute in range(50, 70):
        read(desk, minute, 22.4, 12.0)
    assert [signal for _, signal, _ in signals(desk, "bed_hot")] == ["raise"]


@pytest.mark.parametrize(("after_c", "room_c"), [(17.5, 12.0), (15.2, 12.0), (19.8, 19.6)])
def test_grain_that_a_turn_cooled_ends_it_after_the_off_delay(after_c: float, room_c: float) -> None:
    """Nor is anything held where the room is nearly as warm as the limit."""
    desk = hot(room_c)
    for minute in range(31, 50):
        read(desk, minute, after_c, room_c)
    told = signals(desk, "bed_hot")
    assert [signal for _, signal, _ in told] == ["raise", "clear"]
    assert told[-1][0] is not None
    assert told[-1][0] <= 42.0


def test_a_probe_at_the_end_of_its_range_is_told_as_at_least_that() -> None:
    desk = Desk()
    desk.lay(0, Cast("bed-a", "14"))
    for minute in range(1, 15):
        desk.lay(minute, Reading("a1", START + minute * MINUTE, 24.0, OWN_TIME | RANGE_HIGH))
    (call,) = desk.notices()
    assert call.text.startswith("PIECE 14 HOT. Bed A day 0: 24.0 C, or more, limit 22")
