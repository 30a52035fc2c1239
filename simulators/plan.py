"""The site file as the simulators read it: what lies where, and where the probes hang.

Only the keys the simulators need, with every one checked; the rest of the file is not their business.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

PLACE_KINDS = ("steep", "bed", "room", "kiln", "outdoors")
QUANTITIES = ("temperature", "humidity", "co2", "co", "pressure_difference", "air_flow")
UNITS: dict[str, dict[str, tuple[float, float]]] = {
    "temperature": {"Cel": (1.0, 0.0), "K": (1.0, 273.15), "[degF]": (1.8, 32.0)},
    "humidity": {"%RH": (1.0, 0.0), "%": (1.0, 0.0), "/100": (1.0, 0.0), "/": (0.01, 0.0)},
    "co2": {
        "ppm": (1.0, 0.0),
        "ppb": (1e3, 0.0),
        "%": (1e-4, 0.0),
        "/100": (1e-4, 0.0),
        "/1000": (1e-3, 0.0),
        "/": (1e-6, 0.0),
    },
    "pressure_difference": {"Pa": (1.0, 0.0), "hPa": (0.01, 0.0)},
    "air_flow": {"m3/s": (1.0, 0.0), "l/s": (1e3, 0.0), "m3/h": (3600.0, 0.0)},
}
"""Gain and offset from our unit (C, %RH, ppm, Pa, m3/s: the first of each) to the probe's."""
UNITS["co"] = UNITS["co2"]
STAGES_MOST = 50
LAST_STAGE_H = 12.0
"""How long the last stage of a kiln's programme burns: the site file does not say."""


class SiteFault(ValueError):
    """The site file cannot be simulated; the text names table, key, value and what was expected."""


@dataclass(frozen=True)
class ProbePlan:
    """One probe. `to_unit` is gain and offset from our unit to the one it speaks."""

    id: str
    place: str
    quantity: str
    topic: str
    payload: str
    every_s: float
    to_unit: tuple[float, float]
    height_m: float | None
    at_m: float | None
    ends: tuple[float, float]
    gain: float
    offset: float
    value: str
    time: str
    sequence: str
    battery: str


@dataclass(frozen=True)
class PlacePlan:
    """One place; lengths along its floor."""

    id: str
    kind: str
    floor: str
    from_m: float
    to_m: float
    volume_m3: float | None
    air_on: tuple[tuple[float, float], ...]
    """(hours since lighting, air-on C) of a kiln whose programme the site tells; else empty."""


@dataclass(frozen=True)
class SitePlan:
    """What the simulators need of a site."""

    host: str
    port: int
    root: str
    floors: Mapping[str, float | None]
    """Floor id to volume in m3."""
    places: tuple[PlacePlan, ...]
    probes: tuple[ProbePlan, ...]


def read_plan(site: Mapping[str, Any]) -> SitePlan:
    """The plan of a parsed site file; raises SiteFault."""
    broker = _table(site, "broker")
    floors = {
        _text(row, "id", f"floor {i + 1}"): _maybe(row, "volume_m3", f"floor {i + 1}")
        for i, row in enumerate(_rows(site, "floor"))
    }
    programmes = _table(site, "programme")
    places = tuple(_place(row, i, programmes) for i, row in enumerate(_rows(site, "place")))
    root = _text(broker, "root", "broker", _text(_table(site, "site"), "id", "site", "maltings"))
    known = {place.id: place for place in places}
    probes = tuple(_probe(row, i, root, known) for i, row in enumerate(_rows(site, "probe")))
    host = _text(broker, "host", "broker", "127.0.0.1")
    port = int(_number(broker, "port", "broker", 1883.0, 1.0, 65535.0))
    return SitePlan(host, port, root, floors, places, probes)


def _place(row: Mapping[str, Any], i: int, programmes: Mapping[str, Any]) -> PlacePlan:
    where = f"place {row.get('id', i + 1)!r}"
    kind = _one_of(row, "kind", where, PLACE_KINDS)
    from_m = _number(row, "from_m", where, 0.0, 0.0, 1000.0)
    to_m = _number(row, "to_m", where, from_m + 12.0, 0.0, 1000.0)
    if kind == "bed" and to_m <= from_m:
        raise SiteFault(f"{where}: to_m = {to_m:g}: expected more than from_m = {from_m:g}")
    volume_m3 = _maybe(row, "volume_m3", where)
    air_on = _air_on(programmes, _text(row, "programme", where, "")) if kind == "kiln" else ()
    return PlacePlan(
        _text(row, "id", where), kind, _text(row, "floor", where, ""), from_m, to_m, volume_m3, air_on
    )


