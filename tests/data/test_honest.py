"""Probes truly stuck, or reading too low, are named in the recorded series; those that stood still are not.

Sources stand in `series.py` and in the README beside the data. Which runs were truly stuck is from there: of
BlackSmithFork2015 conductivity and oxygen for 25.2 h from 30 October 12:15, acidity 0.0 for 114 h from 26
October 19:15. What is not a quantity of ours (conductivity ...) is laid before the detector alone.
"""

from __future__ import annotations

import csv
import gzip
from collections.abc import Callable, Iterable
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

import pytest

from gateway.core import engine, views
from gateway.core.effects import AlarmChange
from gateway.core.estimate import honest
from gateway.core.estimate.honest_state import Figures, Track
from gateway.core.inputs import Entry, Input, Refused, SiteChanged, Started
from gateway.core.reading import OWN_TIME, Reading
from tests.data import series as sources
from tests.data.line import SENTINELS
from tests.data.series import DATA, Series
from tests.scenarios.story import show

pytestmark = pytest.mark.data
HOUR_MS, DAY_MS = 3_600_000, 86_400_000
QUARTER_MS = 900_000


class Run(NamedTuple):
    """A run called stuck: from when, found how many hours after that, over when; by the data's own clock."""

    began: str
    found_h: float
    ended: str


def _stuck_runs(readings: Iterable[tuple[int, float]], every_ms: int) -> list[Run]:
    track, figures, found = Track(), Figures(), list[Run]()
    open_at: tuple[int, int] | None = None
    for at_ms, value in readings:
        honest.take(track, at_ms, value, every_ms, figures, 1.0)
        is_stuck = honest.stuck(track, figures, every_ms, moved=False)
        if is_stuck and open_at is None:
            open_at = track.since_ms, at_ms
            track.faults["probe_stuck"] = at_ms
        elif not is_stuck and open_at is not None:
            found.append(Run(_clock(open_at[0]), (open_at[1] - open_at[0]) / HOUR_MS, _clock(at_ms)))
            open_at = None
            del track.faults["probe_stuck"]
    if open_at is not None:
        found.append(Run(_clock(open_at[0]), (open_at[1] - open_at[0]) / HOUR_MS, "still"))
    return found


def _clock(at_ms: int) -> str:
    return datetime.fromtimestamp(at_ms / 1000, sources.UTC).strftime("%m-%d %H:%M")


def _column(station: str, column: str) -> list[tuple[int, float]]:
    with gzip.open(DATA / "lro-river-sondes" / f"{station}.csv.gz", "rt") as file:
        rows = [(row["datetime"], row[column]) for row in csv.DictReader(file)]
    found = [
        (round(datetime.fromisoformat(at).replace(tzinfo=sources.UTC).timestamp() * 1000), float(text))
        for at, text in rows
        if text not in ("", "NULL")
    ]
    return [(at, value) for at, value in found if value not in SENTINELS]


#: The truly stuck runs of each column. Of 2019 only runs of 0.0 in several columns at once, which is a fault
#: by the README ("all-zero"), and oxygen 0.0 for days.
TRULY: dict[tuple[str, str], list[str]] = {
    ("BlackSmithFork2015", "temp"): [],
    ("BlackSmithFork2015", "cond"): ["10-30 12:15"],
    ("BlackSmithFork2015", "ph"): ["10-26 19:15"],
    ("BlackSmithFork2015", "do"): ["10-30 12:15"],
    ("BlackSmithFork2015", "turb"): [],
    ("BlackSmithFork2015", "stage"): [],
    ("MainStreet2019", "temp"): ["08-15 20:15", "08-16 06:00"],
    ("MainStreet2019", "cond"): ["08-15 20:15", "08-16 06:00"],
    ("MainStreet2019", "ph"): [],
    ("MainStreet2019", "do"): ["08-11 03:30", "08-15 16:30"],
    ("MainStreet2019", "turb"): [],
    ("MainStreet2019", "stage"): [],
}


