"""What each kind of alarm says when it is over. Gas is never called over: a reading is down, for so long."""

from __future__ import annotations

from gateway.core.wording import kiln as wording_kiln
from gateway.core.wording.calls import DETAIL, TREND, TURNED
from gateway.core.wording.parts import Part, Told

_WORDS = {
    "bed_hot": ("COOLER", "limit", "HEAT CALL OVER"),
    "bed_low": ("WARMER", "lowest", "COLD CALL OVER"),
    "kiln_hot": ("COOLER", "limit", "HEAT CALL OVER"),
}
_GATEWAY = {
    "gateway_broker": "GATEWAY HEARS PROBES AGAIN.",
    "gateway_session_lost": "GATEWAY: missed readings, call over.",
    "gateway_dropped": "GATEWAY: readings thrown away, call over.",
    "gateway_mirror": "GATEWAY REACHES THE SITE'S SERVER AGAIN.",
    "gateway_disk": "GATEWAY HAS ROOM AGAIN.",
    "gateway_clock": "GATEWAY CLOCK IS RIGHT AGAIN.",
    "gateway_twin": "ONE GATEWAY UNDER THIS NAME AGAIN.",
    "gateway_phone": "PHONES CAN BE REACHED AGAIN.",
}
_PROBE = {
    "probe_silent": "HEARD AGAIN",
    "probe_not_back": "BACK IN THE GRAIN",
    "probe_high": "IN THE GRAIN AGAIN",
    "probe_stuck": "MOVES AGAIN",
    "probe_noisy": "IS QUIET AGAIN",
    "probe_calibration_due": "WANTS NO CHECK NOW",
}
_WHO = Part(" Who is inside?", DETAIL)
_NOT_CERTIFIED = Part(" Not a certified gas alarm.")


def say_over(told: Told, down_min: int | None) -> tuple[str, list[Part]]:
    """The title and the parts of the word that an alarm is over.

    `down_min`: for gas, how many minutes at least the reading has been below the limit; None if unknown.
    """
    kind = told.finding.subject.kind
    if kind.startswith("gas_"):
        return _gas(told, down_min)
    if kind.startswith("kiln_") and kind not in _WORDS:
        return wording_kiln.over(told)
    if kind in _WORDS:
        return _heat(told, *_WORDS[kind])
    if kind == "turn_overdue":
        head = f"{told.loud()} TURN NO LONGER OVERDUE"
        return head, [Part(f"{head}."), Part(told.turned(), TURNED)]
    if kind == "bed_unwatched":
        head = f"{told.loud()} {'READ BY HAND' if told.detail() == 'by hand' else 'WATCHED AGAIN'}"
        return head, [Part(f"{head}{_colon(told)}.")]
    if kind == "air_unknown":
        head = f"{told.loud()} AIR MEASURED AGAIN"
        said = f": {told.gas()} {told.value()}" if told.finding.value is not None else ""
        return head, [Part(f"{head}{said}. Hand meter before going in."), _NOT_CERTIFIED]
    if kind == "checkout_missed":
        head = f"{told.loud()}: NOBODY MISSED"
        return head, [Part(f"{head} any more.")]
    if kind.startswith("probe_"):
        head = f"PROBE {told.probe} {_PROBE.get(kind, 'CALL OVER')}"
        return head, [Part(f"{head}, {told.place}{_colon(told)}.")]
    head = _GATEWAY.get(kind, "GATEWAY CALL OVER." if kind.startswith("gateway_") else "CALL OVER.")
    return head.rstrip("."), [Part(head), Part(f" {told.detail()}." if told.detail() else "", DETAIL)]


def _heat(told: Told, word: str, limit_word: str, otherwise: str) -> tuple[str, list[Part]]:
    found = told.finding
    known = found.value is not None and found.limit is not None
    # A call can also end because the grain was moved: then the heat has not gone, it lies elsewhere.
    inside = known and (found.value - found.limit) * (-1 if limit_word == "lowest" else 1) < 0  # type: ignore[operator]
    if not inside:
        head = f"{told.loud()} {otherwise}"
        return head, [Part(f"{head}: other grain, or none, lies there now.")]
    head = f"{told.loud()} {word}"
    piece = f" Piece {told.piece}." if told.piece else ""
    return head, [Part(f"{head}: {told.value()}, {limit_word} {told.limit()}."), Part(piece, DETAIL)]


def _gas(told: Told, down_min: int | None) -> tuple[str, list[Part]]:
    found = told.finding
    head = f"{told.loud()} READING DOWN"
    if found.value is None or found.limit is None or found.value >= found.limit:
        head = f"{told.loud()} NO GAS READING"
        return head, [Part(f"{head}: air unknown, hand meter only."), _WHO, _NOT_CERTIFIED]
    time = f" for {min(down_min, 9999)} min" if down_min is not None else ""
    below = f"{told.gas()} {told.value()}, below {told.limit()}"
    return head, [
        Part(f"{head}: {below}"),
        Part(time, TREND),
        Part("."),
        _WHO,
        Part(" Hand meter before going in."),
        _NOT_CERTIFIED,
    ]


def _colon(told: Told) -> str:
    return f": {told.value()}" if told.finding.value is not None else ""
