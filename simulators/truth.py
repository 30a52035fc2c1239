"""What was really so, as lines of JSON: for judging a judge.

Kinds: `bed` and `room` and `kiln` (each minute), `temperature` (each minute for each thermometer: what
is true at its place, what its element felt, whether it was in place), `turn` (when it ended), `layer`
(each ten minutes, of a kiln's load from below), `break` and `break_lost` (a kiln's; simulators/kiln.py says
what they are), `fault` (of a probe or of the link), `order` (what somebody did). Times RFC 3339, UTC.
"""

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime

from simulators.bed import Bed, Turn
from simulators.floor import Floor
from simulators.kiln import SURE_S, Kiln
from simulators.mishaps import Fault
from simulators.orders import Order
from simulators.probe import Probe
from simulators.senses import Senses

Line = dict[str, str | float | bool | None]


def rfc3339(at_s: float) -> str:
    """A moment in UTC with milliseconds and Z."""
    moment = datetime.fromtimestamp(round(at_s, 3), UTC)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def minute(
    at_s: float, beds: Mapping[str, Bed], floors: Mapping[str, Floor], kilns: Mapping[str, Kiln]
) -> list[Line]:
    """One line for each bed, room and kiln."""
    at = rfc3339(at_s)
    lines: list[Line] = []
    for name, bed in beds.items():
        warm = bed.temperatures()
        middle = bed.co2_ppm_at((bed.from_m + bed.to_m) / 2, bed.lie.depth_m / 2)
        lines.append(
            {
                "kind": "bed",
                "at": at,
                "bed": name,
                "hottest_c": round(max(warm), 3),
                "mean_c": round(sum(warm) / len(warm), 3),
                "coldest_c": round(min(warm), 3),
                "co2_ppm": round(middle),
                "age_h": round(bed.age_h, 3),
            }
        )
    for name, floor in floors.items():
        room = floor.room
        air_c, ppm = round(room.temperature_c, 3), round(room.co2_ppm())
        line: Line = {"kind": "room", "at": at, "floor": name, "value_c": air_c, "co2_ppm": ppm}
        lines.append(line | {"rh": round(room.rh, 4), "co_ppm": round(room.co_ppm(), 2)})
    for name, kiln in kilns.items():
        lines.append(
            {
                "kind": "kiln",
                "at": at,
                "kiln": name,
                "air_on_c": round(kiln.air_on_c, 3),
                "air_off_c": round(kiln.warm_at(kiln.depth_m), 3),
                "water_left_kg": round(kiln.water_left_kg, 2),
                "moisture_wb": round(kiln.load.moisture_wb_mean(), 4),
                "off_rh": round(kiln.off_rh(), 4),
                "broke": kiln.broke,
                "lit": kiln.lit(),
            }
        )
    return lines


def layers(at_s: float, kilns: Mapping[str, Kiln]) -> list[Line]:
    """One line for each layer of each kiln's load, counted from the wire floor."""
    return [
        {
            "kind": "layer",
            "at": rfc3339(at_s),
            "kiln": name,
            "layer": i + 1,
            "moisture_wb": round(layer.moisture_db / (1.0 + layer.moisture_db), 4),
            "value_c": round(layer.warm_c, 2),
        }
        for name, kiln in kilns.items()
        for i, layer in enumerate(kiln.load.layers)
    ]


def probes(at_s: float, instruments: Iterable[Probe], senses: Senses) -> list[Line]:
    """One line for each thermometer."""
    at = rfc3339(at_s)
    return [
        {
            "kind": "temperature",
            "at": at,
            "place": probe.plan.place,
            "probe": probe.plan.id,
            "value_c": round(senses.true_of(probe.plan), 3),
            "felt_c": round(probe.felt(), 3),
            "in_place": not probe.on_hook,
        }
        for probe in instruments
        if probe.plan.quantity == "temperature"
    ]


def turn(bed: str, done: Turn) -> Line:
    """A turn that has ended."""
    return {
        "kind": "turn",
        "bed": bed,
        "from_m": done.from_m,
        "to_m": done.to_m,
        "began_at": rfc3339(done.began_s),
        "ended_at": rfc3339(done.ends_s),
    }


def kiln_break(at_s: float, name: str, kiln: Kiln) -> Line:
    """The moment a kiln broke, or lost its break again: known when the air-off has stayed so for a while."""
    kind, at = "break" if kiln.broke else "break_lost", rfc3339(at_s - SURE_S)
    return {"kind": kind, "at": at, "kiln": name, "lit_h": round(kiln.lit_h - SURE_S / 3600.0, 3)}


def fault(at_s: float, what: str, probe: str | None, topic: str, until_s: float | None) -> Line:
    """Something that went wrong with a probe or on its way."""
    until = None if until_s is None else rfc3339(until_s)
    return {
        "kind": "fault",
        "fault": what,
        "at": rfc3339(at_s),
        "probe": probe,
        "topic": topic,
        "until": until,
    }


def link_fault(happened: Fault, probe: str | None) -> Line:
    """Something that went wrong on the link."""
    until_s = happened.until_s if happened.until_s > happened.at_s else None
    return fault(happened.at_s, happened.kind, probe, happened.topic, until_s)


def order(at_s: float, given: Order) -> Line:
    """Something that somebody did to a bed, a floor or a kiln."""
    at, said = rfc3339(at_s), given.how or given.amount
    return {"kind": "order", "at": at, "verb": given.verb, "target": given.target, "amount": said}
