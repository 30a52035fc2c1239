"""The air of a growing floor without a broker, minute by minute, and the truth.

    from simulators import airing
    for moment in airing.run(seed=3, m3_per_t=35.0):
        moment.at_s, moment.co2_ppm, moment.truth.co2_ppm

`m3_per_t` is room air per tonne lying there: 35 is a full low floor, 70 a full one, 500 a high room with a
small load. Shut rooms let in nothing unless told; the load gives 0.60 kg of CO2 per tonne and hour (the mean
of five days at 5 % loss) unless told. Acts open doors, run fans, send people in and let a furnace's fumes
back. The same arguments give the same numbers. Not a certified anything: for trying a watch out on.
"""

from collections.abc import Iterator
from random import Random
from typing import NamedTuple

from simulators.room import Room
from simulators.weather import Weather

VOLUMES_M3_PER_T = (35.0, 70.0, 500.0)
START_S = 1_763_971_200.0
STEP_S = 60.0
CO2_KG_H_T = 0.597
FUMES_M3_H_T = 0.02


class AirAct(NamedTuple):
    """Something done, hours after the start: `shutters`, `door`, `fan`, `people` or `fumes`, and how much."""

    at_h: float
    what: str
    amount: float


class AirTruth(NamedTuple):
    """What was really so; the gaps are what the ledgers cannot account for."""

    co2_ppm: float
    co_ppm: float
    rh: float
    temperature_c: float
    people: float
    co2_gap_kg: float
    water_gap_kg: float


class AirMoment(NamedTuple):
    """One minute of a room: what its gas probes and thermometer say, and the truth."""

    at_s: float
    co2_ppm: float
    co_ppm: float
    temperature_c: float
    truth: AirTruth


def run(
    seed: int,
    m3_per_t: float = 500.0,
    *,
    barley_t: float = 8.0,
    hours: float = 12.0,
    acts: tuple[AirAct, ...] = (),
    shutters: float = 0.0,
    co2_kg_h_t: float = CO2_KG_H_T,
    noise: float = 1.0,
) -> Iterator[AirMoment]:
    """A room from fresh air on, shut unless `shutters` says otherwise (1 as usual)."""
    rng = Random(f"airing {seed}")
    weather = Weather(Random(f"weather {seed}"))
    weather.begin(START_S)
    volume_m3 = m3_per_t * barley_t
    room = Room(volume_m3, min(20.0, 200.0 * barley_t / volume_m3), shutters=shutters)
    room.begin(15.0, weather.co2_ppm)
    gain, fumes = 1.0 + 0.02 * noise * rng.gauss(0.0, 1.0), 0.0
    for minute in range(1, int(hours * 60) + 1):
        at_s = START_S + minute * STEP_S
        weather.step(STEP_S, at_s)
        for act in acts:
            if (minute - 1) / 60 <= act.at_h < minute / 60:
                fumes = act.amount if act.what == "fumes" else fumes
                _do(room, act)
        given_kg, watts = co2_kg_h_t * barley_t / 60.0, 1770.0 * barley_t
        fumes_m3 = fumes * FUMES_M3_H_T * barley_t / 60.0
        room.step(STEP_S, given_kg, watts, weather.temperature_c, weather.co2_ppm, weather.rh, fumes_m3)
        ppm = max(0.0, room.co2_ppm() * gain + 15.0 * noise * rng.gauss(0.0, 1.0))
        co = max(0.0, room.co_ppm() + 0.5 * noise * rng.gauss(0.0, 1.0))
        said_c = room.temperature_c + 0.1 * noise * rng.gauss(0.0, 1.0)
        yield AirMoment(at_s, round(ppm), round(co), round(said_c, 1), _truth(room))


def _do(room: Room, act: AirAct) -> None:
    if act.what == "shutters":
        room.shutters = act.amount
    elif act.what == "door":
        room.door_open = act.amount > 0
    elif act.what == "fan":
        room.fan_on = act.amount > 0
    elif act.what == "people":
        room.people = act.amount
    elif act.what != "fumes":
        raise ValueError(f"{act.what!r}: expected shutters, door, fan, people or fumes")


def _truth(room: Room) -> AirTruth:
    gaps = room.co2_gap_kg(), room.water_gap_kg()
    return AirTruth(room.co2_ppm(), room.co_ppm(), room.rh, room.temperature_c, room.people, *gaps)
