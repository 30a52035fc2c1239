"""What the probes of a kiln say now: air-on, grain, air-off, its humidity, the flow; and the weather."""

from __future__ import annotations

from typing import NamedTuple

from gateway.core.science import psychrometrics as moist
from gateway.core.site import Place, Probe
from gateway.core.site_kiln import KilnFigures
from gateway.core.state import State

#: Above this a thermometer hangs over the load, below the kiln's floor in the air-on (cm).
_OVER_CM, _UNDER_CM = 60.0, 0.0
#: Older than this says nothing of now, nor than three intervals of its probe.
_OLD_MS = 5 * 60_000
#: What outdoor air can be (C): beyond the records of the earth it is no weather.
_COLDEST_C, _WARMEST_C = -60.0, 60.0
#: Outdoor air where nothing tells of it: kg of water in a kg of dry air, and relative humidity (ours).
GUESSED_RATIO, GUESSED_RH = 0.006, 0.8
#: Outdoors where no thermometer hangs there, for telling a fire: a warm day (C; ours).
GUESSED_C = 20.0


class Spot(NamedTuple):
    """One good thermometer in the grain."""

    probe: Probe
    value_c: float


class KilnAir(NamedTuple):
    """None where nothing good tells. Temperatures C, humidity %RH, flow m3/h, CO ppm."""

    on: Spot | None
    off: Spot | None
    grain: tuple[Spot, ...]
    off_rh: float | None
    flow_m3_h: float | None
    co_ppm: float | None
    outdoor_c: float | None
    outdoor_rh: float | None

    @property
    def hottest(self) -> Spot | None:
        """The hottest thermometer in the grain, never a mean."""
        return max(self.grain, key=lambda spot: spot.value_c, default=None)


def role(probe: Probe) -> str:
    """Where a kiln's thermometer hangs: air_on, grain or air_off."""
    if probe.role is not None:
        return probe.role
    if probe.height_cm is None or _UNDER_CM <= probe.height_cm < _OVER_CM:
        return "grain"
    return "air_on" if probe.height_cm < _UNDER_CM else "air_off"


def look(state: State, place: Place) -> KilnAir:
    """What is said now; the hottest of several, never a mean. Old values are left out."""
    warm = _fresh(state, place.id, "temperature")

    def hottest(name: str) -> Spot | None:
        return max(
            (spot for spot in warm if role(spot.probe) == name), key=lambda spot: spot.value_c, default=None
        )

    rh = [spot.value_c for spot in _fresh(state, place.id, "humidity") if role(spot.probe) != "air_on"]
    flow = _fresh(state, place.id, "air_flow")
    co = _fresh(state, place.id, "co")
    return KilnAir(
        hottest("air_on"),
        hottest("air_off"),
        tuple(spot for spot in warm if role(spot.probe) == "grain"),
        max(rh, default=None),
        max((spot.value_c * 3600.0 for spot in flow), default=None),
        max((spot.value_c for spot in co), default=None),
        *weather(state),
    )


def weather(state: State) -> tuple[float | None, float | None]:
    """Outdoor temperature (C) and humidity (%RH)."""
    outdoors = [place.id for place in state.site.places if place.kind == "outdoors"]
    warm = [spot.value_c for place in outdoors for spot in _fresh(state, place, "temperature", 12)]
    damp = [spot.value_c for place in outdoors for spot in _fresh(state, place, "humidity", 12)]
    # The sun warms a thermometer and cools none: the coolest is the truest.
    true = [value_c for value_c in warm if _COLDEST_C <= value_c <= _WARMEST_C]
    return min(true, default=None), max((min(100.0, max(0.0, rh)) for rh in damp), default=None)


def _fresh(state: State, place: str, quantity: str, times: int = 1) -> list[Spot]:
    found = []
    for probe, window in state.good(place, quantity):
        old_ms = times * max(_OLD_MS, int(probe.every_s * 3000))
        if window.value is not None and state.at_ms - window.measured_ms <= old_ms:
            found.append(Spot(probe, window.value))
    return found


def fired(air: KilnAir, figures: KilnFigures) -> bool | None:
    """Whether air-on is so far over outdoors that a fire heats it; None where air-on is not known."""
    if air.on is None:
        return None
    around_c = GUESSED_C if air.outdoor_c is None else air.outdoor_c
    return air.on.value_c >= around_c + figures.kiln_watch.fire_k


def ratio_of(air: KilnAir) -> float:
    """kg of water in a kg of dry outdoor air; heating adds none."""
    if air.outdoor_c is None:
        return GUESSED_RATIO
    rh = GUESSED_RH if air.outdoor_rh is None else min(1.0, air.outdoor_rh / 100.0)
    return moist.humidity_ratio(air.outdoor_c, rh)
