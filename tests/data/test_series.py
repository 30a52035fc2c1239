"""Every recorded series through the line: each message counted once, silences where the data have holes.

Sources stand in `series.py`. Both orders of readings and clock are tried, for a driver may have either.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path

import pytest

from gateway.core.reading import RANGE_LOW, Reading
from tests.data import series as sources
from tests.data.line import HOUR_MS, SENTINELS, silences, tell, told
from tests.data.series import Series
from tests.scenarios.floor import held_from
from tests.scenarios.gate import Gate, Hand
from tests.scenarios.story import journal, replayed, show, signals

pytestmark = pytest.mark.data
#: Celsius from Fahrenheit: the kept value is in the fixed unit.
FIXED: dict[str, Callable[[float], float]] = {"[degF]": lambda f: (f - 32) / 1.8}


@pytest.fixture
def line(folder: Path) -> Iterator[Callable[..., Gate]]:
    """`line(series, more)`: a gateway for the series on a store of its own, not opened."""
    made: list[Gate] = []

    def make(series: Series, more: str = "") -> Gate:
        settings = sources.site(folder / f"site-{len(made)}", series, more)
        made.append(Gate(folder / f"store-{len(made)}", settings, Hand(0), topic=True))
        return made[-1]

    yield make
    for one in made:
        one.close()


def _readings(gate: Gate) -> list[Reading]:
    return [entry.what for entry in journal(gate) if isinstance(entry.what, Reading)]


def _refused(gate: Gate) -> dict[str, int]:
    assert gate.reader is not None
    found: Counter[str] = Counter()
    for one in gate.reader.rejected_counts():
        found[one.reason] += one.times
    return dict(found)


def _silent(gate: Gate) -> Counter[str | None]:
    return Counter(one.probe for one in gate.alarms() if one.kind == "probe_silent")


def _accounted(gate: Gate, series: Series, copies: int = 1) -> None:
    """In = kept + duplicates + refused, by reason; what is kept is what was sent, in the fixed unit."""
    sentinels = sum(value in SENTINELS for probe in series.probes for _, value in probe.readings)
    counts, refused = gate.counts(), _refused(gate)
    assert refused == ({"implausible": sentinels * copies} if sentinels else {})
    assert counts["received"] == series.messages * copies
    assert counts["kept"] == series.messages - sentinels
    assert counts.get("duplicates", 0) == (copies - 1) * counts["kept"]
    assert counts["received"] == counts["kept"] + counts.get("duplicates", 0) + sum(refused.values())
    sent = {
        (probe.id, at_ms): FIXED.get(probe.unit, float)(value)
        for probe in series.probes for at_ms, value in probe.readings if value not in SENTINELS
    }  # fmt: skip
    kept = {(one.probe, one.measured_at_ms): one.value for one in _readings(gate)}
    assert kept.keys() == sent.keys()
    assert all(abs(kept[key] - value) < 1e-9 for key, value in sent.items())


#: (series, step of the clock in ms): one step a reading where that is quick enough, else some minutes.
USUAL = [
    (sources.candanedo, 120_000), (sources.room_occupancy, 155_000), (sources.suthaharan, 60_000),
    (sources.li7810, 1000),
]  # fmt: skip
SLOW = [
    (sources.seattle, HOUR_MS), (sources.sonde_2015, 900_000),
    (sources.candanedo, 60_000), (sources.room_occupancy, 31_000), (sources.suthaharan, 5000),
    (sources.sonde_2019, 900_000),
]  # fmt: skip


@pytest.mark.parametrize("order", ["before", "after"])
@pytest.mark.parametrize(
    ("source", "step_ms"),
    [*USUAL, *(pytest.param(*one, marks=pytest.mark.long) for one in SLOW)],
    ids=lambda value: getattr(value, "__name__", str(value)),
)
def test_each_message_is_counted_and_silences_are_the_holes(
    source: Callable[[], Series], step_ms: int, order: str, line: Callable[..., Gate]
) -> None:
    series = source()
    gate = line(series)
    tell(gate, series, told(series, step_ms, order))
    _accounted(gate, series)
    assert _silent(gate) == silences(series, told(series, step_ms, order))
    assert not [one for one in gate.alarms() if one.kind.startswith("gas_")]
    lost = [one for one in gate.alarms() if one.kind == "air_unknown"]
    assert len(lost) <= sum(_silent(gate).values()), "only where its probe fell silent"
    show(f"{series.name}, clock {order} the readings: {gate.counts()}, refused {_refused(gate)}, "
         f"silent {dict(_silent(gate))}, {replayed(gate)} effects live = replay")  # fmt: skip


@pytest.mark.parametrize("order", ["before", pytest.param("after", marks=pytest.mark.long), "sparse"])
def test_ten_outages_are_ten_silences_each_raised_and_ended_once(
    order: str, line: Callable[..., Gate]
) -> None:
    """The README of the data: exactly 10, of 2, 32, 48, 160, 96, 71, 30, 3, 15 and 174 hours."""
    series = sources.nab()
    gate = line(series)
    tell(gate, series, told(series, HOUR_MS, order))
    _accounted(gate, series)
    found = [one for one in gate.alarms() if one.kind == "probe_silent"]
    assert len(found) == 10
    assert all(signals(one)[:2] == ["raise", "clear"] for one in found)
    assert [one.occurrence for one in found] == list(range(1, 11))
    at = [at_ms for at_ms, _ in series.probes[0].readings]
    holes = [(a, b) for a, b in pairwise(at) if b - a > HOUR_MS]
    assert [(b - a) // HOUR_MS for a, b in holes] == [2, 32, 48, 160, 96, 71, 30, 3, 15, 174]
    for (last_ms, next_ms), one in zip(holes, found, strict=True):
        # Heard when the clock still showed the step before, where readings come before it.
        lag_ms = HOUR_MS if order == "after" else 0
        assert abs(one.raised_ms - (last_ms - lag_ms + 1.5 * HOUR_MS)) <= 10_000
        cleared_ms = one.line.history[1].at_ms
        assert last_ms < cleared_ms <= next_ms
    show(f"nab, {order}: {gate.counts()}, 10 silences, {replayed(gate)} effects live = replay")


def test_every_message_twice_changes_nothing_but_the_count(line: Callable[..., Gate]) -> None:
    series = sources.suthaharan()
    once, twice = line(series), line(series)
    tell(once, series, told(series, 60_000, "before"))
    tell(twice, series, told(series, 60_000, "before"), copies=2)
    _accounted(twice, series, copies=2)
    assert [one.name for one in twice.alarms()] == [one.name for one in once.alarms()]
    assert _silent(twice) == _silent(once) == silences(series, told(series, 60_000, "before"))


@pytest.mark.parametrize("source", [sources.sonde_2015, sources.sonde_2019])
def test_sentinels_are_never_heat(source: Callable[[], Series], line: Callable[..., Gate]) -> None:
    """-9999 and 7999 are refused; a river in a bed without a recorded cast is judged by 22 C like grain."""
    series = source()
    gate = line(series)
    tell(gate, series, told(series, 900_000, "before"))
    good = [(at_ms, value) for at_ms, value in series.probes[0].readings if value not in SENTINELS]
    hot = [one for one in gate.alarms() if one.kind == "bed_hot"]
    first_ms = held_from(good, 22.0, 600_000)
    assert bool(hot) == (first_ms is not None)
    assert all(one.line.alarm.value is None or one.line.alarm.value < 60 for one in gate.alarms())
    sent = Counter(value for _, value in series.probes[0].readings if value in SENTINELS)
    assert sum(sent.values()) > 100
    assert _refused(gate) == {"implausible": sum(sent.values())}
    show(f"{series.name}: sentinels {dict(sent)}, rows without a value {series.probes[0].missing}, "
         f"warmest {max(value for _, value in good)} C, hot {len(hot)}")  # fmt: skip


def test_below_the_instruments_end_is_kept_and_flagged(line: Callable[..., Gate]) -> None:
    """128 readings below 0 ppm (SOURCE.md of the series): no instrument shows them, none is lost."""
    series = sources.li7810()
    gate = line(series, "range = [0, 20000]\n")
    tell(gate, series, told(series, 1000, "after"))
    flagged = [one for one in _readings(gate) if one.flags & RANGE_LOW]
    assert len(flagged) == 128
    assert all(one.value < 0 for one in flagged)
    assert gate.counts()["kept"] == series.messages
