"""Programmes: what a file leaves out is taken from the shipped ones, and no two levels may cross."""

from __future__ import annotations

from dataclasses import fields, replace
from functools import cache
from importlib.resources import files
from itertools import pairwise
from typing import Any, NamedTuple

from gateway.core.site import Couch, Day, Programme, Stage, Turning
from gateway.settings import times
from gateway.settings.fault import Said, Sheet, Spot
from gateway.settings.forms import (
    BreathingForm,
    CouchForm,
    DayForm,
    Form,
    HeatForm,
    ProgrammeForm,
    StageForm,
)
from gateway.settings.read import parse, row, rows
from gateway.settings.values import is_id

FLOOR, KILN = "floor", "kiln"
#: What stands for the file of a shipped programme.
SHIPPED = "(shipped)"
#: A place that names no programme follows the one of this name.
OF_PLACES = {"bed": FLOOR, "kiln": KILN}

_DAY_FIELDS = ("aim_c", "turn_at_c", "high_c", "urgent_c", "low_c", "due_h", "overdue_h")
_FLOOR_KEYS = ("day", "couch", "heat", "breathing", "strict_high_c", "strict_urgent_c")
_TURNING = tuple(field.name for field in fields(Turning))
#: Each must lie below the next one.
_LEVELS = ("low_c", "aim_c", "turn_at_c", "high_c", "urgent_c")


class Known(NamedTuple):
    """A programme, for which kind of place it is, and where it stands."""

    programme: Programme
    kind: str
    spot: Spot


@cache
def shipped() -> dict[str, Programme]:
    """The programmes of a site that brings none, by id."""
    data = files("gateway.settings").joinpath("defaults.toml").read_bytes()
    document = parse(data, SHIPPED)
    sheet = Sheet()
    found = {
        key: _programme(sheet, document.spot / "programme" / key, key, value, None).programme
        for key, value in document.data["programme"].items()
    }
    if sheet.faults():
        raise AssertionError("\n".join(map(str, sheet.faults())))
    return found


def read_programmes(sheet: Sheet, spot: Spot, value: Any) -> dict[str, Known]:
    """The [programme.X] tables of one file, by id; `spot` is that of `programme`."""
    if not isinstance(value, dict):
        sheet.fault(spot, value, "tables [programme.NAME]")
        return {}
    found: dict[str, Known] = {}
    for key, item in value.items():
        if not is_id(key):
            sheet.fault(spot / key, key, "a programme's name of 1 to 40 of a-z, 0-9 and -")
        elif not isinstance(item, dict):
            sheet.fault(spot / key, item, "a table")
        else:
            found[key] = _programme(sheet, spot / key, key, item, shipped())
    return found


def _programme(
    sheet: Sheet, spot: Spot, key: str, item: dict[str, Any], base: dict[str, Programme] | None
) -> Known:
    """One programme; `base` is None while the shipped ones themselves are read."""
    kiln_keys = [name for name in ("stage", "cap_c") if name in item]
    floor_keys = [name for name in (*_FLOOR_KEYS, *_TURNING) if name in item]
    kind = KILN if kiln_keys and not floor_keys else FLOOR
    if kiln_keys and floor_keys:
        sheet.fault(spot / kiln_keys[0], item[kiln_keys[0]], "no key of a kiln's beside a floor's")
    plain = {
        name: part
        for name, part in item.items()
        if name not in ("day", "couch", "stage", "heat", "breathing")
    }
    own = row(sheet, spot, plain, ProgrammeForm)
    form = own.form
    start = replace(base[kind], id=key) if base else Programme(id=key)
    given = _given(form)
    turning = {name: given.pop(name) for name in _TURNING if name in given}
    if "rounds" in turning:
        turning["rounds"] = tuple(sorted({times.minutes(one) % times.DAY_MIN for one in turning["rounds"]}))
    programme = replace(start, **given, turning=replace(start.turning, **turning))
    if kind == KILN:
        return Known(_kiln(sheet, spot, item, form, programme), kind, spot)
    if own.whole:
        _below(sheet, spot, programme, ("strict_high_c", "strict_urgent_c"))
        _below(sheet, spot, programme.turning, ("withering_due_h", "withering_overdue_h"))
    programme = replace(programme, **_grown(sheet, spot, item, programme))
    couch = _couch(sheet, spot / "couch", item.get("couch", {}), programme.couch)
    return Known(
        replace(programme, couch=couch, days=_days(sheet, spot / "day", item.get("day"), programme.days)),
        kind,
        spot,
    )


