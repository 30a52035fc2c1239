"""Probes: what each says and misses, which one is in the hand, and topics nobody has in the site file."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from typing import Any

from gateway.core import views
from gateway.core.reading import Reason
from gateway.core.site import Probe
from gateway.core.state import State
from gateway.core.window import Window
from gateway.ports import RejectedCount, RejectedLine

Row = dict[str, Any]
#: A state of a probe's row, as people say it; what is not here stands as it is.
WORDS = {
    "alive": "heard",
    "late": "late",
    "silent": "not heard",
    "waiting": "not heard yet",
    "stuck": "stuck",
    "out_of_service": "out of service",
    "high": "hangs over the grain",
    "sentinel": "sends a fault value",
    "jumping": "jumps",
    "low": "reads too low",
    "off": "off from the hand thermometer",
    "noisy": "noisy",
    "drifting": "drifting",
    "not_back": "not back in the grain",
}
_HAND_MS = 6 * 60_000
#: What wants no hand; everything else does.
_CALM = ("alive", "out_of_service")


def probes(state: State) -> list[Row]:
    """One row a probe, those that want a hand first within their place."""
    found = []
    for row in views.probes(state):
        probe = state.site.probe[row["probe"]]
        window = state.windows.get(probe.id) or Window()
        found.append(
            row
            | {
                "said": WORDS.get(row["state"], row["state"].replace("_", " ")),
                "grave": row["state"] not in _CALM,
                "height_cm": probe.height_cm,
                "at_m": probe.at_m,
                "every_s": probe.every_s,
                "topic": probe.topic,
                "kind": state.site.place[probe.place].kind,
                "refused": window.refused,
                "out": probe.id in state.out_of_service,
                "rise": rise(window),
            }
        )
    return found


def rise(window: Window) -> float | None:
    """How far it has gone up in the last six minutes: what a hand around it does. None where not known."""
    if window.value is None:
        return None
    first_ms = window.measured_ms - _HAND_MS
    before = [value for at_ms, value in zip(window.times, window.values, strict=True) if at_ms >= first_ms]
    return window.value - before[0] if before else None


def in_hand(rows: Iterable[Row]) -> list[Row]:
    """The thermometers by how fast they rise, fastest first."""
    warm = [
        row for row in rows if row["quantity"] == "temperature" and row["rise"] is not None and not row["out"]
    ]
    return sorted(warm, key=lambda row: -row["rise"])


def unknown(counts: Sequence[RejectedCount], lines: Sequence[RejectedLine], root: str = "") -> list[Row]:
    """Topics that no probe of the site file has, newest first, each with lines for the site file."""
    newest = {line.rejected.topic: line.rejected.payload for line in reversed(lines)}
    found: list[Row] = [
        {
            "topic": one.topic,
            "times": one.times,
            "first": one.first_at_ms,
            "last": one.last_at_ms,
            "payload": _shown(newest.get(one.topic or "")),
            "stanza": stanza(one.topic or "", newest.get(one.topic or "")),
        }
        for one in counts
        if one.reason == Reason.UNKNOWN_TOPIC and one.topic
    ]
    return sorted(found, key=lambda row: -row["last"])[:50]


def stanza(topic: str, payload: bytes | None) -> str:
    """A probe for the site file, ready but for what nobody can know from the topic alone."""
    parts = [part for part in topic.split("/") if part]
    name = parts[-1] if parts else "new-probe"
    place = parts[-2] if len(parts) > 1 else "bed-a"
    form = "number" if _is_number(payload) else "json"
    return "\n".join(
        (
            "[[probe]]",
            f"id = {json.dumps(name)}",
            f"place = {json.dumps(place)}          # where it hangs",
            'quantity = "temperature"      # temperature, humidity, co2, co, pressure_difference, air_flow',
            'unit = "Cel"',
            "height_cm = 8                 # above the floor",
            "at_m = 5                      # metres from the steep end",
            f"topic = {json.dumps(topic)}",
            f'payload = "{form}"',
            "every_s = 60",
        )
    )


def _is_number(payload: bytes | None) -> bool:
    try:
        float((payload or b"").decode("ascii"))
    except (UnicodeDecodeError, ValueError):
        return False
    return True


def _shown(payload: bytes | None) -> str:
    text = (payload or b"").decode("utf-8", "replace")[:80]
    return "".join(one if one.isprintable() else "·" for one in text)


def swap(probe: Probe) -> str:
    """What to type where another instrument hangs in this probe's place; in capitals what is its own."""
    own = {
        "offset": probe.offset != 0.0,
        "gain": probe.gain != 1.0,
        "calibrated": probe.calibrated is not None,
        "bump-tested": probe.bump_tested is not None,
    }
    more = "".join(f" --{name} {'DAY' if name[0] in 'cb' else 'X'}" for name, there in own.items() if there)
    return f"malting-gateway swap {probe.id} --topic TOPIC{more} --by NAME --why WHY"
