"""The kiln's page says what the judge goes by: the stage that was reached, never one by time alone."""

from __future__ import annotations

from gateway.core.inputs import KilnWorked
from gateway.web.pages import kiln
from tests.scenarios.kilns import HOUR, START, Kilning, World

LIT = KilnWorked("lit", "kiln")


def test_the_stage_on_the_page_is_the_judges_and_begins_when_its_conditions_came() -> None:
    told = Kilning(World(programme=((0.0, 45.0), (99.0, 45.0))), people={0.5: LIT}).play(26.0)
    place = told.state.site.place["kiln"]
    before = kiln.kiln(told.state, place)
    assert (before["stage"]["name"], before["told"]["air_on_limit_c"]) == ("first drying", 50.0)
    shown = kiln.span(before["lit_ms"], told.state.at_ms)
    _, limit = kiln.steps(before["told"], before["lit_ms"], shown)
    assert limit == {"name": "limit", "points": [(shown[0], 50.0), (shown[1], 50.0)]}

    told.people[26.01] = KilnWorked("hand-dry", "kiln")
    told.play(0.2)
    after = kiln.kiln(told.state, place)
    assert (after["stage"]["name"], after["stage"]["target_c"]) == ("second drying", 52.0)
    shown = kiln.span(after["lit_ms"], told.state.at_ms)
    _, limit = kiln.steps(after["told"], after["lit_ms"], shown)
    (_, low), (until, _), (since, high), (ends, _) = limit["points"]
    assert (low, high, until, ends) == (50.0, 57.0, since, shown[1])
    assert since - START >= 26 * HOUR, "not at its hour: hand-dry was recorded long after"


def test_without_a_fire_the_limit_in_force_stands_alone() -> None:
    told = Kilning(World(programme=((0.0, 20.0), (99.0, 20.0)))).play(0.5)
    found = kiln.kiln(told.state, told.state.site.place["kiln"])
    assert found["stage"] is None
    (line,) = kiln.steps(found["told"], None, (0, 10))
    assert line["points"] == [(0, found["told"]["air_on_limit_c"]), (10, found["told"]["air_on_limit_c"])]
