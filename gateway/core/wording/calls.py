"""What each kind of alarm says when it calls: piece and bed first, then the figures, then what to do first.

Too long, a message gives up its parts from the highest number down: `ANSWER` is only shortened; the first
words, the value, the limit and what to do first (0) never go.
"""

from __future__ import annotations

from collections.abc import Callable

from gateway.core.wording.calls_air import air_first, air_unknown, checkout_missed, gas_high, gas_over_range
from gateway.core.wording.kiln import KILN
from gateway.core.wording.parts import Part, Told, bare

ANSWER, DETAIL, TURNED, DAY, TREND, NEXT, SINCE = 9, 8, 7, 6, 5, 4, 3

Say = Callable[[Told], tuple[str, list[Part]]]


def _bed_hot(told: Told) -> tuple[str, list[Part]]:
    hot = "VERY HOT" if told.finding.level == "urgent" else "HOT"
    head, where = _piece_first(told, hot)
    return f"{head}, {told.place}" if told.piece else head, [
        *where,
        Part(f" {told.last_value()}"),
        Part(_comma(told.detail()), DETAIL),
        Part(f", limit {told.limit()}"),
        Part(_comma(told.trend()), TREND),
        Part(_comma(told.next_limit()), NEXT),
        Part("."),
        Part(told.turned(), TURNED),
        *air_first(told, " Check room air, open shutters, " + _turn_or_thin(told.finding.room_c)),
    ]


def _turn_or_thin(room_c: float | None) -> str:
    """A turn cannot cool grain below the room."""
    return "turn." if room_c is None else f"thin it: room {room_c:.1f} C."


def _bed_low(told: Told) -> tuple[str, list[Part]]:
    head, where = _piece_first(told, "COLD")
    return f"{head}, {told.place}" if told.piece else head, [
        *where,
        Part(f" {told.last_value()}, lowest {told.limit()}"),
        Part(_comma(told.trend()), TREND),
        Part("."),
        Part(told.turned(), TURNED),
        Part(" Close shutters, thicken or plough."),
    ]


def _piece_first(told: Told, word: str) -> tuple[str, list[Part]]:
    if told.piece:
        head = f"PIECE {told.piece} {word}"
        return head, [Part(f"{head}. {told.place}"), Part(told.day(), DAY), Part(":")]
    head = f"{told.loud()} {word}"
    cast = told.cast()
    return head, [Part(head), Part(f", {cast}" if cast else told.day(), DETAIL if cast else DAY), Part(":")]


def _unwatched(told: Told) -> tuple[str, list[Part]]:
    head = f"{told.loud()} NOT BEING WATCHED"
    if told.finding.level == "unwatched_hot":
        return head, _hottest_unwatched(told, head)
    drift = told.drift()
    last = f" Last {told.value()}" if told.finding.value is not None else ""
    return head, [
        Part(head + told.since(told.finding.since_ms)),
        Part(f": {told.detail()}" if told.detail() else "", DETAIL),
        Part("."),
        Part(last, 1),
        Part(f" and {drift}" if last and drift else "", TREND),
        Part("." if last else "", 1),
        *air_first(told, " Take hand thermometer, put probe back."),
    ]


def _hottest_unwatched(told: Told, head: str) -> list[Part]:
    """Its other places are seen: which is not, and what it came to since, by the heat it makes."""
    by, limit = told.time(told.finding.next_at_ms), told.finding.next_limit
    reached = f"{bare(limit, told.finding.unit)} by {by}" if by and limit is not None else ""
    last = f" Last {told.value()}" if told.finding.value is not None else ""
    return [
        Part(head),
        Part(" where hottest", 2, " where hot"),
        Part(told.since(told.finding.since_ms), SINCE),
        Part(f": {told.probe}" if told.detail() else ""),
        Part(f" {told.detail()}" if told.detail() else "", 1),
        Part("."),
        Part(last, 1),
        Part(_comma(told.trend()) if last else "", TREND),
        Part(f", {reached}" if last and reached else "", 1, f" {reached}" if reached else ""),
        Part("." if last or reached else ""),
        *air_first(told, " Take hand thermometer, record it."),
    ]


def _turn_overdue(told: Told) -> tuple[str, list[Part]]:
    piece = f" piece {told.piece}," if told.piece else ""
    wanted = told.time(told.finding.wanted_by_ms or told.finding.since_ms)
    value = f" {told.value()}" if told.finding.value is not None else ""
    return f"TURN OVERDUE, {told.place}", [
        Part(f"TURN OVERDUE{piece} {told.place}"),
        Part(told.day(), DAY),
        Part("."),
        _turned_wanted(told) if wanted else Part(told.turned(), TURNED),
        Part(f" by {wanted}, now {told.time(told.at_ms)}." if wanted else ""),
        Part(value, 1),
        Part(_comma(told.trend()) if value else "", DETAIL),
        Part("." if value else "", 1),
        # Which part of the bed waits says where to go; how it warms is on the page as well.
        Part(_sentence(told.detail()), NEXT),
        *air_first(told, " Air the room, then turn.", SINCE),
    ]


def _sentence(said: str) -> str:
    """With its capital, where the plain set of a phone has it."""
    first = said[:1].upper() if said[:1].isascii() else said[:1]
    return f" {first}{said[1:]}." if said else ""


def _turned_wanted(told: Told) -> Part:
    turned = told.turned(end="")
    return Part(f"{turned}, wanted", TURNED, " Wanted") if turned else Part(" Wanted")


