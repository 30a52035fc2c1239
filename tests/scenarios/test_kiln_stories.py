"""The simulator's own kilnings before the engine, whose stoker keeps to the site's programme."""

from __future__ import annotations

import pytest

from tests.scenarios.kiln_stories import NEAR_MIN, play


@pytest.mark.parametrize("seed", [701, 707])
def test_a_plain_kilning_calls_nobody(seed: int) -> None:
    """Both front and probe are in the middle of the load when its draught is more than is guessed."""
    story = play(seed, "plain")
    assert dict(story.alarms) == {}
    assert story.error_min is not None
    assert abs(story.error_min) <= NEAR_MIN


@pytest.mark.parametrize("seed", [701, 702, 705])
def test_a_lost_draught_is_called(seed: int) -> None:
    """No flow is measured: air-off warms, and the front has not passed the grain."""
    assert play(seed, "draught lost", 20.0).alarms["kiln_heating"] == 1
