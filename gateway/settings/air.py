"""What people breathe: the limits of a jurisdiction, the instant levels, the figures of a shut room.

A site may go lower than what is shipped. Going higher takes a written reason and the safety officer's name,
`why` and `safety_officer` of [air]; without them it is a fault.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any, NamedTuple

from gateway.core.estimate.shut_room import RoomSettings
from gateway.core.science.exposure_limits import LEVELS, Limit, limit_of, loosened
from gateway.core.site_air import Air
from gateway.settings.fault import Said, Sheet, SiteFault
from gateway.settings.forms import AirForm, GasLimitForm, PlaceForm
from gateway.settings.forms_air import InstantForm, LimitForm, RoomForm
from gateway.settings.read import Document, Row, parse, read_document, row, rows

LIMITS_FILE, ROOM_FILE = "exposure-limits.toml", "shut-room.toml"
#: Key of [air] and of a place -> field of Air, substance, and its name among the shipped instant levels.
INSTANT = {
    "co2_no_entry_ppm": ("high_ppm", "co2", "hand_meter"),
    "co2_leave_ppm": ("leave_ppm", "co2", "leave"),
    "co_leave_ppm": ("co_leave_ppm", "co", "leave"),
    "co_evacuate_ppm": ("co_evacuate_ppm", "co", "evacuate"),
}
_PLAIN = ("on_delay_s", "off_delay_s", "co_deadband_ppm", "out_after_min", "emergency")
_ALLOWED = "{most:g} at most, or [air] why and safety_officer beside it: who raises it, and for what reason"


class Shipped(NamedTuple):
    """The limits by jurisdiction, and the instant levels by (substance, name)."""

    limits: tuple[Limit, ...]
    instant: dict[tuple[str, str], float]


@cache
def shipped() -> Shipped:
    """The limits that come with the program."""
    sheet = Sheet()
    found = _limits(sheet, _own(LIMITS_FILE))
    if sheet.faults():
        raise AssertionError("\n".join(map(str, sheet.faults())))
    return found


@cache
def shipped_room() -> RoomSettings:
    """The figures of a shut room that come with the program."""
    sheet = Sheet()
    found = _room(sheet, _own(ROOM_FILE))
    if sheet.faults():
        raise AssertionError("\n".join(map(str, sheet.faults())))
    return found


def _own(name: str) -> Document:
    return parse(files("gateway.settings").joinpath(name).read_bytes(), f"(shipped) {name}")


def _limits(sheet: Sheet, document: Document) -> Shipped:
    _only(sheet, document, ("limit", "instant"))
    limits = rows(sheet, document.spot / "limit", document.data.get("limit"), LimitForm)
    instant = rows(sheet, document.spot / "instant", document.data.get("instant"), InstantForm)
    levels: dict[tuple[str, str], float] = {
        (one.form.substance, name): value
        for one in instant
        for name in ("hand_meter", "leave", "evacuate")
        if (value := getattr(one.form, name)) is not None
    }
    return Shipped(tuple(Limit(**one.form.model_dump()) for one in limits), levels)


def _room(sheet: Sheet, document: Document) -> RoomSettings:
    _only(sheet, document, ("shut_room",))
    form = row(sheet, document.spot / "shut_room", document.data.get("shut_room", {}), RoomForm).form
    given = {key: value for key, value in form.model_dump().items() if value is not None}
    return replace(RoomSettings(), **given)


def _only(sheet: Sheet, document: Document, known: tuple[str, ...]) -> None:
    for key in (key for key in document.data if key not in known):
        sheet.fault(
            document.spot / key, document.data[key], f"nothing but {' and '.join(known)} in this file"
        )


def read(sheet: Sheet, own: Row[AirForm], limits: Sequence[Row[GasLimitForm]], folder: Path | None) -> Air:
    """The site's air: shipped figures, or those of its files, and its own levels and limits over them."""
    form, known, room = own.form, shipped(), shipped_room()
    document = _file(sheet, own, "limits_file", folder)
    if document is not None:
        known = _limits(sheet, document)
        _compare(sheet, own, known.limits)
    document = _file(sheet, own, "shut_room_file", folder)
    if document is not None:
        room = _room(sheet, document)
    given: dict[str, Any] = {key: getattr(form, key) for key in _PLAIN if getattr(form, key) is not None}
    given |= {INSTANT[key][0]: value for key in INSTANT if (value := getattr(form, key)) is not None}
    start = {
        field: known.instant[substance, name]
        for field, substance, name in INSTANT.values()
        if (substance, name) in known.instant
    }
    if form.co2_deadband_ppm is not None:
        given["deadband_ppm"] = form.co2_deadband_ppm
    air = Air(**(start | given), room=room, safety_officer=form.safety_officer or "", why=form.why or "")
    _instant(sheet, own, air)
    return replace(
        air, jurisdiction=form.jurisdiction or "", limits=_of_site(sheet, own, known.limits, limits, air)
    )


