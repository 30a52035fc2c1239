"""The air of every place that people enter, as rows: one a place and gas, the gravest to be read first.

Rows are dicts of plain values; times are Unix ms under their keys, to be printed at the edge.
"""

from __future__ import annotations

from typing import Any

from gateway.core.follow import air_people
from gateway.core.follow.air import gauge
from gateway.core.reading import RANGE_HIGH
from gateway.core.rules import air_load, air_said, place_air
from gateway.core.rules.air_entry import Entry, believed, below_min, entry_state
from gateway.core.science import exposure
from gateway.core.science.exposure_limits import Limit, limit_of
from gateway.core.site import Place, Probe
from gateway.core.state import State
from gateway.core.window import Window


def air(state: State) -> list[dict[str, Any]]:
    """One row a place and gas in the site file's order; a place without a gas probe has one row, gas null."""
    found = []
    for place in state.site.places:
        if place.kind not in place_air.ENTERED:
            continue
        entry = entry_state(state, place.id)
        gases: list[str | None] = [
            gas
            for gas in place_air.GASES
            if any(probe.quantity == gas for probe in state.site.probes_of[place.id])
        ]
        found += [_row(state, place, gas, entry) for gas in gases or [None]]
    return found


def _row(state: State, place: Place, gas: str | None, entry: Entry) -> dict[str, Any]:
    probes = [probe for probe in state.site.probes_of[place.id] if probe.quantity == gas]
    good = believed(state, place, gas) if gas else []
    best = max(good, key=lambda pair: pair[1].value or 0.0, default=None)
    limit = limit_of(state.site.air.limits, state.site.air.jurisdiction, gas or "")
    return {
        "place": place.id,
        "kind": place.kind,
        "gas": gas,
        "value": best[1].value if best else None,
        "unit": "ppm" if gas else None,
        "level": _level(state, place, gas, best),
        "over_range": any(window.flags & RANGE_HIGH for _, window in good),
        "mean_15min": _mean(state, probes, limit, short=True) if gas else None,
        "mean_8h": _mean(state, probes, limit, short=False) if gas else None,
        "limit_source": limit.source if limit else None,
        "limit_grade": limit.grade if limit else None,
        "entry": entry.state,
        "entry_why": entry.why,
        "cautions": list(entry.cautions),
        "probes": [_probe(state, probe) for probe in probes],
        "measured_at": best[1].measured_ms if best else None,
        "measured_min": _unbroken(state, good),
        "below_min": below_min(state, good) if good else None,
        "minutes_to": _minutes_to(state, place) if gas == "co2" and not _are_dead(state, probes) else [],
        "load_t": _load(state, place) if gas == "co2" else None,
        "airing": _airing(state, place) if gas == "co2" else None,
        "inside": _inside(state, place),
        "line": air_said.long(state, place),
    }


def _level(state: State, place: Place, gas: str | None, best: tuple[Probe, Window] | None) -> str | None:
    """The highest instant level the newest value is at."""
    if gas is None or best is None:
        return None
    value = best[1].value or 0.0
    at = [level.name for level in place_air.levels(state.site, place, gas) if value >= level.limit]
    return at[-1] if at else None


def _mean(state: State, probes: list[Probe], limit: Limit | None, short: bool) -> dict[str, Any]:
    """Had somebody stood there: the highest of the probes' means, at least and at most."""
    take = exposure.mean_15_min if short else exposure.mean_8_h
    found = [
        take(state.air.gas[probe.id].exposure, gauge(probe), state.at_ms)
        for probe in probes
        if probe.id in state.air.gas
    ]
    allowed = (limit.mean_15_min if short else limit.mean_8_h) if limit else None
    if not found:
        return {"low": None, "high": None, "known_share": 0.0, "limit": allowed, "against": None}
    low, high = max(mean.low for mean in found), max(mean.high for mean in found)
    # At its range end the true mean may be any height, and so it may where no probe tells anything any more.
    no_bound = _are_dead(state, probes) or any(mean.over for mean in found)
    return {
        "low": round(low, 3),
        "high": None if no_bound else round(high, 3),
        "known_share": round(max(mean.known_share for mean in found), 3),
        "limit": allowed,
        "against": _against(allowed, low, high, no_bound),
    }


def _against(allowed: float | None, low: float, high: float, no_bound: bool) -> str | None:
    """Over by the lower bound, under by the upper one, else not known."""
    if allowed is None:
        return None
    if low > allowed:
        return "over"
    return "unknown" if no_bound or high > allowed else "under"


def _probe(state: State, probe: Probe) -> dict[str, Any]:
    window = state.windows.get(probe.id)
    return {"probe": probe.id, "state": _word(state, probe), "value": window.value if window else None}


def _word(state: State, probe: Probe) -> str:
    window = state.windows.get(probe.id)
    if probe.id in state.out_of_service:
        return "out_of_service"
    if window is not None and window.silent:
        return "silent"
    if window is None or window.value is None:
        return "waiting"
    return "stuck" if place_air.is_dead(state, probe) else "heard"


def _are_dead(state: State, probes: list[Probe]) -> bool:
    """Whether those of them that speak tell nothing."""
    words = {_word(state, probe) for probe in probes}
    return "stuck" in words and "heard" not in words


def _unbroken(state: State, good: list[tuple[Probe, Window]]) -> int | None:
    """For how many minutes the longest-speaking of them has been heard without a gap."""
    known = [state.air.gas[probe.id] for probe, _ in good if probe.id in state.air.gas]
    return max(((one.last_ms - one.since_ms) // 60_000 for one in known), default=None)


def _minutes_to(state: State, place: Place) -> list[dict[str, Any]]:
    """The soonest that is told: as it goes, or if somebody shuts the room now."""
    told = air_load.ahead(state, place)
    return [
        {
            "ppm": reach.level_ppm,
            "minutes": _whole(reach.soonest_min()),
            "as_it_goes": _whole(reach.as_it_goes_min),
            "if_shut": None if reach.if_shut_min is None else [_whole(one) for one in reach.if_shut_min],
        }
        for reach in (told.reaches if told else ())
    ]


def _whole(minutes: float | None) -> float | None:
    return None if minutes is None else round(minutes, 1)


def _load(state: State, place: Place) -> float | None:
    load = air_load.load(state, place)
    return round(load.barley_t, 2) if place.kind == "room" else None


def _airing(state: State, place: Place) -> dict[str, Any] | None:
    found = air_load.airing(state, place)
    if found is None:
        return None
    return {
        "since": found.since_ms,
        "per_h": round(found.per_h, 2),
        "downs": [
            {"ppm": one.level_ppm, "soonest": _whole(one.soonest_min), "latest": _whole(one.latest_min)}
            for one in found.downs
        ],
    }


def _inside(state: State, place: Place) -> list[dict[str, Any]]:
    rows = state.air.inside
    return [
        {
            "person": who,
            "since": rows[who].since_ms,
            "until": rows[who].until_ms,
            "missed": rows[who].missed,
        }
        for who in air_people.inside(state, place.id)
    ]
