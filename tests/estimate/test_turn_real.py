"""Turns seen on real series by other people: none in quiet rooms, and the CO2 let go found where it was."""

import csv
import gzip
import statistics
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from itertools import combinations
from pathlib import Path

import pytest

from gateway.core.estimate.turn_seen.detect import Bed, Turns, TurnSeen, Wire, take
from gateway.core.estimate.turn_seen.vent import vents

DATA = Path(__file__).resolve().parents[2].parent / "shared" / "data"
pytestmark = pytest.mark.data
Row = tuple[int, str, float]


def seen(probes: Iterable[Wire], rows: Iterable[Row]) -> list[TurnSeen]:
    """What stands in the end of all that was told."""
    bed, turns, last = Bed("bed", 0.0, 10.0, tuple(probes)), Turns(), dict[int, TurnSeen]()
    for at_ms, probe, value in rows:
        for one in take(turns, bed, probe, at_ms, value, at_ms):
            last[one.turn] = one
    return [one for one in last.values() if one.state == "seen"]


def at_ms(text: str) -> int:
    """Local times without a zone, taken as UTC."""
    return int(datetime.strptime(text, "%Y-%m-%d %H:%M:%S").replace(tzinfo=UTC).timestamp() * 1000)


def office() -> Iterator[Row]:
    """L. M. Candanedo and V. Feldheim, Energy and Buildings 112 (2016): an office, each minute, 5.65 days."""
    with (DATA / "candanedo-office-co2" / "datatraining.txt").open() as file:
        for row in list(csv.reader(file))[1:]:
            yield at_ms(row[1]), "t", float(row[2])
            yield at_ms(row[1]), "gas", float(row[5])


def room() -> Iterator[Row]:
    """A. P. Singh and others, IEEE Globecom Workshops 2018: four thermometers and CO2, each 31 s."""
    with gzip.open(DATA / "room-occupancy-30s" / "Occupancy_Estimation.csv.gz", "rt") as file:
        for row in list(csv.reader(file))[1:]:
            if all(row[2:6]) and len(row) > 14 and row[14]:
                when = at_ms(f"{row[0].replace('/', '-')} {row[1]}")
                yield from ((when, f"s{i}", float(row[2 + i])) for i in range(4))
                yield when, "gas", float(row[14])


def motes() -> list[Row]:
    """S. Suthaharan and others, ISSNIP 2010: four motes, each 5 s, each heated once by hand."""
    with (DATA / "suthaharan-wsn" / "single_hop.csv").open() as file:
        rows = list(csv.reader(file))[1:]
    return sorted((1_273_363_200_000 + int(row[0]) * 5000, f"m{row[1]}", float(row[4])) for row in rows)


@pytest.mark.parametrize("probes", [("t", "gas"), ("t",), ("gas",)], ids=" ".join)
def test_an_office_is_never_turned(probes: tuple[str, ...]) -> None:
    wires = {"t": Wire("t", "temperature", 60.0, 5.0), "gas": Wire("gas", "co2", 60.0, 5.0)}
    assert seen([wires[name] for name in probes], [row for row in office() if row[1] in probes]) == []


def test_a_room_is_never_turned() -> None:
    rows = list(room())
    heights = [Wire(f"s{i}", "temperature", 31.0, 3.0 + 3.0 * i, 5.0) for i in range(4)]
    along = [Wire(f"s{i}", "temperature", 31.0, 5.0, 1.0 + 2.5 * i) for i in range(4)]
    gas = Wire("gas", "co2", 31.0, 5.0)
    temperatures = [row for row in rows if row[1] != "gas"]
    assert seen([*heights, gas], rows) == []
    assert seen(heights, temperatures) == []
    assert seen(along, temperatures) == []
    for pair in combinations(heights, 2):
        names = [wire.id for wire in pair]
        assert [one.kind for one in seen(pair, [row for row in rows if row[1] in names])] == []


def test_motes_in_a_room_and_in_the_open_are_never_turned() -> None:
    rows = motes()
    wires = {
        name: Wire(name, "temperature", 5.0, 3.0 + i, 5.0) for i, name in enumerate(("m1", "m2", "m3", "m4"))
    }
    assert seen(wires.values(), rows) == []
    for size in (1, 2, 3):
        for some in combinations(wires, size):
            assert seen([wires[name] for name in some], [row for row in rows if row[1] in some]) == []


@pytest.mark.parametrize("begins_s", range(0, 10, 2))
def test_each_lifting_of_a_chamber_is_a_vent_and_nothing_else(begins_s: int) -> None:
    """S. J. Wilson and others, fluxfinder, JGR Biogeosciences 2024: lifted at 11:04:13, 11:10:44, 11:17:00.

    After the third the instrument slides to below nothing: no fourth. Middles of 10 s, begun anywhere.
    """
    file = DATA / "li7810-co2-chamber" / "tree_chamber_2023-06-21.data"
    lines = [line.split("\t") for line in file.read_text().splitlines() if line.startswith("DATA\t")]
    clocks, ppm = [line[7] for line in lines][begins_s:], [float(line[9]) for line in lines][begins_s:]
    middles = [statistics.median(ppm[i : i + 10]) for i in range(0, len(ppm) - 9, 10)]
    found = [clocks[vent.at * 10] for vent in vents(middles, 0.1)]
    seconds = [int(h) * 3600 + int(m) * 60 + int(s) for h, m, s in (clock.split(":") for clock in found)]
    assert len(seconds) == 3
    for known, was in zip(seconds, (11 * 3600 + 253, 11 * 3600 + 644, 11 * 3600 + 1020), strict=True):
        assert abs(known - was) <= 20