def _file(sheet: Sheet, own: Row[AirForm], key: str, folder: Path | None) -> Document | None:
    name = getattr(own.form, key)
    if name is None or folder is None:
        return None
    try:
        return read_document(folder / name)
    except SiteFault as fault:
        one = fault.faults[0]
        sheet.fault(own.spot / key, name, one.expected) if one.line is None else sheet.add(one)
        return None


def _signed(air: AirForm | Air) -> bool:
    return bool(air.why and air.safety_officer)


def _compare(sheet: Sheet, own: Row[AirForm], found: Iterable[Limit]) -> None:
    """A site's own list of limits is held to the shipped one where both speak of the same."""
    for one in found:
        known = limit_of(shipped().limits, one.jurisdiction, one.substance)
        if known is None or _signed(own.form):
            continue
        for name in loosened(known, one):
            what = Said(f"{one.jurisdiction} {one.substance} {name} {_shown(getattr(one, name))}")
            sheet.fault(own.spot / "limits_file", what, _ALLOWED.format(most=getattr(known, name)))


def _shown(value: float | None) -> str:
    return "left out" if value is None else f"{value:g}"


def _instant(sheet: Sheet, own: Row[AirForm], air: Air) -> None:
    for key, (field, substance, name) in INSTANT.items():
        most = shipped().instant[substance, name]
        if getattr(air, field) > most and not _signed(own.form):
            sheet.fault(own.spot / key, getattr(air, field), _ALLOWED.format(most=most))
    for low, high in (("co2_no_entry_ppm", "co2_leave_ppm"), ("co_leave_ppm", "co_evacuate_ppm")):
        below, above = getattr(air, INSTANT[low][0]), getattr(air, INSTANT[high][0])
        if own.whole and below >= above:
            sheet.fault(own.spot / high, above, f"more than {low} ({below:g})")


def _of_site(
    sheet: Sheet, own: Row[AirForm], known: tuple[Limit, ...], limits: Sequence[Row[GasLimitForm]], air: Air
) -> tuple[Limit, ...]:
    """One limit a substance: the jurisdiction's (without one the lowest of all), the site's own over it."""
    names = list(dict.fromkeys(one.jurisdiction for one in known))
    wanted = own.form.jurisdiction
    if wanted is not None and wanted not in names:
        sheet.fault(own.spot / "jurisdiction", wanted, f"one of {', '.join(names)}")
        return ()
    found = {one.substance: one for one in known if one.jurisdiction == wanted}
    if wanted is None:
        found = {one.substance: _lowest(known, one.substance) for one in known}
    for one in limits:
        if one.whole:
            _own_limit(sheet, one, found, air)
    return tuple(found.values())


def _lowest(known: Sequence[Limit], substance: str) -> Limit:
    those = [one for one in known if one.substance == substance]
    lowest: dict[str, Any] = {
        name: min((value for one in those if (value := getattr(one, name)) is not None), default=None)
        for name in LEVELS
    }
    source = "the lowest of all listed; the site names no jurisdiction"
    return replace(those[0], jurisdiction="", grade=max(one.grade for one in those), source=source, **lowest)


def _own_limit(sheet: Sheet, one: Row[GasLimitForm], found: dict[str, Limit], air: Air) -> None:
    known = found.get(one.form.substance)
    given = {name: value for name in LEVELS if (value := getattr(one.form, name)) is not None}
    if known is None:
        jurisdiction = next((limit.jurisdiction for limit in found.values()), "")
        known = Limit(jurisdiction, one.form.substance, "ppm", "o", "")
    ours = replace(
        known, **given, source=f"the site's own; else {known.source}" if known.source else "the site's own"
    )
    if not _signed(air):
        for name in loosened(known, ours):
            sheet.fault(one.spot / name, given[name], _ALLOWED.format(most=getattr(known, name)))
    found[one.form.substance] = ours


def check_places(sheet: Sheet, places: Sequence[Row[PlaceForm]], air: Air) -> None:
    """A place's own instant levels: lower as it likes, higher with a reason; none where nobody breathes."""
    for place in places:
        for key, (_, substance, name) in INSTANT.items():
            own = "co2_high_ppm" if key == "co2_no_entry_ppm" else key
            value, most = getattr(place.form, own), shipped().instant[substance, name]
            if value is None:
                continue
            if value > most and not _signed(air):
                sheet.fault(place.spot / own, value, _ALLOWED.format(most=most))
            nobodys = place.form.kind == "outdoors" or (place.form.kind == "bed" and substance == "co2")
            if nobodys:
                sheet.fault(place.spot / own, value, f"{own} where people go in only")
