"""Short words on screens, on the page and the command line alike: what is wrong, how far an alarm is."""

from __future__ import annotations

#: What is wrong, by kind of alarm; of a probe or a place that is named beside it. What hangs on the level,
#: and what one screen has to say in its own way, stands with that screen.
WRONG = {
    "bed_unwatched": "not being watched",
    "turn_overdue": "turn overdue",
    "kiln_hot": "too hot",
    "kiln_stew": "stewing",
    "kiln_fire_out": "fire out, malt wet",
    "kiln_heating": "heats by itself",
    "kiln_break_withdrawn": "break was none",
    "kiln_ramp": "warms too fast",
    "kiln_overrun": "stage runs over",
    "kiln_cooling": "stripped warm",
    "air_unknown": "air unknown, hand meter only",
    "checkout_missed": "somebody is not out",
    "probe_silent": "not heard",
    "probe_not_back": "not back in the grain",
    "probe_high": "hangs over the grain",
    "probe_stuck": "stuck",
    "probe_noisy": "unrestful",
    "probe_jumps": "jumps",
    "probe_drifts": "off from the others",
    "probe_low": "reads too low",
    "probe_sentinel": "sends a fault value",
    "probe_hand": "off from the hand thermometer",
    "probe_calibration_due": "wants calibrating or trying with gas",
}
#: Why something a probe sent was not taken.
REASONS = {
    "unknown_topic": "no probe has this topic",
    "too_long": "too long",
    "not_a_number": "not a number",
    "not_finite": "not a number",
    "not_json": "not JSON",
    "no_value": "no value in it",
    "bad_time": "time cannot be read",
    "no_offset": "time without offset",
    "future": "time lies ahead",
    "too_old": "time far too old",
    "implausible": "cannot be true",
    "conflict": "another value for the same time",
    "retained_without_time": "kept value without time",
    "empty": "empty",
}
#: A battery's unit by its name in the site file.
_BATTERY = {"%EL": " %", "V": " V", "mV": " mV"}


def battery(value: float, unit: str | None) -> str:
    """What a probe said of its battery, with its unit where the site file names one."""
    return f"battery {value:.3g}{_BATTERY.get(unit or '', ' (unit not told)')}"


#: The words for an alarm's state; the standard's own names of them are never shown. Gas does not go off by
#: itself: its reading is down, and it waits for people.
STATES = {
    "normal": "over",
    "unacknowledged": "nobody has answered yet",
    "acknowledged": "answered",
    "returned_unacknowledged": "went off by itself, nobody answered",
    "latched_unacknowledged": "reading down, nobody has answered",
    "latched_acknowledged": "reading down, waits for “all out”",
}