def _steep(word: str, action: str) -> Say:
    def say(told: Told) -> tuple[str, list[Part]]:
        head = f"{word} {told.loud()}"
        wanted = told.time(told.finding.wanted_by_ms)
        stand = "under water" if word == "DRAIN" else "dry"
        return head, [
            Part(f"{head} NOW."),
            Part(f" Piece {told.piece}." if told.piece else ""),
            Part(f" {told.detail()}." if told.detail() else "", DETAIL),
            Part(f" {stand.capitalize()}{told.since(told.finding.since_ms)}", SINCE),
            Part(f", wanted till {wanted}" if wanted else ""),
            Part("."),
            Part(action),
        ]

    return say


def _probe(word: str, action: str) -> Say:
    def say(told: Told) -> tuple[str, list[Part]]:
        head = f"PROBE {told.probe} {word}"
        last = f" Last {told.value()}." if told.finding.value is not None else ""
        return head, [
            Part(f"{head}, {told.place}"),
            Part(told.since(told.finding.since_ms), SINCE),
            Part("."),
            Part(last),
            Part(f" {told.detail()}." if told.detail() else "", DETAIL),
            Part(action),
        ]

    return say


def _gateway(head: str, action: str) -> Say:
    def say(told: Told) -> tuple[str, list[Part]]:
        return head, [
            Part(head),
            Part(told.since(told.finding.since_ms), SINCE),
            Part(f": {told.detail()}" if told.detail() else "", DETAIL),
            Part("."),
            Part(action),
        ]

    return say


def _comma(words: str) -> str:
    return f", {words}" if words else ""


_LOOK = " Look at battery and cable, put it back."
_DOUBTS = {
    "probe_not_back": ("NOT BACK IN THE GRAIN", " Put it back into the grain."),
    "probe_high": ("HANGS OVER THE GRAIN", " Lower it, or record the depth."),
    "probe_stuck": ("STUCK", " Compare with hand thermometer, change it."),
    "probe_noisy": ("IS UNRESTFUL", " Look at connector and cable."),
    "probe_jumps": ("JUMPS", " Look at the bed by hand, then at its cable."),
    "probe_drifts": ("IS OFF FROM THE OTHERS", " Compare in ice water, set its offset."),
    "probe_low": ("READS TOO LOW", " Hand meter before going in. Calibrate it."),
    "probe_sentinel": ("SENDS A FAULT VALUE", " Look at its power and cable."),
    "probe_hand": ("IS OFF BY HAND THERMOMETER", " Compare both in ice water."),
    "probe_calibration_due": ("WANTS A CHECK", " Write the date in the site file after."),
}
CALLS: dict[str, Say] = {
    "bed_hot": _bed_hot,
    "bed_low": _bed_low,
    "bed_unwatched": _unwatched,
    **KILN,
    "turn_overdue": _turn_overdue,
    "gas_high": gas_high,
    "gas_over_range": gas_over_range,
    "air_unknown": air_unknown,
    "checkout_missed": checkout_missed,
    "steep_drain": _steep("DRAIN", " Drain it, and air the room: a dry stand makes CO2, too."),
    "steep_fill": _steep("FILL", " Fill it."),
    "probe_silent": _probe("SILENT", _LOOK),
    "probe_clock": _probe("CONTRADICTS ITSELF", " Compare with hand thermometer, check its clock."),
    **{kind: _probe(*words) for kind, words in _DOUBTS.items()},
    "gateway_broker": _gateway(
        "GATEWAY HEARS NO PROBES", " Go round with hand thermometer, look at the broker."
    ),
    "gateway_session_lost": _gateway(
        "GATEWAY MAY HAVE MISSED READINGS", " Look through the beds once by hand."
    ),
    "gateway_dropped": _gateway("BROKER THROWS READINGS AWAY", " Look through the beds once by hand."),
    "gateway_mirror": _gateway(
        "GATEWAY DOES NOT REACH THE SITE'S SERVER", " Nothing is lost, nobody is less watched. Look by day."
    ),
    "gateway_disk": _gateway("GATEWAY HAS NO ROOM LEFT", " New readings wait. Make room on its disk."),
    "gateway_clock": _gateway("GATEWAY CLOCK IS WRONG", " Times may be off. Set its clock."),
    "gateway_twin": _gateway("TWO GATEWAYS UNDER ONE NAME", " Switch one off: each throws the other out."),
    "gateway_phone": _gateway("A PHONE CANNOT BE REACHED", " Make a test call. Tell the others."),
}
_ANY: list[tuple[str, Say]] = [
    ("gas_", gas_high),
    ("probe_", _probe("NEEDS A LOOK", _LOOK)),
    ("gateway_", _gateway("GATEWAY NEEDS A LOOK", " Look at the gateway.")),
]


def say_call(told: Told) -> tuple[str, list[Part]]:
    """The title and the parts of a call, for any kind: an unknown one speaks as its family, else plainly."""
    kind = told.finding.subject.kind
    say = CALLS.get(kind) or next((say for start, say in _ANY if kind.startswith(start)), _plainly)
    return say(told)


def _plainly(told: Told) -> tuple[str, list[Part]]:
    head = f"{told.loud()} NEEDS A LOOK"
    value = f" {told.value()}." if told.finding.value is not None else ""
    return head, [
        Part(f"{head}."),
        Part(value),
        Part(f" {told.detail()}." if told.detail() else "", DETAIL),
        Part(" Go and look."),
    ]


def answer_part(told: Told, number: int) -> Part:
    """How to answer; gas and fire send nobody in, and give their number only."""
    kind = told.finding.subject.kind
    if kind.startswith("gas_") or kind == "kiln_fire":
        return Part(f" {number}")
    return Part(f" Reply {number} GO or {number} CANT", ANSWER, f" Reply {number} GO or CANT")
