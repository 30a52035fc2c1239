"""The pages of the door: plain HTML that a phone shows at night with one hand free. No script, no images."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping
from html import escape
from typing import Any, NamedTuple

from gateway.core import moment

#: What may be answered by link, the word on the button, and what it means.
ANSWERS = {
    "going": ("Going", "I go now. Calls wait for a while."),
    "heard": ("Heard", "I know. Calls wait a short while."),
    "cant": ("Can’t", "The next person is called at once."),
    "all-out": ("All out", "Everybody is out and counted. Ends it once the reading is down."),
}
_GAS_ORDER = ("heard", "going", "cant", "all-out")
_GAS = (
    "Stay out. Do not go in, even to help. Air it from outside, count who is there, and ring the emergency "
    "service if anyone is missing. Not a certified gas alarm; your own site’s rules come first."
)
_UNITS = {"Cel": "°C", "ppm": "ppm", "%RH": "%RH"}
_STYLE = """
:root{color-scheme:light dark;--bg:#f4f4f2;--ink:#16181a;--soft:#4c5258;--line:#70777d;--box:#fff;
--go:#12512f;--on:#fff;--warn:#7a1f12}
@media (prefers-color-scheme:dark){:root{--bg:#101214;--ink:#e8e8e4;--soft:#b3b8bc;--line:#7d858b;
--box:#1b1e21;--go:#8fd3a8;--on:#0c1a12;--warn:#ffb4a5}}
*{box-sizing:border-box}
body{margin:0;background:var(--bg);color:var(--ink);font:1.125rem/1.45 system-ui,sans-serif}
main{max-width:34rem;margin:0 auto;padding:1rem}
h1{font-size:1.5rem;line-height:1.2;margin:.25rem 0 .75rem;overflow-wrap:anywhere}
p{margin:.5rem 0;overflow-wrap:anywhere}.small{color:var(--soft);font-size:1rem}
.box{background:var(--box);border:1px solid var(--line);border-radius:.5rem;
padding:.75rem 1rem;margin:.75rem 0}
.state{font-weight:700}
.warn{border:3px solid var(--warn);color:var(--warn);font-weight:700}
dl{margin:0;display:grid;grid-template-columns:auto 1fr;gap:.25rem 1rem}
dt{color:var(--soft)}dd{margin:0;overflow-wrap:anywhere}
form{margin:1rem 0}
button,.button{display:block;width:100%;min-height:56px;margin:1rem 0 .25rem;border:2px solid var(--ink);
border-radius:.5rem;background:var(--box);color:var(--ink);font:700 1.25rem/1.2 system-ui,sans-serif;
text-align:center;text-decoration:none;padding:.75rem}
button.first{background:var(--go);border-color:var(--go);color:var(--on)}
:focus-visible{outline:4px solid var(--ink);outline-offset:3px}
"""
STYLE_HASH = "sha256-" + base64.b64encode(hashlib.sha256(_STYLE.encode()).digest()).decode()
# Of the states in the record, those that the page must tell apart.
NORMAL, RETURNED, LATCHED = "normal", "returned_unacknowledged", "latched_"


class View(NamedTuple):
    """What turns a row into words: names of people and places by id, the time zone, now (Unix ms)."""

    names: Mapping[str, str]
    time_zone: str
    now_ms: int

    def local(self, stamp: str | None) -> str:
        """The local time of a stamp; empty for none."""
        return moment.local(moment.parse(stamp), self.time_zone, self.now_ms) if stamp else ""

    def name(self, person: str | None) -> str:
        """What the person is called."""
        return self.names.get(person or "", person or "somebody")


def is_over(row: Mapping[str, Any]) -> bool:
    """Whether there is nothing left to answer."""
    return str(row["state"]) == NORMAL


def alarm_page(row: Mapping[str, Any], person: str, path: str, view: View, note: str = "") -> bytes:
    """The alarm, how it stands, and the buttons where there is something to answer."""
    parts = [_note(note), _alarm(row, view)]
    parts.append(_over(row, view) if is_over(row) else _form(row, person, path, view))
    return _page(_title(row, view), parts)


def done_page(row: Mapping[str, Any], said: str, path: str, view: View) -> bytes:
    """What came of an answer; no buttons, so that nobody presses twice to be sure."""
    again = f'<a class="button" href="{escape(path)}">Show the alarm as it stands now</a>'
    return _page(_title(row, view), [_note(said), again, _alarm(row, view)])


def plain_page(title: str, text: str) -> bytes:
    """A page without an alarm: why there is none to see."""
    return _page(title, [f"<h1>{escape(title)}</h1><p>{escape(text)}</p>"])


def _page(title: str, parts: list[str]) -> bytes:
    return (
        '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f"<title>{escape(title)}</title><style>{_STYLE}</style></head>"
        f"<body><main>{''.join(parts)}</main></body></html>"
    ).encode()


def _note(note: str) -> str:
    return f'<p class="box state" role="status">{escape(note)}</p>' if note else ""


def _title(row: Mapping[str, Any], view: View) -> str:
    where = row["place"] or row["probe"] or ""
    where = view.names.get(where, where)
    plain = f"{str(row['kind']).replace('_', ' ')} {where}".strip()
    return str(row.get("title") or plain[:1].upper() + plain[1:])


def _alarm(row: Mapping[str, Any], view: View) -> str:
    facts = [("Alarm", str(row["number"])), ("Since", view.local(row["raised_at"]))]
    if row["value"] is not None:
        unit = _UNITS.get(row["unit"] or "", row["unit"] or "")
        limit = "" if row["limit"] is None else f", limit {row['limit']:,.7g} {unit}"
        facts.append(("Measured", f"{row['value']:,.7g} {unit}{limit}"))
    if row["quiet_until"]:
        facts.append(("Quiet until", view.local(row["quiet_until"])))
    listed = "".join(f"<dt>{escape(name)}</dt><dd>{escape(value)}</dd>" for name, value in facts)
    text = f"<p>{escape(str(row['text']))}</p>" if row.get("text") else ""
    gas = f'<p class="box warn" role="alert">{_GAS}</p>' if row["priority"] == "highest" else ""
    state = f'<p class="state">{escape(_state(row, view))}</p>'
    return f'<h1>{escape(_title(row, view))}</h1>{gas}{text}<div class="box">{state}<dl>{listed}</dl></div>'


def _state(row: Mapping[str, Any], view: View) -> str:
    by = view.name(row["answered_by"]) if row["answered_by"] else ""
    cannot = dict.fromkeys(view.name(step["by"]) for step in row["history"] if step["signal"] == "cant")
    answered = f"{by} answered." if by else "Nobody has answered."
    if cannot:
        answered += f" Can’t go: {', '.join(cannot)}."
    state = str(row["state"])
    if state == NORMAL:
        return f"It ended. {answered if by else 'Nobody had answered.'}"
    if state.startswith(LATCHED):
        return f"The reading is down; somebody must still say that all are out. {answered}"
    if state == RETURNED:
        return "It went off by itself; nobody has answered."
    return answered


def _over(row: Mapping[str, Any], view: View) -> str:
    when = view.local(row["cleared_at"])
    gas = " A reading that is down does not say that the air is good." if row["priority"] == "highest" else ""
    return f"<p>It ended{' at ' + escape(when) if when else ''}. There is nothing left to answer.{gas}</p>"


def _form(row: Mapping[str, Any], person: str, path: str, view: View) -> str:
    buttons = "".join(
        _button(word, n == 0, row["priority"] == "highest") for n, word in enumerate(words_for(row))
    )
    return (
        f'<form method="post" action="{escape(path)}">'
        f'<p class="small">You answer as {escape(view.name(person))}.</p>'
        f'<input type="hidden" name="step" value="{len(row["history"])}">{buttons}</form>'
    )


def words_for(row: Mapping[str, Any]) -> tuple[str, ...]:
    """What may be answered to this alarm, in the order of the buttons."""
    return _GAS_ORDER if row["priority"] == "highest" else ("going", "heard", "cant")


def _button(word: str, first: bool, gas: bool) -> str:
    label, means = ANSWERS[word]
    if gas:
        means = {"going": "I act from outside. Nobody goes in.", "heard": "I know of it."}.get(word, means)
    kind = ' class="first"' if first else ""
    return (
        f'<button{kind} name="answer" value="{word}" aria-describedby="{word}">{escape(label)}</button>'
        f'<p class="small" id="{word}">{escape(means)}</p>'
    )
