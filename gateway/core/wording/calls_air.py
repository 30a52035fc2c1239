"""What the calls about air and people inside say. None of them sends anybody in."""

from __future__ import annotations

from gateway.core.wording import gsm
from gateway.core.wording.parts import Part, Told

#: When a message is too long (`wording_parts.fit`): the highest goes first.
_EXTRA, _DETAIL, _ACTION, _TREND, _SINCE, _WHO = 10, 8, 7, 5, 3, 2
_NOT_CERTIFIED = Part(" Not a certified gas alarm.")


def gas_high(told: Told) -> tuple[str, list[Part]]:
    """A gas is at a level: everybody stays out."""
    head = f"STAY OUT {told.loud()}"
    drift, detail = told.drift(), told.detail()
    out = told.finding.level == "evacuate"
    fumes = " Fire fumes? Air it from outside." if told.gas() == "CO" else " Air it from outside."
    return head, [
        Part(f"{head}. {told.gas()} {told.value()}"),
        Part(f" {drift}" if drift else "", _TREND),
        Part(f", limit {told.limit()}", _DETAIL),
        Part(f", {detail}" if detail else "", _DETAIL),
        Part(". Do not go in, even to help."),
        Part(" All out of the building.", _WHO, " All out.") if out else _who(told),
        Part(f" Ring {_emergency(told)} if no answer."),
        Part(fumes, _ACTION),
        _NOT_CERTIFIED,
    ]


def gas_over_range(told: Told) -> tuple[str, list[Part]]:
    """A gas probe is at the end of its range: it is at least that, and may be any more."""
    head = f"STAY OUT {told.loud()}"
    return head, [
        Part(f"{head}. {told.gas()} {told.value()} or more"),
        Part(", probe at its end", _DETAIL),
        Part(". Do not go in, even to help."),
        _who(told),
        Part(f" Ring {_emergency(told)} if no answer."),
        Part(" Air it from outside.", _ACTION),
        _NOT_CERTIFIED,
    ]


def _who(told: Told) -> Part:
    inside = names(told, 12)
    return Part(f" {inside} in, who else?", _WHO, " Who is inside?") if inside else Part(" Who is inside?")


def _emergency(told: Told) -> str:
    return gsm.name(told.site.air.emergency, 12)


def names(told: Told, most: int) -> str:
    """Who checked in there: one by name, of more the first and how many."""
    inside = told.finding.inside
    if not inside:
        return ""
    known = told.site.person.get(inside[0])
    first = gsm.name(known.name if known else inside[0], most)
    return first if len(inside) == 1 else f"{first} +{len(inside) - 1}"


def air_unknown(told: Told) -> tuple[str, list[Part]]:
    """The last gas probe of a place is gone."""
    head = f"AIR UNKNOWN {told.loud()}"
    drift, inside = told.drift(), names(told, 12)
    last = f" Last {told.gas()} {told.value()}" if told.finding.value is not None else ""
    return head, [
        Part(head),
        Part(told.since(told.finding.since_ms), _SINCE),
        Part(f": {told.detail()}" if told.detail() else "", _SINCE),
        Part("."),
        Part(last, _TREND),
        Part(f" and {drift}" if last and drift else "", _EXTRA),
        Part("." if last else "", _TREND),
        Part(f" {inside} in." if inside else ""),
        Part(" Hand meter only, nobody in without."),
        _NOT_CERTIFIED,
    ]


def checkout_missed(told: Told) -> tuple[str, list[Part]]:
    """Somebody checked in and did not check out."""
    who = names(told, 14) or "Somebody"
    head = f"{gsm.name(who.upper(), 18)} NOT OUT, {told.loud()}"
    since, until = told.time(told.finding.since_ms), told.time(told.finding.wanted_by_ms)
    air = _air(told)
    bad = "stay out" in air
    ring = _emergency(told)
    act = f"do not go in, ring {ring}." if bad else f"two of you, hand meter, or {ring}."
    return head, [
        Part(f"{head}."),
        Part(f" In since {since}" if since else "", _SINCE),
        Part(f"{',' if since else ''} out wanted by {until}" if until else "", 1),
        Part("." if since or until else "", 1),
        Part(f" {air}." if air else "", 0 if bad else _EXTRA),
        Part(f" Ring {who}."),
        Part(f" No answer: {act}"),
    ]


def _air(told: Told) -> str:
    return gsm.name(told.finding.air, 48) if told.finding.air else ""


def air_first(told: Told, action: str, drop: int = _EXTRA) -> list[Part]:
    """What to do first where somebody is sent, with the air he goes into: bad air goes before everything."""
    air = _air(told)
    if not air:
        return [Part(action)]
    if "stay out" in air:
        return [Part(f" {air}. Air it from outside first.")]
    if air.startswith("Air unknown"):
        # The meter is told of already.
        return [Part(f" {air}."), Part(action.replace(" Check room air, open", " Open"))]
    # That nobody watches the air is said whatever else is not.
    short = " No gas watch." if air.startswith("No gas watch") else ""
    return [Part(f" {air}.", drop if ", shut " in air else _EXTRA, short), Part(action)]