def _grown(sheet: Sheet, spot: Spot, item: dict[str, Any], base: Programme) -> dict[str, Any]:
    """The figures of the heat balance and of breathing, where the file has its own."""
    found: dict[str, Any] = {}
    for name, form in (("heat", HeatForm), ("breathing", BreathingForm)):
        if name not in item:
            continue
        own = row(sheet, spot / name, item[name], form)
        given = {key: _tuples(value) for key, value in _given(own.form).items()}
        if own.whole and not _rises(given.get("growth")):
            sheet.fault(spot / name / "growth", item[name]["growth"], "pairs [hours, share], hours ascending")
            continue
        found[name] = replace(getattr(base, name), **given)
    return found


def _tuples(value: Any) -> Any:
    return tuple(_tuples(one) for one in value) if isinstance(value, list) else value


def _rises(points: Any) -> bool:
    if points is None:
        return True
    return all(len(point) == 2 for point in points) and all(a[0] < b[0] for a, b in pairwise(points))


def _given(form: Form) -> dict[str, Any]:
    """The keys that were written, and are right."""
    return {key: value for key, value in form.model_dump().items() if value is not None}


def _days(sheet: Sheet, spot: Spot, value: Any, base: tuple[Day, ...]) -> tuple[Day, ...]:
    found = rows(sheet, spot, value, DayForm)
    days = []
    for one in found:
        filled = shipped_day(base, one.form.day) if base else dict.fromkeys(_DAY_FIELDS, 0.0)
        day = Day(**(filled | _given(one.form)))
        days.append(day)
        for names in (*pairwise(_LEVELS), ("due_h", "overdue_h")) if one.whole else ():
            _below(sheet, one.spot, day, names)
    for before, after, one in zip(days, days[1:], found[1:], strict=False):
        if 0 <= after.day <= before.day:
            sheet.fault(one.spot / "day", after.day, f"days in ascending order, above {before.day:g}")
    return tuple(days) or base


def shipped_day(base: tuple[Day, ...], day: float) -> dict[str, float]:
    """The levels of `base` at a day, on the straight line between its rows; at the ends, the end row's."""
    before = max((one for one in base if one.day <= day), key=lambda one: one.day, default=base[0])
    after = min((one for one in base if one.day >= day), key=lambda one: one.day, default=base[-1])
    share = (day - before.day) / (after.day - before.day) if after.day > before.day else 0.0
    at = {name: (getattr(before, name), getattr(after, name)) for name in _DAY_FIELDS}
    return {"day": day} | {name: low + share * (high - low) for name, (low, high) in at.items()}


def _couch(sheet: Sheet, spot: Spot, value: Any, base: Couch | None) -> Couch:
    own = row(sheet, spot, value, CouchForm)
    couch = replace(base or Couch(0.0, 0.0, 0.0, 0.0), **_given(own.form))
    for names in (("low_c", "high_c"), ("high_c", "urgent_c")) if own.whole else ():
        _below(sheet, spot, couch, names)
    return couch


def _kiln(sheet: Sheet, spot: Spot, item: dict[str, Any], form: ProgrammeForm, start: Programme) -> Programme:
    """Without stages of its own a kiln's programme is its cap and nothing else."""
    found = rows(sheet, spot / "stage", item.get("stage"), StageForm)
    stages = [Stage(**one.form.model_dump()) for one in found]
    cap_c = form.cap_c
    if cap_c is None:
        cap_c = max([start.cap_c, *(stage.limit_c for stage in stages)])
        if cap_c > start.cap_c:
            sheet.warn(spot, Said(f"no cap_c, {cap_c:g} taken"), "cap_c, the limit while no fire is recorded")
    for one, stage in zip(found, stages, strict=True):
        if not one.whole:
            continue
        _below(sheet, one.spot, stage, ("target_c", "limit_c"))
        if stage.limit_c > cap_c:
            sheet.fault(one.spot / "limit_c", stage.limit_c, f"at most cap_c ({cap_c:g})")
    _stages_ascend(sheet, [(one.spot, stage) for one, stage in zip(found, stages, strict=True)])
    return replace(start, cap_c=cap_c, stages=tuple(stages))


def _stages_ascend(sheet: Sheet, stages: list[tuple[Spot, Stage]]) -> None:
    if stages and stages[0][1].from_h > 0:
        sheet.fault(stages[0][0] / "from_h", stages[0][1].from_h, "0 for the first stage")
    for (_, before), (spot, after) in pairwise(stages):
        if 0 <= after.from_h <= before.from_h:
            sheet.fault(spot / "from_h", after.from_h, f"hours in ascending order, above {before.from_h:g}")


def _below(sheet: Sheet, spot: Spot, levels: object, names: tuple[str, str]) -> None:
    """The first level must lie below the second; a fault stands at the second."""
    lower, upper = (getattr(levels, name) for name in names)
    if lower >= upper:
        sheet.fault(spot / names[1], upper, f"more than {names[0]} ({lower:g})")
