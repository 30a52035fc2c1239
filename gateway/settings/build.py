"""From the checked tables to the core's values: fixed units, defaults, stable ids of phones."""

from __future__ import annotations

from typing import Any, NamedTuple

from gateway.core.site import Callout, Floor, Person, Phone, Place, Probe, Shift
from gateway.core.site_air import Air
from gateway.settings import times
from gateway.settings.checks import topic_of
from gateway.settings.fault import Said, Sheet, Spot
from gateway.settings.forms import (
    CalloutForm,
    FloorForm,
    PersonForm,
    PhoneForm,
    PlaceForm,
    ProbeForm,
    ShiftForm,
)  # fmt: skip
from gateway.settings.programmes import OF_PLACES
from gateway.settings.quantities import ENTERED, QUANTITIES, Linear, silent_after_s
from gateway.settings.read import Row


def floor(form: FloorForm) -> Floor:
    """A floor."""
    return Floor(form.id, form.length_m, form.volume_m3, form.pieces, form.walk_m)


def place(form: PlaceForm, air: Air) -> Place:
    """A place; its name is made from its id where none is given, its programme is that of its kind."""
    high_ppm = form.co2_high_ppm
    return Place(
        id=form.id,
        kind=form.kind,
        name=form.name or _name(form.id),
        floor=form.floor,
        from_m=form.from_m,
        to_m=form.to_m,
        volume_m3=form.volume_m3,
        programme=form.programme or OF_PLACES.get(form.kind),
        co2_high_ppm=air.high_ppm if high_ppm is None and form.kind in ENTERED else high_ppm,
        co2_leave_ppm=form.co2_leave_ppm,
        co_leave_ppm=form.co_leave_ppm,
        co_evacuate_ppm=form.co_evacuate_ppm,
        full_t=form.full_t,
    )


def _name(word: str) -> str:
    """bed-c is Bed C, lower-room is Lower room."""
    first, *others = word.replace("-", " ").split() or [word]
    rest = (part.upper() if len(part) == 1 else part for part in others)
    return " ".join([first.capitalize(), *rest])


class _Ends(NamedTuple):
    low: float | None
    high: float | None


def probe(form: ProbeForm, kind: str, root: str) -> Probe:
    """A probe at a place of that kind, everything in the fixed unit of its quantity."""
    quantity = QUANTITIES[form.quantity]
    unit = form.unit or quantity.fixed
    to_fixed = quantity.units[unit]
    ends = _ends(form.range, to_fixed)
    garbage = _ends(form.plausible, to_fixed)
    return Probe(
        id=form.id,
        place=form.place,
        quantity=form.quantity,
        unit=unit,
        topic=topic_of(form, root),
        every_s=form.every_s,
        payload=form.payload,
        height_cm=form.height_cm,
        at_m=form.at_m,
        role=form.role,
        range_low=ends.low,
        range_high=ends.high,
        plausible_low=_least(quantity.plausible[0], ends.low) if garbage.low is None else garbage.low,
        plausible_high=_most(quantity.plausible[1], ends.high) if garbage.high is None else garbage.high,
        to_fixed_gain=to_fixed.gain,
        to_fixed_offset=to_fixed.offset,
        gain=form.gain,
        offset=_offset(form, to_fixed),
        value=form.value,
        time=form.time,
        sequence=form.sequence,
        battery=form.battery,
        battery_unit=form.battery_unit or "",
        silent_after_s=form.silent_after_s or silent_after_s(form.quantity, kind, form.every_s),
        calibrated=form.calibrated or "",
        bump_tested=form.bump_tested or "",
        self_baseline=form.self_baseline,
        calibrate_every_days=form.calibrate_every_days,
        bump_every_days=form.bump_every_days,
    )


def _ends(pair: list[float] | None, to_fixed: Linear) -> _Ends:
    return _Ends(to_fixed(pair[0]), to_fixed(pair[1])) if pair else _Ends(None, None)


def _least(default: float, end: float | None) -> float:
    return default if end is None else min(default, end)


def _most(default: float, end: float | None) -> float:
    return default if end is None else max(default, end)


def _offset(form: ProbeForm, to_fixed: Linear) -> float:
    """Calibration is written in the probe's own unit, gain x value + offset; this is the fixed unit's."""
    return to_fixed.gain * form.offset + to_fixed.offset * (1.0 - form.gain)


def check_plausible(sheet: Sheet, row: Row[ProbeForm]) -> None:
    """What the instrument can show is not garbage."""
    span, garbage = row.form.range, row.form.plausible
    if span and garbage and (garbage[0] > span[0] or garbage[1] < span[1]):
        wanted = f"bounds around range [{span[0]:g}, {span[1]:g}]"
        sheet.fault(row.spot / "plausible", garbage, wanted)


def check_dates(sheet: Sheet, row: Row[ProbeForm]) -> None:
    """How often is of no use without the date of the last time."""
    form = row.form
    for key, days, last in (
        ("calibrate_every_days", form.calibrate_every_days, "calibrated"),
        ("bump_every_days", form.bump_every_days, "bump_tested"),
    ):
        if days and not getattr(form, last):
            wanted = f"{last}, the date of the last time, beside it; nobody is told without"
            sheet.warn(row.spot / key, days, wanted)
    if form.self_baseline:
        wanted = "false: one that never sees fresh air takes bad air for it, and drifts low"
        sheet.warn(row.spot / "self_baseline", form.self_baseline, wanted)


def person(form: PersonForm) -> Person:
    """A person."""
    return Person(form.id, form.name or _name(form.id), form.role)


def phones(forms: list[PhoneForm]) -> list[Phone]:
    """Phones, each with an id of its person and its place among that person's: ada-1, ada-2."""
    count: dict[str, int] = {}
    found = []
    for form in forms:
        count[form.person] = count.get(form.person, 0) + 1
        found.append(Phone(f"{form.person}-{count[form.person]}", form.person, form.kind))
    return found


def shift(form: ShiftForm) -> Shift:
    """A shift; `to` at or before `from` is on the next day."""
    from_min, to_min = times.minutes(form.from_), times.minutes(form.to)
    if to_min <= from_min:
        to_min += times.DAY_MIN
    return Shift(tuple(form.people), times.days(form.days), from_min, to_min)


def check_cover(sheet: Sheet, spot: Spot, shifts: list[Shift], time_zone: str) -> None:
    """Every hour of the week somebody is on. Without, the gateway runs, and then calls everybody."""
    gap = times.first_gap([(day, one.from_min, one.to_min) for one in shifts for day in one.days])
    if gap:
        wanted = f"somebody on shift at every hour ({time_zone or 'local'} time), or everybody is called"
        sheet.warn(spot, Said(f"nobody {gap[0]} to {gap[1]}"), wanted)


def callout(form: CalloutForm) -> Callout:
    """The steps of a call; what is not written is as core Callout has it."""
    given: dict[str, Any] = {key: value for key, value in form.model_dump().items() if value is not None}
    names = {"morning": "morning_min", "night_from": "night_from_min", "night_to": "night_to_min"}
    names |= {"evening": "evening_min", "forecast": "forecast_min"}
    for key, name in names.items():
        if key in given:
            given[name] = times.minutes(given.pop(key)) % times.DAY_MIN
    return Callout(**given)
