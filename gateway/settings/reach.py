"""Whether a probe can see what it is there for: its range against its calibration and its place's limits."""

from __future__ import annotations

from collections.abc import Sequence

from gateway.core.site import Place, Probe, Programme
from gateway.core.site_air import Air
from gateway.settings.fault import Sheet
from gateway.settings.forms import ProbeForm
from gateway.settings.read import Row

Limit = tuple[str, float]


def limits_of(
    quantity: str, place: Place, programme: Programme | None, air: Air | None = None
) -> list[Limit]:
    """The upper limits a probe of that quantity is judged by there, lowest first, by name."""
    found: list[Limit] = []
    if quantity == "co2" and place.co2_high_ppm is not None:
        leave = place.co2_leave_ppm if place.co2_leave_ppm is not None else (air or Air()).leave_ppm
        found = [("co2_high_ppm", place.co2_high_ppm), ("co2_leave_ppm", max(leave, place.co2_high_ppm))]
    if quantity == "co" and place.kind != "outdoors":
        found = _co(place, air or Air())
    if quantity == "temperature" and programme is not None:
        found = _kiln(programme) if place.kind == "kiln" else _floor(programme)
    return sorted(found, key=lambda limit: limit[1])


def _co(place: Place, air: Air) -> list[Limit]:
    return [
        ("co_leave_ppm", air.co_leave_ppm if place.co_leave_ppm is None else place.co_leave_ppm),
        ("co_evacuate_ppm", air.co_evacuate_ppm if place.co_evacuate_ppm is None else place.co_evacuate_ppm),
    ]


def _kiln(programme: Programme) -> list[Limit]:
    return [("cap_c", programme.cap_c), *(("limit_c", stage.limit_c) for stage in programme.stages)]


def _floor(programme: Programme) -> list[Limit]:
    found = [("strict_high_c", programme.strict_high_c), ("strict_urgent_c", programme.strict_urgent_c)]
    for day in programme.days:
        found += [("turn_at_c", day.turn_at_c), ("high_c", day.high_c), ("urgent_c", day.urgent_c)]
    if programme.couch:
        found += [("high_c", programme.couch.high_c), ("urgent_c", programme.couch.urgent_c)]
    return found


def check(sheet: Sheet, row: Row[ProbeForm], probe: Probe, limits: Sequence[Limit]) -> None:
    """A fault where no limit lies inside the probe's range, a warning where some lie above it.

    A limit at the very end can be seen: a reading at the end counts as at least that.
    """
    if probe.range_low is None or probe.range_high is None or not limits:
        return
    low, high = (probe.gain * end + probe.offset for end in (probe.range_low, probe.range_high))
    if not any(low < limit <= high for _, limit in limits):
        few = f"{limits[0][1]:g} to {limits[-1][1]:g}"
        wanted = f"a range with at least one of the place's limits in it ({few} in the fixed unit)"
        sheet.fault(row.spot / "range", row.form.range, wanted)
        return
    beyond = sorted({f"{name} {limit:g}" for name, limit in limits if limit > high})
    if beyond:
        wanted = f"a range beyond {', '.join(beyond[:4])}, which this probe cannot show"
        sheet.warn(row.spot / "range", row.form.range, wanted)
