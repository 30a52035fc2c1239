"""What the kiln's alarms say: how far the load is, the figures, then what to do first, and what not to do."""

from __future__ import annotations

from collections.abc import Callable

from gateway.core.wording.parts import Part, Told

_DETAIL, _TREND, _SINCE = 4, 8, 5
_NOT_SEEN = "break not seen"
#: A thermometer from here up hangs over the load (cm).
_OVER_CM = 60.0
Say = Callable[[Told], tuple[str, list[Part]]]


def kiln_hot(told: Told) -> tuple[str, list[Part]]:
    """Air-on over its stage's limit, or grain over the limit of its moisture."""
    wet = _NOT_SEEN in told.detail()
    short = f"{told.loud()} TOO HOT"
    head = f"{short}, MALT STILL WET" if wet else short
    return head, [
        Part(head, 6, short),
        Part("."),
        *_how_far(told),
        Part(" "),
        Part(_where(told), 7),
        Part(f"{told.value()}, limit {told.limit()}"),
        Part(f", {told.trend()}" if told.trend() else "", _TREND),
        Part("."),
        Part(" Damp fire, keep draught on. Stay off kiln floor."),
    ]


def _where(told: Told) -> str:
    """Where the hottest thermometer hangs, if that is in the grain."""
    probe = told.site.probe.get(told.finding.hottest_probe or "")
    if probe is None or (probe.height_cm is None and probe.role is None):
        return ""
    in_load = probe.role == "grain" or (probe.role is None and 0.0 <= (probe.height_cm or 0.0) < _OVER_CM)
    return "grain " if in_load else ""


def _how_far(told: Told) -> list[Part]:
    piece, detail = f" Piece {told.piece}" if told.piece else "", told.detail()
    return [
        Part(piece),
        Part(f",{' ' + detail}" if piece and detail else f" {detail}" if detail else "", _DETAIL),
        Part(":" if piece or detail else ""),
    ]


def _fire(told: Told) -> tuple[str, list[Part]]:
    head = f"FIRE IN {told.loud()}"
    return head, [
        Part(f"{head}? Ring the fire service. Do not open, do not enter."),
        Part(f" {told.value()}"),
        Part(f", {told.trend()}" if told.trend() else "", _TREND),
        Part("."),
        Part(" Get everybody out of the building.", 2),
    ]


def _load(words: str, action: str, limit: bool = False) -> Say:
    def say(told: Told) -> tuple[str, list[Part]]:
        head = f"{told.loud()} {words}"
        return head, [
            Part(f"{head}{told.since(told.finding.since_ms)}.", _SINCE, f"{head}."),
            *_how_far(told),
            Part(f" {told.value()}"),
            Part(f", limit {told.limit()}" if limit else "", 2),
            Part(f", {told.trend()}" if told.trend() else "", _TREND),
            Part("."),
            Part(action),
        ]

    return say


_STAY = " Stay off kiln floor, hand meter."
KILN: dict[str, Say] = {
    "kiln_hot": kiln_hot,
    "kiln_fire": _fire,
    "kiln_stew": _load("STEWING", f" Open draught, damp fire.{_STAY}"),
    "kiln_fire_out": _load("FIRE OUT, MALT WET", " Relight, keep draught on. CO: hand meter."),
    "kiln_heating": _load("LOAD HEATS BY ITSELF", f" Get draught on, else level and turn.{_STAY}"),
    "kiln_break_withdrawn": _load("BREAK WAS NONE, MALT WET", " Damp fire to first stage, keep draught on."),
    "kiln_ramp": _load("WARMS TOO FAST", " Damp fire a little.", True),
    "kiln_overrun": _load("STAGE RUNS OVER", " Feel the malt: record hand-dry, or look at the draught."),
    "kiln_cooling": _load("STRIPPED WARM", " Spread and cool the malt before it goes to store.", True),
}
_OVER = {
    "kiln_stew": "STEWS NO LONGER",
    "kiln_fire_out": "FIRE CALL OVER",
    "kiln_heating": "LOAD HEATS NO LONGER",
    "kiln_break_withdrawn": "BREAK CALL OVER",
    "kiln_ramp": "WARMS SLOWLY AGAIN",
    "kiln_overrun": "STAGE CALL OVER",
    "kiln_cooling": "COOLING CALL OVER",
}


def over(told: Told) -> tuple[str, list[Part]]:
    """That one of the kiln's own alarms is over; of a fire only that the reading is down."""
    kind, detail = told.finding.subject.kind, told.detail()
    value = f" {told.value()}." if told.finding.value is not None else ""
    if kind == "kiln_fire":
        head = f"{told.loud()} READING DOWN"
        return head, [Part(f"{head}.{value} Fire service decides who opens or enters.")]
    head = f"{told.loud()} {_OVER.get(kind, 'CALL OVER')}"
    return head, [Part(f"{head}."), Part(value, 4), Part(f" {detail}." if detail else "", _DETAIL)]
