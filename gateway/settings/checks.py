"""What depends on more than one key: ids, references, stretches, topics."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from gateway.settings import topic
from gateway.settings.fault import Sheet, Spot
from gateway.settings.forms import FloorForm, PersonForm, PhoneForm, PlaceForm, ProbeForm, ShiftForm
from gateway.settings.programmes import OF_PLACES, Known
from gateway.settings.quantities import QUANTITIES
from gateway.settings.read import Row
from gateway.settings.words import nearest


def unique_ids(sheet: Sheet, rows: Iterable[Row[Any]]) -> set[str]:
    """The ids of these rows; each may be there once."""
    first: dict[str, Spot] = {}
    for row in rows:
        word = row.form.id
        if word and word in first:
            sheet.fault(row.spot / "id", word, f"an id of its own (taken {_there(first[word])})")
        first.setdefault(word, row.spot / "id")
    return set(first) - {""}


def _there(spot: Spot) -> str:
    return f"in line {spot.line}" if spot.line else "above"


def _known(sheet: Sheet, spot: Spot, word: str | None, known: set[str], what: str) -> None:
    if word and word not in known:
        guess = "" if sheet.full else f": {nearest(word, sorted(known))}"
        sheet.fault(spot, word, f"the id of a {what}{guess}")


def references(
    sheet: Sheet,
    places: Sequence[Row[PlaceForm]],
    probes: Sequence[Row[ProbeForm]],
    floors: set[str],
    place_ids: set[str],
) -> None:
    """Floors of places and places of probes must be there."""
    for place in places:
        _known(sheet, place.spot / "floor", place.form.floor, floors, "floor")
    for probe in probes:
        _known(sheet, probe.spot / "place", probe.form.place, place_ids, "place")


def people(
    sheet: Sheet,
    persons: Sequence[Row[PersonForm]],
    phones: Sequence[Row[PhoneForm]],
    shifts: Sequence[Row[ShiftForm]],
    known: set[str],
) -> None:
    """People of phones and shifts must be there; somebody without a phone is warned of."""
    for phone in phones:
        _known(sheet, phone.spot / "person", phone.form.person, known, "person")
    for shift in shifts:
        for i, word in enumerate(shift.form.people):
            _known(sheet, shift.spot / "people" / i, word, known, "person")
    reachable = {phone.form.person for phone in phones}
    for person in persons:
        if person.form.id and person.form.id not in reachable:
            sheet.warn(
                person.spot, person.form.id, "a [[phone]] of this person; nobody can be called without"
            )


def programmes_of_places(sheet: Sheet, places: Sequence[Row[PlaceForm]], known: dict[str, Known]) -> None:
    """A bed follows a floor's programme, a kiln a kiln's, and nothing else follows any."""
    for place in places:
        spot, word, kind = place.spot / "programme", place.form.programme, place.form.kind
        fits = OF_PLACES.get(kind)
        default = known.get(fits or "")
        if word is None and fits and default and default.kind != fits:
            sheet.fault(
                default.spot, fits, f"a {fits}'s programme, for it is that of each {kind} without one"
            )
        if word is None or not kind:
            continue
        _known(sheet, spot, word, set(known), "programme")
        if not fits:
            sheet.fault(spot, word, f"no programme: a place of kind {kind} follows none")
        elif word in known and known[word].kind != fits:
            sheet.fault(spot, word, f"a programme for a {kind}; this is one for a {known[word].kind}")


def stretches(sheet: Sheet, places: Sequence[Row[PlaceForm]], floors: Sequence[Row[FloorForm]]) -> None:
    """Each stretch lies on its floor, the right way round, and beds do not overlap."""
    length_m = {floor.form.id: floor.form.length_m for floor in floors}
    beds: dict[str, list[tuple[float, float, Row[PlaceForm]]]] = {}
    for place in places:
        form, spot = place.form, place.spot
        from_m, to_m = form.from_m, form.to_m
        if from_m is None and to_m is None:
            continue
        if from_m is None or to_m is None:
            there = "to_m" if from_m is None else "from_m"
            if place.whole:
                sheet.fault(spot / there, getattr(form, there), "from_m and to_m together")
            continue
        if from_m >= to_m:
            sheet.fault(spot / "to_m", to_m, f"more than from_m ({from_m:g})")
            continue
        longest = length_m.get(form.floor or "")
        if longest is not None and to_m > longest:
            sheet.fault(spot / "to_m", to_m, f"at most {longest:g}, the length of {form.floor}")
        if form.kind == "bed" and form.floor:
            beds.setdefault(form.floor, []).append((from_m, to_m, place))
    for lying in beds.values():
        _overlaps(sheet, sorted(lying, key=lambda bed: bed[:2]))


def _overlaps(sheet: Sheet, beds: list[tuple[float, float, Row[PlaceForm]]]) -> None:
    reaches, by = -1.0, ""
    for from_m, to_m, bed in beds:
        if from_m < reaches:
            sheet.fault(bed.spot / "from_m", from_m, f"at least {reaches:g}, where {by} ends: beds overlap")
        if to_m > reaches:
            reaches, by = to_m, bed.form.id


def units(sheet: Sheet, probes: Sequence[Row[ProbeForm]]) -> None:
    """Each unit must be one of its quantity's."""
    for probe in probes:
        quantity = QUANTITIES.get(probe.form.quantity)
        if quantity and probe.form.unit is not None and probe.form.unit not in quantity.units:
            wanted = f"a unit of {probe.form.quantity}: {nearest(probe.form.unit, list(quantity.units))}"
            if probe.form.unit == "%":
                wanted += "; /100 is per cent (SenML's % means a share of 1, and is misread)"
            sheet.fault(probe.spot / "unit", probe.form.unit, wanted)


def silences(sheet: Sheet, probes: Sequence[Row[ProbeForm]]) -> None:
    """A probe that sends less often than it may be silent would never be alive."""
    for probe in probes:
        after_s = probe.form.silent_after_s
        if after_s is not None and after_s <= probe.form.every_s:
            sheet.fault(probe.spot / "silent_after_s", after_s, f"more than every_s ({probe.form.every_s:g})")


def topic_of(form: ProbeForm, root: str) -> str:
    """The probe's topic, by default ROOT/PLACE/PROBE."""
    return form.topic if form.topic is not None else f"{root}/{form.place}/{form.id}"


def topics(sheet: Sheet, probes: Sequence[Row[ProbeForm]], root: str, subscribe: Sequence[str]) -> None:
    """Each topic is a probe's, is subscribed to, and is used once with the same pointer."""
    first: dict[tuple[str, str], Spot] = {}
    for probe in probes:
        form = probe.form
        spot = probe.spot / "topic"
        if not form.id or not form.place:
            continue
        name = topic_of(form, root)
        for wanted in _topic_faults(name, root, subscribe):
            sheet.fault(spot, name, wanted)
        pointer = "" if form.payload == "number" else form.value
        taken = first.setdefault((name, pointer), probe.spot)
        if taken is not probe.spot:
            wanted = (
                f"another topic or value pointer than {name} {pointer or '(whole)'}, taken {_there(taken)}"
            )
            sheet.fault(spot, name, wanted)


def _topic_faults(name: str, root: str, subscribe: Sequence[str]) -> Iterable[str]:
    wanted = topic.why_not_a_name(name)
    if wanted:
        yield wanted
    elif topic.own(root, name):
        yield f"a topic outside {root}/gateway, {root}/clock and {root}/sim, which are the gateway's own"
    elif not any(topic.matches(one, name) for one in subscribe):
        yield f"a topic that broker.subscribe covers ({', '.join(subscribe)[:100]})"
