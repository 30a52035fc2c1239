"""Reads a site file: all its faults at once, or the core's Site and what the edges need."""

from __future__ import annotations

import zoneinfo
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gateway.core.site import Place, Probe, Programme, Site
from gateway.settings import air, build, checks, edge, honest, kiln, reach, recipes
from gateway.settings.fault import Fault, Sheet, SiteFault, Spot
from gateway.settings.forms import (
    AirForm,
    BrokerForm,
    CalloutForm,
    FloorForm,
    Form,
    GasLimitForm,
    LinksForm,
    PersonForm,
    PhoneForm,
    PlaceForm,
    ProbeForm,
    SeriesForm,
    ShiftForm,
    SiteForm,
    StoreForm,
)  # fmt: skip
from gateway.settings.forms_honest import HonestForm
from gateway.settings.locate import Lines
from gateway.settings.programmes import OF_PLACES, SHIPPED, Known, read_programmes, shipped
from gateway.settings.quantities import QUANTITIES
from gateway.settings.read import Document, Row, parse, read_document, rows, table
from gateway.settings.web import WebForm, WebSettings, read_web
from gateway.settings.words import nearest

TABLES: dict[str, type[Form]] = {
    "site": SiteForm,
    "broker": BrokerForm,
    "links": LinksForm,
    "callout": CalloutForm,
    "air": AirForm,
    "honest": HonestForm,
    "series": SeriesForm,
    "store": StoreForm,
    "web": WebForm,
}
ARRAYS: dict[str, type[Form]] = {
    "floor": FloorForm, "place": PlaceForm, "probe": ProbeForm, "person": PersonForm, "phone": PhoneForm,
    "shift": ShiftForm, "gas_limit": GasLimitForm,
}  # fmt: skip
#: Where relative secret files lie, if not beside the site file.
SECRETS_FOLDER = "MALTING_SECRETS"


@dataclass(frozen=True, slots=True)
class Settings:
    """A site file that can be used. `phones` are by the id of core's Phone; `warnings` are for people.

    `keep_raw_days`: how long raw readings stay in the store.
    """

    site: Site
    broker: edge.BrokerSettings
    links: edge.LinksSettings
    phones: dict[str, edge.PhoneSettings]
    warnings: tuple[Fault, ...] = ()
    series: edge.SeriesSettings | None = None
    keep_raw_days: float = 90.0
    web: WebSettings | None = None


def load(path: Path | str, env: Mapping[str, str] | None = None, *, with_secrets: bool = True) -> Settings:
    """The settings of a site file; raises SiteFault (a SettingsFault) with every fault.

    `env` is the environment (MALTING_SECRETS is looked at). A replay needs no secrets: without
    `with_secrets` no secret, password or TLS file is opened, and the phones' keys are empty.
    """
    settings, faults, warnings = _read(Path(path), env or {}, with_secrets)
    if settings is None:
        raise SiteFault(faults, warnings)
    return settings


def check(path: Path | str, env: Mapping[str, str] | None = None) -> tuple[list[Fault], list[Fault]]:
    """(faults, warnings) of a site file; it can be used where there is no fault. Raises nothing."""
    try:
        _, faults, warnings = _read(Path(path), env or {}, True)
    except SiteFault as fault:
        return list(fault.faults), list(fault.warnings)
    return faults, warnings


def _read(
    path: Path, env: Mapping[str, str], with_secrets: bool
) -> tuple[Settings | None, list[Fault], list[Fault]]:
    document = read_document(path)
    reading = _Reading(document, path.parent)
    folder = Path(env.get(SECRETS_FOLDER) or path.parent)
    return reading.settings(edge.Secrets(reading.sheet, folder if with_secrets else None))


def check_text(text: str) -> tuple[list[Fault], list[Fault]]:
    """The same for a text that is in no file; no file it names is opened. Raises nothing."""
    try:
        reading = _Reading(parse(text.encode(errors="replace"), "text"), None)
    except SiteFault as fault:
        return list(fault.faults), []
    _, faults, warnings = reading.settings(edge.Secrets(reading.sheet, None))
    return faults, warnings