def _air_on(programmes: Mapping[str, Any], name: str) -> tuple[tuple[float, float], ...]:
    """The air-on through a programme's stages: each holds until the next begins."""
    where = f"programme {name!r}"
    stages = _rows(_table(programmes, name), "stage")[:STAGES_MOST]
    begins = [_number(stage, "from_h", where, 0.0, 0.0, 1000.0) for stage in stages]
    wanted = [_number(stage, "target_c", where, 45.0, 0.0, 150.0) for stage in stages]
    if begins != sorted(begins):
        raise SiteFault(f"{where}: from_h = {begins}: expected stages in the order of their hours")
    ends = [*begins[1:], *(begin + LAST_STAGE_H for begin in begins[-1:])]
    knots: list[tuple[float, float]] = []
    for begin, end, target in zip(begins, ends, wanted, strict=True):
        knots += [(begin, target), (end, target)]
    return tuple(knots)


def _probe(row: Mapping[str, Any], i: int, root: str, places: Mapping[str, PlacePlan]) -> ProbePlan:
    where = f"probe {row.get('id', i + 1)!r}"
    name, place = _text(row, "id", where), _text(row, "place", where)
    if place not in places:
        raise SiteFault(f"{where}: place = {place!r}: expected one of {', '.join(places) or 'none'}")
    quantity = _one_of(row, "quantity", where, QUANTITIES)
    units = UNITS[quantity]
    unit = _one_of(row, "unit", where, tuple(units), next(iter(units)))
    height_cm, at_m = row.get("height_cm"), row.get("at_m")
    return ProbePlan(
        id=name,
        place=place,
        quantity=quantity,
        topic=_text(row, "topic", where, f"{root}/{place}/{name}"),
        payload=_one_of(row, "payload", where, ("number", "json"), "json"),
        every_s=_number(row, "every_s", where, 60.0, 0.1, 86_400.0),
        to_unit=units[unit],
        height_m=None if height_cm is None else _number(row, "height_cm", where, 0.0, -500.0, 1000.0) / 100,
        at_m=None if at_m is None else _number(row, "at_m", where, 0.0, 0.0, 1000.0),
        ends=_ends(row, where),
        gain=_number(row, "gain", where, 1.0, 0.01, 100.0),
        offset=_number(row, "offset", where, 0.0, -1e5, 1e5),
        value=_text(row, "value", where, "/v"),
        time=_text(row, "time", where, "/t"),
        sequence=_text(row, "sequence", where, "/n"),
        battery=_text(row, "battery", where, "/b"),
    )


def _ends(row: Mapping[str, Any], where: str) -> tuple[float, float]:
    """The instrument's ends, in the probe's own unit."""
    ends = row.get("range")
    if ends is None:
        return -math.inf, math.inf
    if not isinstance(ends, Sequence) or len(ends) != 2:
        raise SiteFault(f"{where}: range = {ends!r}: expected [low, high]")
    low, high = (_number({"range": end}, "range", where, 0.0, -1e7, 1e7) for end in ends)
    if low >= high:
        raise SiteFault(f"{where}: range = {ends!r}: expected low below high")
    return low, high


def _table(site: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    found = site.get(key, {})
    if not isinstance(found, Mapping):
        raise SiteFault(f"[{key}]: expected a table")
    return found


def _rows(site: Mapping[str, Any], key: str) -> list[Mapping[str, Any]]:
    rows = site.get(key, [])
    if not isinstance(rows, list) or not all(isinstance(row, Mapping) for row in rows):
        raise SiteFault(f"[[{key}]]: expected a list of tables")
    return rows


def _text(row: Mapping[str, Any], key: str, where: str, default: str | None = None) -> str:
    value = row.get(key, default)
    if not isinstance(value, str) or len(value) > 500:
        raise SiteFault(f"{where}: {key} = {value!r}: expected a text")
    return value


def _one_of(
    row: Mapping[str, Any], key: str, where: str, allowed: Sequence[str], default: str | None = None
) -> str:
    value = _text(row, key, where, default)
    if value not in allowed:
        raise SiteFault(f"{where}: {key} = {value!r}: expected one of {', '.join(allowed)}")
    return value


def _number(row: Mapping[str, Any], key: str, where: str, default: float, low: float, high: float) -> float:
    value = row.get(key, default)
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise SiteFault(f"{where}: {key} = {value!r}: expected a number from {low:g} to {high:g}")
    return float(value)


def _maybe(row: Mapping[str, Any], key: str, where: str) -> float | None:
    return None if row.get(key) is None else _number(row, key, where, 0.0, 0.001, 1e7)
