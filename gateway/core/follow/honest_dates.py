"""When each probe wants calibrating, and a gas probe trying with gas: by the dates in the site file.

A probe whose dates nobody wrote down is asked about on its page, not called: there is no day to count from.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

from gateway.core.finding import Finding, Subject
from gateway.core.site import Probe, Site
from gateway.core.state import State

KIND = "probe_calibration_due"
_HOUR_MS = 3_600_000
_GAS = ("co2", "co")


class Due(NamedTuple):
    """The days from which a probe wants calibrating and trying with gas; None where it never does."""

    calibration: date | None = None
    bump: date | None = None


def due(site: Site, probe: Probe) -> Due:
    """By the probe's own row, else by what the site has for its quantity."""
    gas = probe.quantity in _GAS
    return Due(
        _day(probe.calibrated, probe.calibrate_every_days, site.honest.gas_calibrate_days if gas else 0.0),
        _day(probe.bump_tested, probe.bump_every_days, site.honest.gas_bump_days if gas else 0.0),
    )


def _day(last: str, own_days: float | None, usual_days: float) -> date | None:
    every = usual_days if own_days is None else own_days
    if not last or every <= 0:
        return None
    try:
        return date.fromisoformat(last) + timedelta(days=every)
    except OverflowError:
        return None


def look(state: State) -> list[Finding]:
    """Once an hour: which probes became due, or are no longer."""
    honesty = state.honesty
    if state.run_ms < honesty.dates_run_ms:
        return []
    honesty.dates_run_ms = state.run_ms + _HOUR_MS
    today = datetime.fromtimestamp(state.at_ms // 1000, ZoneInfo(state.site.time_zone)).date()
    found = []
    for probe in state.site.probes:
        said, before = _said(state, probe, today), honesty.due.get(probe.id, "")
        if said == before:
            continue
        honesty.due[probe.id] = said
        if not said:
            del honesty.due[probe.id]
        found.append(finding_of(state, probe))
    return found


def _said(state: State, probe: Probe, today: date) -> str:
    """What was due when, short enough for a message; empty where nothing is."""
    if not (probe.calibrated or probe.bump_tested) or probe.id in state.out_of_service:
        return ""
    days = due(state.site, probe)._asdict().items()
    return ", ".join(f"{what} due {day}" for what, day in days if day is not None and day <= today)


def finding_of(state: State, probe: Probe) -> Finding:
    """Whether the probe is due, as last looked at."""
    detail = state.honesty.due.get(probe.id, "")
    return Finding(Subject(KIND, probe.place, probe.id), bool(detail), "low", "due", 1, detail=detail)
