"""A form as it was sent, turned into one of contract C6's verbs: figures, times and who did it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from gateway.core.inputs import VERBS
from gateway.web.given import Account, Given

_NUMBERS = frozenset(
    (
        "from_m",
        "to_m",
        "onto_from_m",
        "onto_to_m",
        "at_m",
        "height_cm",
        "depth_cm",
        "litres",
        "share_pct",
        "moisture_wb",
        "weight_t",
    )
)
_TEMPERATURES = frozenset(("c", "water_c"))
_WHOLE = frozenset(("entry", "alarm", "when_ms", "turn"))
_OURS = frozenset(("csrf", "back"))

ROUND_LINES = 12


def verb(given: Given, me: Account, word: str, form: Mapping[str, str]) -> int:
    """Record what a form says; its journal number. Raises ValueError in plain words, or as `record`."""
    if word not in VERBS:
        raise ValueError("The page asked for something that cannot be written down.")
    return given.record(word, body(given, me, form))


def body(given: Given, me: Account, form: Mapping[str, str]) -> dict[str, Any]:
    """A form's plain body without its empty fields; `by` is whoever asks unless another is named."""
    made: dict[str, Any] = {}
    for key, sent in form.items():
        text = sent.strip()
        if not text or key in _OURS:
            continue
        if key in _WHOLE:
            made[key] = _whole(key, text)
        elif key in _NUMBERS:
            made[key] = _number(key, text)
        elif key in _TEMPERATURES:
            made[key] = _celsius(_number(key, text), me)
        elif key == "when_local":
            made["when_ms"] = _moment(text, given.site().time_zone)
        else:
            made[key] = " ".join(text.split()) if key == "note" else text
    made.setdefault("by", me.by)
    return made


def round_lines(given: Given, me: Account, form: Mapping[str, str]) -> tuple[int, list[str]]:
    """Record the lines of a round sheet; how many were, and in plain words why others were not."""
    kept, faults = 0, []
    for n in range(ROUND_LINES):
        bed, what = form.get(f"bed{n}", ""), form.get(f"what{n}", "")
        if not bed:
            continue
        line = {"bed": bed, "when": form.get(f"when{n}", "")}
        if what == "hand":
            line["c"] = form.get(f"c{n}", "")
        try:
            if what not in ("turned", "ploughed", "hand"):
                raise ValueError("what was done is not one of turned, ploughed, by hand")
            verb(given, me, what, line)
            kept += 1
        except ValueError as fault:
            faults.append(f"Line {n + 1}: {fault}")
    return kept, faults


def _number(key: str, text: str) -> float:
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise ValueError(f"{_said(key)}: {text[:40]!r} is no number") from None


def _whole(key: str, text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 16):
        raise ValueError(f"{_said(key)}: {text[:40]!r} is no number")
    return int(text)


def _celsius(value: float, me: Account) -> float:
    return round((value - 32) / 1.8, 3) if me.fahrenheit else value


def _moment(text: str, time_zone: str) -> int:
    try:
        wall = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f"when: {text[:40]!r} is no time") from None
    return round(wall.replace(tzinfo=ZoneInfo(time_zone)).timestamp() * 1000)


def _said(key: str) -> str:
    return {"c": "reading", "water_c": "water", "from_m": "from metre", "to_m": "to metre"}.get(
        key, key.replace("_", " ")
    )
