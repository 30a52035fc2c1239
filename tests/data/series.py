"""The recorded series as what probes would have sent: (Unix ms, value in the probe's unit), and their site.

Each loader names its source; folders and what is known of them are in the README beside the data. Times
without a zone are taken as UTC; none of this is a floor maltings.
"""

from __future__ import annotations

import csv
import gzip
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

from gateway import settings
from gateway.settings import Settings
from tests.cli.house import ROOT

DATA = ROOT.parent / "shared" / "data"
#: 9 May 2010, the day of the single-hop recording; its rows have a number and no time.
WSN_DAY_MS = 1_273_363_200_000


class Probe(NamedTuple):
    """One column as a probe."""

    id: str
    place: str
    quantity: str
    unit: str
    every_s: float
    readings: list[tuple[int, float]]
    missing: int = 0
    """Rows in which the column has nothing."""


class Series(NamedTuple):
    """The columns of one file. `step_ms` is how often the clock is told when nothing else says the time."""

    name: str
    step_ms: int
    probes: list[Probe]

    @property
    def messages(self) -> int:
        """All readings."""
        return sum(len(probe.readings) for probe in self.probes)


def _ms(text: str, form: str) -> int:
    return round(datetime.strptime(text, form).replace(tzinfo=UTC).timestamp() * 1000)


def _column(rows: Iterable[tuple[int, str]]) -> tuple[list[tuple[int, float]], int]:
    found, missing = [], 0
    for at_ms, text in rows:
        if text in ("", "NULL"):
            missing += 1
        else:
            found.append((at_ms, float(text)))
    return found, missing


def candanedo() -> Series:
    """One office, each minute (Candanedo & Feldheim, Energy and Buildings 112, 2016; datatraining.txt)."""
    with (DATA / "candanedo-office-co2" / "datatraining.txt").open() as file:
        rows = list(csv.reader(file))[1:]
    at = [_ms(row[1], "%Y-%m-%d %H:%M:%S") for row in rows]
    columns = (("t", "temperature", "Cel", 2), ("rh", "humidity", "%RH", 3), ("co2", "co2", "ppm", 5))
    probes = []
    for name, quantity, unit, k in columns:
        readings, missing = _column(zip(at, (row[k] for row in rows), strict=True))
        probes.append(Probe(name, "lower-room", quantity, unit, 60, readings, missing))
    return Series("candanedo", 60_000, probes)


def room_occupancy() -> Series:
    """Four thermometers and CO2, each 31 s, with a hole of 366 h (Singh et al., IEEE Globecom 2018)."""
    with gzip.open(DATA / "room-occupancy-30s" / "Occupancy_Estimation.csv.gz", "rt") as file:
        rows = list(csv.DictReader(file))
    at = [_ms(f"{row['Date']} {row['Time']}", "%Y-%m-%d %H:%M:%S") for row in rows]
    columns = [(f"s{k}", "temperature", "Cel", f"S{k}_Temp") for k in range(1, 5)]
    columns.append(("co2", "co2", "ppm", "S5_CO2"))
    probes = []
    for name, quantity, unit, key in columns:
        readings, missing = _column(zip(at, (row[key] for row in rows), strict=True))
        probes.append(Probe(name, "lower-room", quantity, unit, 31, readings, missing))
    return Series("room-occupancy", 31_000, probes)


def suthaharan() -> Series:
    """Four motes, each 5 s, with hot bursts (Suthaharan et al., ISSNIP 2010; single_hop.csv)."""
    with (DATA / "suthaharan-wsn" / "single_hop.csv").open() as file:
        rows = list(csv.DictReader(file))
    probes = []
    for mote in sorted({row["mote_id"] for row in rows}):
        own = [row for row in rows if row["mote_id"] == mote]
        at = [WSN_DAY_MS + int(row["reading"]) * 5000 for row in own]
        for key, unit in (("temperature", "Cel"), ("humidity", "%RH")):
            readings = [(ms, float(row[key])) for ms, row in zip(at, own, strict=True)]
            probes.append(Probe(f"m{mote}-{key}", "lower-room", key, unit, 5, readings))
    return Series("suthaharan", 5000, probes)


def nab() -> Series:
    """An ambient temperature, hourly, ten outages (Numenta; Ahmad et al., Neurocomputing 262, 2017)."""
    with (DATA / "nab-temperature" / "ambient_temperature_system_failure.csv").open() as file:
        readings = [
            (_ms(row["timestamp"], "%Y-%m-%d %H:%M:%S"), float(row["value"])) for row in csv.DictReader(file)
        ]
    return Series("nab", 3_600_000, [Probe("ambient", "outdoors", "temperature", "[degF]", 3600, readings)])