class _Reading:
    """One site file on its way from tables to settings."""

    def __init__(self, document: Document, folder: Path | None) -> None:
        self.sheet = sheet = Sheet()
        self.document = document
        self.folder = folder
        self.site = table(sheet, document, "site", SiteForm)
        self.broker = table(sheet, document, "broker", BrokerForm)
        self.links = table(sheet, document, "links", LinksForm)
        self.callout = table(sheet, document, "callout", CalloutForm)
        self.store = table(sheet, document, "store", StoreForm)
        own_limits = self._array("gas_limit", GasLimitForm)
        self.air = air.read(sheet, table(sheet, document, "air", AirForm), own_limits, folder)
        self.honest = honest.build(table(sheet, document, "honest", HonestForm), honest.shipped())
        self.floors = self._array("floor", FloorForm)
        self.places = self._array("place", PlaceForm)
        self.probes = self._array("probe", ProbeForm)
        self.persons = self._array("person", PersonForm)
        self.phones = self._array("phone", PhoneForm)
        self.shifts = self._array("shift", ShiftForm)
        self.programmes = self._programmes()
        physics = self.site.form.kiln_physics_file
        self.kiln = kiln.read_physics(sheet, self.site.spot / "kiln_physics_file", self.folder, physics)
        own = recipes.read_recipes(sheet, document.spot / "recipe", document.data.get("recipe", {}))
        self.recipes = own or recipes.shipped()

    def _array(self, key: str, form: type[Any]) -> list[Row[Any]]:
        return rows(self.sheet, self.document.spot / key, self.document.data.get(key), form)

    def _programmes(self) -> dict[str, Known]:
        """The site's own programmes, those of its files, and the shipped ones whose names are still free."""
        spot = self.document.spot
        found = read_programmes(self.sheet, spot / "programme", self.document.data.get("programme", {}))
        names = self.site.form.programme_files if self.folder else []
        for i, name in enumerate(names):
            self._programme_file(spot / "site" / "programme_files" / i, name, found)
        nowhere = Spot(SHIPPED, Lines())
        return {key: Known(one, key, nowhere) for key, one in shipped().items()} | found

    def _programme_file(self, spot: Spot, name: str, found: dict[str, Known]) -> None:
        try:
            document = read_document((self.folder or Path()) / name)
        except SiteFault as fault:
            one = fault.faults[0]
            self.sheet.fault(spot, name, one.expected) if one.line is None else self.sheet.add(one)
            return
        for key in (key for key in document.data if key != "programme"):
            self.sheet.fault(
                document.spot / key, document.data[key], "nothing but [programme.NAME] in this file"
            )
        new = read_programmes(self.sheet, document.spot / "programme", document.data.get("programme", {}))
        for key in (key for key in new if key in found):
            there = found[key].spot
            wanted = f"a name of its own (taken in {there.file}, line {there.line})"
            self.sheet.fault(new[key].spot, key, wanted)
        found.update({key: one for key, one in new.items() if key not in found})

    def settings(self, secrets: edge.Secrets) -> tuple[Settings | None, list[Fault], list[Fault]]:
        """The settings, unless there is a fault, with all faults and warnings."""
        sheet = self.sheet
        broker = edge.broker(sheet, self.broker, self.site.form.id or "site", secrets)
        self._check_tables(broker)
        links = edge.links(self.links) if self.links.whole else edge.LinksSettings("", 0, "")
        phone_settings = [edge.phone(sheet, row, secrets) for row in self.phones]
        series = self._series(secrets)
        page = self._page(secrets)
        site = self._site(broker.root)
        faults = sheet.faults()
        if site is None or faults:
            return None, faults, sheet.warnings()
        warnings = sheet.warnings()
        keys = (phone.id for phone in site.phones)
        phones = dict(zip(keys, phone_settings, strict=True))
        keep_days = self.store.form.keep_raw_days
        found = Settings(site, broker, links, phones, tuple(warnings), series, keep_days, page)
        return found, faults, warnings

    def _series(self, secrets: edge.Secrets) -> edge.SeriesSettings | None:
        """The time-series server, where the file has one."""
        if "series" not in self.document.data:
            return None
        return edge.series(self.sheet, table(self.sheet, self.document, "series", SeriesForm), secrets)

    def _page(self, secrets: edge.Secrets) -> WebSettings | None:
        """The page, where the file has one."""
        if "web" not in self.document.data:
            return None
        row = table(self.sheet, self.document, "web", WebForm)
        return read_web(self.sheet, row, secrets) if row.whole else None

    def _check_tables(self, broker: edge.BrokerSettings) -> None:
        sheet, data = self.sheet, self.document.data
        known = [*TABLES, *ARRAYS, "programme", "recipe"]
        for key in (key for key in data if key not in known):
            self.sheet.fault(self.document.spot / key, data[key], f"no such table, but {nearest(key, known)}")
        floors = checks.unique_ids(sheet, self.floors)
        places = checks.unique_ids(sheet, self.places)
        persons = checks.unique_ids(sheet, self.persons)
        checks.unique_ids(sheet, self.probes)
        checks.references(sheet, self.places, self.probes, floors, places)
        checks.people(sheet, self.persons, self.phones, self.shifts, persons)
        checks.programmes_of_places(sheet, self.places, self.programmes)
        checks.stretches(sheet, self.places, self.floors)
        air.check_places(sheet, self.places, self.air)
        checks.units(sheet, self.probes)
        checks.silences(sheet, self.probes)
        checks.topics(sheet, self.probes, broker.root, broker.subscribe)

    def _site(self, root: str) -> Site | None:
        sheet = self.sheet
        self._time_zone()
        places = [build.place(row.form, self.air) for row in self.places]
        probes = self._probes({place.id: place for place in places}, root)
        self._unwatched()
        shifts = [build.shift(row.form) for row in self.shifts if row.whole]
        if len(shifts) == len(self.shifts):
            build.check_cover(sheet, self.document.spot / "shift", shifts, self.site.form.time_zone)
        if sheet.faults():
            return None
        return Site(
            id=self.site.form.id,
            name=self.site.form.name or self.site.form.id,
            time_zone=self.site.form.time_zone,
            floors=tuple(build.floor(row.form) for row in self.floors),
            places=tuple(places),
            probes=tuple(probes),
            people=tuple(build.person(row.form) for row in self.persons),
            phones=tuple(build.phones([row.form for row in self.phones])),
            shifts=tuple(shifts),
            programmes=tuple(self._used(places)),
            callout=build.callout(self.callout.form),
            recipes=self.recipes,
            air=self.air,
            honest=self.honest,
            kiln=self.kiln,
        )

    def _time_zone(self) -> None:
        name = self.site.form.time_zone
        try:
            if name:
                zoneinfo.ZoneInfo(name)
        except (KeyError, ValueError, OSError):
            self.sheet.fault(self.site.spot / "time_zone", name, 'a time zone such as "Europe/London"')

    def _probes(self, places: dict[str, Place], root: str) -> list[Probe]:
        """The probes that are whole and hang somewhere, each looked at against its place's limits."""
        found = []
        for row in self.probes:
            form, place = row.form, places.get(row.form.place)
            build.check_plausible(self.sheet, row)
            build.check_dates(self.sheet, row)
            units = QUANTITIES[form.quantity].units if form.quantity else {}
            if not row.whole or place is None or (form.unit or next(iter(units))) not in units:
                continue
            probe = build.probe(form, place.kind, root)
            found.append(probe)
            self._look(row, probe, place)
        return found

    def _unwatched(self) -> None:
        """A bed or kiln without a thermometer may well be meant so; it is said all the same."""
        watched = {row.form.place for row in self.probes if row.form.quantity == "temperature"}
        for row in self.places:
            if row.form.kind in OF_PLACES and row.form.id and row.form.id not in watched:
                self.sheet.warn(row.spot, row.form.id, "a temperature probe there; nobody is called without")

    def _look(self, row: Row[ProbeForm], probe: Probe, place: Place) -> None:
        programme = self.programmes.get(place.programme or "")
        limits = reach.limits_of(probe.quantity, place, programme.programme if programme else None, self.air)
        reach.check(self.sheet, row, probe, limits)
        if probe.quantity == "co2" and place.kind in ("kiln", "plenum") and not limits:
            self.sheet.warn(row.spot, probe.id, f"co2_high_ppm at {place.id}; nobody is called without")
        inside = place.from_m is None or place.to_m is None or probe.at_m is None
        if not inside and not (place.from_m or 0.0) <= (probe.at_m or 0.0) <= (place.to_m or 0.0):
            stretch = f"{place.from_m:g} to {place.to_m:g}"
            self.sheet.warn(
                row.spot / "at_m", probe.at_m, f"metres along the floor within {place.id} ({stretch})"
            )

    def _used(self, places: list[Place]) -> list[Programme]:
        """The site's programmes, and the shipped ones that a place follows."""
        followed = {place.programme for place in places if place.kind in OF_PLACES}
        own = {key for key, one in self.programmes.items() if one.spot.file != SHIPPED}
        return [one.programme for key, one in self.programmes.items() if key in own | followed]
