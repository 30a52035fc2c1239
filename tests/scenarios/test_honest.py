"""Probes of the simulated floor left on their hooks, or stuck: which are found, and who is doubted wrongly.

What was done to which probe is known here; nothing of it reaches the judge.
"""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import replace

import pytest

from gateway.core import views
from gateway.core.effects import AlarmChange
from simulators.mishaps import Timed
from tests.scenarios.floor import HOUR, Night, live
from tests.scenarios.story import show
from tests.scenarios.turns import START, Told, entries

#: Turned in turn; at each one other probe is left on its hook, and put back hours later.
TURNS = ((1.5, "bed-c"), (3.0, "bed-a"), (4.0, "bed-b"))
LEFT = (("bed-c-low", 1.9, 4.6), ("bed-a-mid", 3.4, 6.0), ("bed-b-low", 4.4, 7.0))


@pytest.fixture(scope="module")
def night() -> Night:
    """Eight hours; three beds turned, in each one probe forgotten; the rest of the twelve put back."""
    orders = [(out_h, {"hook": probe}) for probe, out_h, _ in LEFT]
    orders += [(back_h, {"back": probe}) for probe, _, back_h in LEFT]
    return live(START, 8.0, turns=TURNS, orders=orders, seed=3)


def _hours(told: Told, night: Night, kind: str) -> list[tuple[str | None, str, float]]:
    """(probe, signal, hours after the night began) of one kind of finding."""
    found = []
    for one in told.effects:
        if isinstance(one, AlarmChange) and one.kind == kind:
            at_ms = one.change.at_ms
            found.append((one.probe, one.change.signal, round((at_ms - night.start_ms) / HOUR, 2)))
    return found


@pytest.mark.parametrize("recorded", [True, False], ids=["recorded", "seen"])
def test_a_probe_left_on_its_hook_is_found_and_the_others_are_spared(night: Night, recorded: bool) -> None:
    told = Told(entries(night, night.done if recorded else []))
    said = _hours(told, night, "probe_not_back")
    show(f"left on hooks {LEFT}, told: {said}")
    begun = {probe: at for probe, signal, at in said if signal == "raise"}
    over = {probe: at for probe, signal, at in said if signal == "clear"}
    assert begun.keys() == over.keys() == {probe for probe, _, _ in LEFT}
    for probe, out_h, back_h in LEFT:
        # 45 min after the turn; a turn that is only recorded may take an hour from then.
        assert out_h < begun[probe] <= out_h + 2.0
        assert back_h <= over[probe] <= back_h + 0.2
    doubts = Counter(
        one.kind for one in told.effects
        if isinstance(one, AlarmChange) and one.kind.startswith("probe_") and one.change.signal == "raise"
    )  # fmt: skip
    assert doubts == {"probe_not_back": len(LEFT)}
    assert not [row for row in views.probes(told.state) if row["state"] not in ("alive", "waiting")]


def test_restarts_while_probes_are_out_change_nothing(night: Night) -> None:
    found = entries(night, night.done)
    around = [e.n for e in found if 1.4 * HOUR <= e.at_ms - night.start_ms <= 7.2 * HOUR]
    assert Told(found, around[::400]).effects == Told(found).effects


def test_a_stuck_thermometer_in_a_bed_that_warms_is_found(night: Night) -> None:
    """Stuck for four hours after nine hours of life; nobody else's stillness is taken for it."""
    stuck = live(
        START,
        13.5,
        turns=[(9.2, "bed-c")],
        orders=[(9.0, {"stuck": {"probe": "bed-c-mid", "for_s": 4 * 3600}})],
        seed=5,
    )
    told = Told(entries(stuck, stuck.done))
    said = _hours(told, stuck, "probe_stuck")
    show(f"stuck from 9.0 to 13.0 h; told: {said}")
    assert [(probe, signal) for probe, signal, _ in said] == [("bed-c-mid", "raise"), ("bed-c-mid", "clear")]
    assert 10.0 <= said[0][2] <= 12.5
    assert 13.0 <= said[1][2] <= 13.2


DRIFT_BEDS = ("bed-a", "bed-b", "bed-c")
#: Each turned four times in twenty-eight hours; the thermometer gains 0.15 K an hour.
DRIFT_TURNS = tuple((h + i * 0.7, bed) for h in (3.0, 10.0, 17.0, 24.0) for i, bed in enumerate(DRIFT_BEDS))
DRIFTS, DRIFT_K_PER_H = "bed-c-mid", 0.15


def _drifted(night: Night) -> Night:
    """The night as one thermometer told it that drifts upward from its beginning."""

    def said(one: Timed) -> Timed:
        if not one.topic.endswith(f"/{DRIFTS}"):
            return one
        body = json.loads(one.payload)
        hours = one.at_s / 3600 - night.start_ms / HOUR
        body["v"] = round(body["v"] + DRIFT_K_PER_H * hours, 2)
        return one._replace(payload=json.dumps(body).encode())

    return replace(night, messages=[said(one) for one in night.messages])


def test_a_thermometer_that_drifts_is_told_after_turns_and_honest_ones_are_spared() -> None:
    night = live(START, 28.0, turns=DRIFT_TURNS, seed=7)
    honest, drifting = Told(entries(night, night.done)), Told(entries(_drifted(night), night.done))
    assert _hours(honest, night, "probe_drifts") == []
    said = _hours(drifting, night, "probe_drifts")
    show(f"drifts {DRIFT_K_PER_H} K an hour; bed C turned from 4.4 h each 7 h; told: {said}")
    assert [(probe, signal) for probe, signal, _ in said] == [(DRIFTS, "raise")]
    # Over 1 K from the others after three turns of its bed: those of 11.4, 18.4 and 25.4 hours.
    assert 25.4 < said[0][2] <= 27.5
    [row] = [row for row in views.probes(drifting.state) if row["probe"] == DRIFTS]
    assert row["state"] == "drifting"
