"""Whatever the probes say and people record, the judge goes on.

A reading that made it fail would be in the journal, and would fail it again after each restart.
"""

import random
from pathlib import Path
from typing import Any

import pytest

from gateway.core import engine, views, views_air, views_heat, views_kiln, views_piece
from gateway.core.asked import KILN_WORK
from gateway.core.inputs import (
    Cast,
    ClockStepped,
    CouchBroken,
    Entry,
    KilnWorked,
    Loaded,
    Moved,
    Resumed,
    SiteChanged,
    Started,
    Turned,
)
from gateway.core.reading import CLOCK_UNSURE, OWN_TIME, RANGE_HIGH, Reading
from gateway.core.site import Probe, Site
from gateway.settings import load
from tests.scenarios.week_site import settings

START = 1_768_197_600_000
MINUTE = 60_000
EXAMPLE = Path(__file__).resolve().parents[2] / "config" / "quern-hill.toml"


def _value(rng: random.Random, probe: Probe, last: float) -> float:
    """What a payload may carry: mostly near the last or the same, at times the ends of what is plausible."""
    low = -100.0 if probe.plausible_low is None else probe.plausible_low
    high = 1e6 if probe.plausible_high is None else probe.plausible_high
    draw = rng.random()
    if draw < 0.02:
        return rng.choice((low, high, 0.0, -0.0, (low + high) / 2, low + 1e-9, high - 1e-9))
    if draw < 0.04:
        return rng.uniform(low, high)
    step = {"temperature": 0.3, "humidity": 1.0}.get(probe.quantity, 0.01 * abs(last) + 1.0)
    return min(high, max(low, last + rng.gauss(0.0, step) * (draw > 0.3)))


def _event(rng: random.Random, site: Site, at_ms: int) -> Any:
    beds = [place.id for place in site.places if place.kind == "bed"]
    bed, when = rng.choice(beds), at_ms - rng.choice((0, 0, 1, 30, 600)) * MINUTE
    kiln = KilnWorked(rng.choice(KILN_WORK), "kiln", by="ada", when_ms=when)
    return rng.choice(
        (
            Cast(bed, by="ada", when_ms=when),
            CouchBroken(bed, when_ms=when),
            Turned(bed, by="ben", when_ms=when),
            Turned(bed, 0.0, 5.0, by="ben", when_ms=when),
            Moved(bed, rng.choice(beds), when_ms=when),
            Loaded(bed, "kiln", when_ms=when),
            kiln,
            kiln,
            ClockStepped(rng.choice((-1, 1)) * rng.choice((1000, 400_000, 7_200_000))),
            Resumed(rng.choice((60_000, 3_600_000))),
        )
    )


def _lived(site: Site, seed: int, minutes: int) -> engine.State:
    rng = random.Random(f"any {seed}")
    state, n, at_ms, run_ms = engine.new(), 0, START, START
    entries: list[Entry] = []

    def add(what: Any) -> None:
        nonlocal n
        n += 1
        entries.append(Entry(n, at_ms, run_ms, what))

    add(Started("any"))
    add(SiteChanged(site))
    last = {
        probe.id: {"temperature": 16.0, "humidity": 80.0}.get(probe.quantity, 600.0) for probe in site.probes
    }
    for minute in range(minutes):
        at_ms += MINUTE
        run_ms += MINUTE
        for probe in site.probes:
            if rng.random() < 0.05:
                continue
            last[probe.id] = _value(rng, probe, last[probe.id])
            flags = rng.choice((0, OWN_TIME, OWN_TIME, CLOCK_UNSURE, OWN_TIME | RANGE_HIGH))
            measured_ms = at_ms + rng.choice((0, 0, 0, -500, -90_000, -5_400_000, 200_000))
            add(Reading(probe.id, measured_ms, last[probe.id], flags))
        if rng.random() < 0.04:
            event = _event(rng, site, at_ms)
            add(event)
            at_ms += event.by_ms if isinstance(event, ClockStepped) else 0
        engine.advance(state, entries, run_ms)
        entries.clear()
        if minute % 60 == 59:
            _look(state)
            state = engine.load(engine.dump(state))
    return state


def _look(state: engine.State) -> None:
    views.beds(state)
    views.probes(state)
    views.tonight(state)
    views_heat.forecast(state)
    views_piece.pieces(state, None)
    views_piece.questions(state)
    views_air.air(state)
    views_kiln.kilns(state)


@pytest.mark.parametrize("seed", range(3))
def test_the_judge_goes_on_whatever_it_is_told(seed: int, tmp_path: Path) -> None:
    site = settings(tmp_path).site if seed % 2 else load(EXAMPLE, {}, with_secrets=False).site
    state = _lived(site, seed, 240)
    assert state.at_ms > START


@pytest.mark.long
@pytest.mark.parametrize("seed", range(100, 120))
def test_for_days(seed: int, tmp_path: Path) -> None:
    site = settings(tmp_path).site if seed % 2 else load(EXAMPLE, {}, with_secrets=False).site
    assert _lived(site, seed, 2000).at_ms > START