def seattle() -> Series:
    """A smooth year outdoors, hourly, one hour left out (NOAA by vega_datasets)."""
    with (DATA / "seattle-hourly-normals" / "seattle-temps.csv").open() as file:
        readings = [(_ms(row["date"], "%Y/%m/%d %H:%M"), float(row["temp"])) for row in csv.DictReader(file)]
    return Series("seattle", 3_600_000, [Probe("air", "outdoors", "temperature", "[degF]", 3600, readings)])


def _sonde(station: str) -> Series:
    with gzip.open(DATA / "lro-river-sondes" / f"{station}.csv.gz", "rt") as file:
        rows = list(csv.DictReader(file))
    at = [
        round(datetime.fromisoformat(row["datetime"]).replace(tzinfo=UTC).timestamp() * 1000) for row in rows
    ]
    readings, missing = _column(zip(at, (row["temp"] for row in rows), strict=True))
    probe = Probe("water", "bed-a", "temperature", "Cel", 900, readings, missing)
    return Series(station, 900_000, [probe])


def sonde_2015() -> Series:
    """A river, each 15 min, raw, with sentinels (Logan River Observatory; Jones et al. 2022)."""
    return _sonde("BlackSmithFork2015")


def sonde_2019() -> Series:
    """Another station of the same rivers."""
    return _sonde("MainStreet2019")


def li7810() -> Series:
    """CO2 under a chamber, each second, 128 readings below zero (COMPASS-DOE fluxfinder)."""
    text = (DATA / "li7810-co2-chamber" / "tree_chamber_2023-06-21.data").read_text()
    table = [line.split("\t") for line in text.splitlines() if line.startswith(("DATAH", "DATA\t"))]
    head = table[0]
    s, ns, ppm = head.index("SECONDS"), head.index("NANOSECONDS"), head.index("CO2")
    readings = [(int(row[s]) * 1000 + int(row[ns]) // 1_000_000, float(row[ppm])) for row in table[1:]]
    return Series("li7810", 1000, [Probe("co2", "lower-room", "co2", "ppm", 1, readings)])


ALL: tuple[Callable[[], Series], ...] = (
    candanedo, room_occupancy, suthaharan, nab, seattle, sonde_2015, sonde_2019, li7810,
)  # fmt: skip

_SITE = """\
[site]
id = "quern-hill"
name = "Quern Hill Maltings"
time_zone = "UTC"
[broker]
host = "127.0.0.1"
port = {port}
[links]
listen = "127.0.0.1:0"
[[floor]]
id = "lower"
length_m = 20
[[place]]
id = "bed-a"
kind = "bed"
floor = "lower"
from_m = 0
to_m = 10
[[place]]
id = "lower-room"
kind = "room"
floor = "lower"
[[place]]
id = "outdoors"
kind = "outdoors"
[[person]]
id = "ada"
name = "Ada"
[[phone]]
person = "ada"
kind = "webhook"
url = "http://127.0.0.1:{phone}/ada"
secret_file = "ada.key"
[[shift]]
people = ["ada"]
days = "daily"
from = "00:00"
to = "24:00"
"""
_PROBE = """\
[[probe]]
id = "{id}"
place = "{place}"
quantity = "{quantity}"
unit = "{unit}"
every_s = {every_s}
"""


def site_file(folder: Path, series: Series, port: int = 1, phone: int = 1, more: str = "") -> Path:
    """A site file whose probes are these columns; `more` goes into each probe's table."""
    folder.mkdir(parents=True, exist_ok=True)
    key = folder / "ada.key"
    key.touch(0o600)
    key.write_text("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw\n")
    path = folder / "site.toml"
    probes = "".join(_PROBE.format(**probe._asdict()) + more for probe in series.probes)
    path.write_text(_SITE.format(port=port, phone=phone) + probes)
    return path


def site(folder: Path, series: Series, more: str = "") -> Settings:
    """That site, checked."""
    return settings.load(site_file(folder, series, more=more), {})


def steps(series: Series, step_ms: int) -> Iterator[tuple[int, list[tuple[str, int, float]]]]:
    """(end of the step, (probe, at, value) measured in it) for each step that has readings."""
    flat = sorted((at_ms, probe.id, value) for probe in series.probes for at_ms, value in probe.readings)
    step: list[tuple[str, int, float]] = []
    end_ms = 0
    for at_ms, probe, value in flat:
        upto_ms = -(-at_ms // step_ms) * step_ms
        if step and upto_ms != end_ms:
            yield end_ms, step
            step = []
        end_ms = upto_ms
        step.append((probe, at_ms, value))
    yield end_ms, step