@pytest.mark.parametrize(("station", "column"), TRULY, ids=lambda value: value)
def test_stuck_runs_of_a_river_are_found_and_still_ones_spared(station: str, column: str) -> None:
    readings = _column(station, column)
    found = _stuck_runs(readings, QUARTER_MS)
    longest = max(_others(readings, [run.began for run in found]))
    told = [f"from {run.began}, found after {run.found_h:.1f} h, over {run.ended}" for run in found]
    show(f"{station} {column}: {len(readings)} readings; stuck: {told or 'never'}; "
         f"longest still run spared {longest / HOUR_MS:.1f} h")  # fmt: skip
    assert [run.began for run in found] == TRULY[station, column]


def _others(readings: list[tuple[int, float]], stuck: list[str]) -> list[int]:
    """How long each run of one value lasted (ms) that was not called stuck."""
    spans, began = [0], 0
    for k in range(1, len(readings) + 1):
        if k == len(readings) or readings[k][1] != readings[began][1]:
            if _clock(readings[began][0]) not in stuck:
                spans.append(readings[k - 1][0] - readings[began][0])
            began = k
    return spans


def _told(series: Series, folder: Path) -> tuple[engine.State, list[AlarmChange]]:
    """The series through the engine, each reading as it was measured."""
    site = sources.site(folder, series).site
    flat = sorted((at, probe.id, value) for probe in series.probes for at, value in probe.readings)
    state, said = engine.new(), list[AlarmChange]()
    first_ms = flat[0][0]
    lines: list[tuple[int, Input]] = [(first_ms, Started("data")), (first_ms, SiteChanged(site))]
    for at_ms, probe, value in flat:
        own = site.probe[probe]
        fixed = value * own.to_fixed_gain + own.to_fixed_offset
        good = value not in SENTINELS
        refused = Refused("t", probe, "implausible", 1)
        what: Input = Reading(probe, at_ms, fixed, OWN_TIME) if good else refused
        lines.append((at_ms, what))
    for n, (at_ms, what) in enumerate(lines, 1):
        entry = Entry(n, at_ms, at_ms, what)
        said += [one for one in engine.advance(state, [entry], at_ms) if isinstance(one, AlarmChange)]
    return state, said


def _begun(said: list[AlarmChange]) -> dict[tuple[str, str | None], int]:
    found: dict[tuple[str, str | None], int] = {}
    for one in said:
        if one.kind.startswith("probe_") and one.kind != "probe_silent" and one.change.signal == "raise":
            found[one.kind, one.probe] = found.get((one.kind, one.probe), 0) + 1
    return found


def test_co2_below_outdoor_air_is_named_and_long_still_runs_there_are_not(tmp_path: Path) -> None:
    """README of the data: 67 % of readings below 380 ppm, and long still runs that are no stuck probe."""
    state, said = _told(sources.room_occupancy(), tmp_path)
    found = _begun(said)
    show(f"room-occupancy: {found}")
    assert found.keys() == {("probe_low", "co2")}
    (row,) = [row for row in views.probes(state) if row["probe"] == "co2"]
    assert "outdoor air" in (row["why"] or "")


@pytest.mark.parametrize(
    ("source", "most_a_month"),
    [
        (sources.candanedo, 0.0),
        (sources.suthaharan, 0.0),
        pytest.param(sources.nab, 0.0, marks=pytest.mark.long),
        pytest.param(sources.seattle, 0.0, marks=pytest.mark.long),
    ],
    ids=lambda value: getattr(value, "__name__", str(value)),
)
def test_honest_probes_are_left_in_peace(
    source: Callable[[], Series], most_a_month: float, tmp_path: Path
) -> None:
    series = source()
    _, said = _told(series, tmp_path)
    found = _begun(said)
    days = sum((probe.readings[-1][0] - probe.readings[0][0]) / DAY_MS for probe in series.probes)
    rate = sum(found.values()) / (days / 30)
    show(f"{series.name}: {days:.1f} probe-days, found {found}, {rate:.2f} a probe-month")
    assert rate <= most_a_month


def test_sentinels_of_a_river_are_a_probe_fault(tmp_path: Path) -> None:
    """-9999 and 7999 are refused at the door, and said of the probe."""
    for source in (sources.sonde_2015, sources.sonde_2019):
        series = source()
        _, said = _told(series, tmp_path / series.name)
        found = _begun(said)
        show(f"{series.name}: {found}")
        assert found["probe_sentinel", "water"] >= 1
        assert not [one for one in said if one.kind == "bed_hot" and (one.value or 0) > 60]
