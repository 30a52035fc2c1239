"""A week at Quern Hill, its numbers printed: turns seen, forecasts, calls; and that it can be told again.

The aims are those the product is built to; what is asserted leaves room for the chance of one week.
`python -m tests.scenarios.bed_weeks` prints the same over hundreds of bed-weeks.
"""

import json
from pathlib import Path

import pytest

from gateway.core import engine, rows
from gateway.replay import run_inputs
from simulators.picture import beds, draw, read_lines
from tests.scenarios.floor import HOUR
from tests.scenarios.story import show
from tests.scenarios.week import Habits, Week, live, write
from tests.scenarios.week_site import settings, tables
from tests.scenarios.week_sums import sums, told


def test_forty_probes_hang_on_two_floors() -> None:
    site = tables()
    assert len(site["probe"]) == 40
    assert len({place["floor"] for place in site["place"] if place["kind"] == "bed"}) == 2


@pytest.fixture(scope="module")
def week() -> Week:
    """Two days are as good as seven for what is asserted; the whole week is printed by the long test."""
    return live(11, 2.0, Habits(slips=0.2, outdoors_c=14.0))


@pytest.mark.long
def test_two_days_are_seen_foretold_and_called(week: Week) -> None:
    found = sums(week)
    show("\n".join(told(found)))
    assert found.true_turns >= 20
    assert found.seen_turns >= 0.9 * found.true_turns
    assert found.right_turns >= 0.9 * found.told_turns
    assert found.failed == []
    assert found.missed == []
    assert found.needless_hot == []
    for ahead_h, most_k in ((2, 0.3), (4, 0.6)):
        errors = sorted(found.errors_k[ahead_h])
        assert len(errors) > 30
        assert errors[len(errors) // 2] <= most_k


@pytest.mark.long
def test_its_picture_is_drawn_from_what_it_writes(week: Week, tmp_path: Path) -> None:
    pytest.importorskip("matplotlib", reason="the extra `picture` is not installed")
    write(week, tmp_path)
    truth, effects, forecasts = (
        read_lines(tmp_path / f"{name}.jsonl") for name in ("truth", "effects", "forecasts")
    )
    found = beds(truth, effects, forecasts)
    assert all(bed.forecasts and bed.known for bed in found.values())
    draw(found, tmp_path / "week.png")
    assert (tmp_path / "week.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.long
def test_the_same_inputs_give_the_same_effects_and_a_restart_changes_nothing(
    week: Week, tmp_path: Path
) -> None:
    write(week, tmp_path)
    site = settings(tmp_path).site
    run_inputs(site, tmp_path / "inputs.jsonl", tmp_path / "again.jsonl", lambda text: None)
    kinds = ("alarm", "turn")
    first = _lines(tmp_path / "effects.jsonl", kinds)
    again = _lines(tmp_path / "again.jsonl", kinds)
    assert len(first) > 50
    assert first == again
    state = week.state
    assert state is not None
    data = engine.dump(state)
    assert engine.dump(engine.load(data)) == data
    show(f"state {len(data) / 6 / 1000:.1f} kB a bed and its share of the rooms")


def _lines(path: Path, kinds: tuple[str, ...]) -> list[rows.Row]:
    found = [json.loads(line) for line in path.read_text().splitlines()]
    return [
        {key: value for key, value in line.items() if key not in ("cause", "at")}
        for line in found
        if line["kind"] in kinds
    ]


@pytest.mark.long
def test_a_whole_week() -> None:
    found = sums(live(12, 7.0, Habits(outdoors_c=11.0)))
    show("\n".join(told(found)))
    assert found.failed == []
    assert found.missed == []
    assert found.readings > 6 * 24 * HOUR / 60_000 * 35


@pytest.mark.long
def test_beds_that_are_turned_again_half_an_hour_later() -> None:
    """Warm days: whoever is called turns once more what was just turned. Each turn is told by itself."""
    warm = Habits(
        every_h=8.3, slips=0.15, slip_h=4.3, records_late=0.14, answers_after_min=39.0, outdoors_c=14.8
    )
    found = sums(live(10410, 3.9, warm))
    show("\n".join(told(found)))
    assert found.true_turns >= 100
    assert found.seen_turns >= 0.93 * found.true_turns
    assert found.right_turns >= 0.97 * found.told_turns
