"""Quern Hill with both its floors: six beds of five probes, two rooms, a kiln, the outdoors: 40 probes."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from gateway.settings import Settings, load
from tests.scenarios.floor import site

_LOWER, _UPPER = ("bed-a", "bed-b", "bed-c"), ("bed-e", "bed-f", "bed-g")
BEDS = dict.fromkeys(_LOWER, "lower") | dict.fromkeys(_UPPER, "upper")
LENGTH_M = 13.0
#: Where a bed's thermometers hang: metres from its steep end, height in cm.
HUNG = {"low": (3.0, 3), "mid": (6.5, 8), "top": (6.5, 12), "end": (10.5, 8)}


def tables() -> dict[str, Any]:
    """The site file's tables."""
    found = site()
    keep = ("kiln", "outdoors", "steep-1")
    places = [place for place in found["place"] if place["id"] in keep]
    probes = [probe for probe in found["probe"] if probe["place"] in keep]
    floors = []
    for floor in ("lower", "upper"):
        floors.append({"id": floor, "length_m": 40, "volume_m3": 2400})
        places.append(
            {"id": f"{floor}-room", "kind": "room", "floor": floor, "volume_m3": 2400, "co2_high_ppm": 5000}
        )
        probes.append(_probe(f"{floor}-co2", f"{floor}-room", "co2", 20.0, 30, [0, 50000]))
        probes.append(_probe(f"{floor}-air", f"{floor}-room", "temperature", 20.0, 150, [-20, 60]))
        for order, bed in enumerate(name for name, on in BEDS.items() if on == floor):
            from_m = order * LENGTH_M
            places.append(
                {"id": bed, "kind": "bed", "floor": floor, "from_m": from_m, "to_m": from_m + LENGTH_M,
                 "programme": "floor"}
            )  # fmt: skip
            for name, (at_m, height_cm) in HUNG.items():
                probes.append(
                    _probe(f"{bed}-{name}", bed, "temperature", from_m + at_m, height_cm, [-20, 60])
                )
            probes.append(_probe(f"{bed}-co2", bed, "co2", from_m + 6.5, 3, [0, 200000]))
    probes.append(_probe("outdoors-humidity", "outdoors", "humidity", None, 150, [0, 100]))
    return found | {"floor": floors, "place": places, "probe": probes}


def _probe(
    name: str, place: str, quantity: str, at_m: float | None, height_cm: int, ends: list[int]
) -> dict[str, Any]:
    made = {"id": name, "place": place, "quantity": quantity, "height_cm": height_cm, "every_s": 60,
            "range": ends, "payload": "json"}  # fmt: skip
    return made if at_m is None else made | {"at_m": at_m}


def settings(folder: Path) -> Settings:
    """The gateway's reading of that site file, without its secrets."""
    path = folder / "week.toml"
    found = tables()
    del found["site"]["programme_files"]
    path.write_text("".join(_toml(found)))
    return load(path, {}, with_secrets=False)


def _toml(tables: Mapping[str, Any], name: str = "") -> Iterator[str]:
    """Tables as TOML: what JSON and TOML write alike, and inline tables in arrays."""
    for key, value in tables.items():
        if not isinstance(value, dict) and (name or not _is_rows(value)):
            yield f"{key} = {_value(value)}\n"
    for key, value in tables.items():
        inner = f"{name}.{key}" if name else key
        if isinstance(value, dict):
            yield f"[{inner}]\n"
            yield from _toml(value, inner)
        elif _is_rows(value) and not name:
            for row in value:
                yield f"[[{inner}]]\n"
                yield from _toml(row, inner)


def _is_rows(value: object) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(row, dict) for row in value)


def _value(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_value(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    return json.dumps(value)
