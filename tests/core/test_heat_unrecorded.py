"""Grain that nobody recorded: its forecast by the strictest limits; a reason where too little is known."""

from __future__ import annotations

import math
from typing import Any

import pytest

from gateway.core import night_heat, views_heat
from gateway.core.inputs import Cast, Loaded
from gateway.core.reading import CLOCK_UNSURE, Reading
from tests.core.desk import HOUR, MINUTE, START, Desk, minutes
from tests.core.test_heat_night import WORD, house, words


def speak(
    made: Desk, until_min: int, from_min: int = 0, room_c: float | None = 12.0, from_c: float = 18.5
) -> None:
    """Bed A warms by 0.9 K an hour; each minute its two thermometers and the room's speak."""
    for minute in range(from_min, until_min):
        warm_c = from_c + 0.9 * minute / 60 + 0.03 * math.sin(minute)
        said = {"a1": warm_c, "a2": warm_c - 0.4} | ({} if room_c is None else {"room-t": room_c})
        for probe, value_c in said.items():
            made.lay(minute, Reading(probe, START + minute * MINUTE, round(value_c, 2), CLOCK_UNSURE))


def rows(made: Desk) -> list[dict[str, Any]]:
    return [row for row in views_heat.forecast(made.state) if row["bed"] == "bed-a"]


def test_grain_without_a_recorded_piece_is_foretold_by_the_strictest_limits() -> None:
    made = house()
    speak(made, 150)
    [row] = rows(made)

    assert (row["piece"], row["not_yet"]) == (None, None)
    assert row["rate_k_per_h"] == pytest.approx(0.9, abs=0.15)
    assert [(one["name"], one["limit_c"]) for one in row["limits"]] == [
        ("turn_at", 22.0), ("high", 22.0), ("urgent", 25.0)
    ]  # fmt: skip
    # 20.7 C at 22:30, 0.9 an hour, bending: 22 C in an hour and a half.
    assert minutes(row["limits"][1]["at"]) == pytest.approx(150 + 1.4 * 60, abs=20)
    assert row["limits"][1]["early"] < row["limits"][1]["at"] < row["limits"][1]["late"]
    assert row["breathing"]["not_yet"] == "no piece is recorded here"


@pytest.mark.parametrize(
    ("until_min", "room_c", "why"),
    [
        (20, 12.0, "too few readings yet"),
        (150, None, "no piece is recorded here, and no thermometer in the room tells grain from air"),
        (150, 19.0, "no piece is recorded here, and it is hardly warmer than the room"),
    ],
)
def test_where_too_little_is_known_the_row_has_limits_and_a_reason(
    until_min: int, room_c: float | None, why: str
) -> None:
    made = house()
    speak(made, until_min, room_c=room_c)
    [row] = rows(made)

    assert row["not_yet"] == why
    assert (row["points"], row["moments"], row["rate_k_per_h"]) == ([], [], None)
    assert [(one["limit_c"], one["at"]) for one in row["limits"]] == [
        (22.0, None),
        (22.0, None),
        (25.0, None),
    ]


def test_a_bed_recorded_empty_has_a_row_only_once_grain_is_seen_in_it() -> None:
    made = house()
    made.lay(0, Cast("bed-a", "14", when_ms=START - 90 * HOUR))
    made.lay(1, Loaded("bed-a", "kiln"))
    speak(made, 2, room_c=12.0)
    assert rows(made) == []
    assert made.state.heats.heat.beds == {}

    speak(made, 30, from_min=2, from_c=13.0)
    assert made.state.rearmed == ["bed-a"]
    assert rows(made) == [], "no warmer than its room"

    speak(made, 150, from_min=30, from_c=17.0)
    [row] = rows(made)
    assert (row["piece"], row["not_yet"]) == (None, None)


def test_in_the_evening_grain_that_nobody_recorded_is_told_of_too() -> None:
    made = house()
    speak(made, WORD + 10, from_c=19.5)
    [word, _] = words(made)

    assert len(word.text) <= 160
    assert word.text.startswith("HEAT TONIGHT. Bed A no cast recorded 22 C by "), word.text
    assert ", not on the list. Turn sooner or thin it. (" in word.text
    [hot] = night_heat.found(made.state, START + 10 * HOUR)
    assert (hot.piece, hot.turn_ms, hot.limit_c) == (None, None, 22.0)


def test_a_cast_entered_at_last_gives_the_row_its_piece() -> None:
    made = house()
    speak(made, 150)
    made.lay(150, Cast("bed-a", "14", when_ms=START - 50 * HOUR))
    speak(made, 200, from_min=151, from_c=18.5)
    [row] = rows(made)

    assert (row["piece"], row["not_yet"]) == ("14", None)
    assert row["limits"][0]["limit_c"] == 18.0
