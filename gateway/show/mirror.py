"""How the site's time-series server stands behind the store: one row, and the lines it would not take."""

from __future__ import annotations

from typing import Any

from rich.box import SIMPLE_HEAD
from rich.table import Table

from gateway.core.rows import Row, when
from gateway.ports import MirrorReader, MirrorState
from gateway.show.tables import clean
from gateway.show.words import Eyes, span

#: So many of the lines kept aside are shown; a number tells how many there are.
SHOWN = 100
#: Less behind than this is no backlog.
BEHIND_S = 300.0
STATES = {
    "never": "never written to",
    "good": "keeps up",
    "behind": "is catching up",
    "waiting": "does not answer; nothing is lost, it is tried again",
    "refused": "refuses what is sent; nothing is lost, somebody must look",
}


def row(reader: MirrorReader) -> Row | None:
    """The mirror as committed; None where this store never had one.

    `lag_s` is the age, at the newest entry, of the oldest one not passed on; `waiting` counts entries.
    """
    with reader.snapshot():
        state = reader.mirror()
        if state is None:
            return None
        n, at_ms, _ = reader.last_stamp()
        oldest = reader.entries_after(state.place.n, 1)
        aside, lines = reader.count_aside(), reader.aside(SHOWN)
    lag_s = max(0.0, (at_ms - oldest[0].at_ms) / 1000) if oldest else 0.0
    return {
        "server": state.target,
        "state": _state(state, lag_s),
        "lag_s": lag_s,
        "waiting": n - state.place.n,
        "rate_per_s": state.rate_per_s,
        "written": state.written,
        "written_at": when(state.written_at_ms),
        "error": state.error,
        "error_at": when(state.error_at_ms),
        "aside": aside,
        "lines": [
            {"at": when(one.at_ms), "line": one.line, "reason": one.reason, "again": one.again}
            for one in lines
        ],
    }


def _state(state: MirrorState, lag_s: float) -> str:
    trouble = state.error_at_ms is not None and (state.written_at_ms or 0) < state.error_at_ms
    if state.alarm or trouble:
        return "refused" if state.alarm else "waiting"
    if state.written_at_ms is None:
        return "never"
    return "good" if lag_s < BEHIND_S else "behind"


def is_bad(found: Row) -> bool:
    """Whether somebody should look."""
    return bool(found["state"] == "refused" or found["aside"])


def head(found: list[Row]) -> str:
    """The line above the table."""
    if not found:
        return "No time-series server is written to ([series] in the site file)."
    one = found[0]
    return f"The time-series server {STATES[one['state']]}."


def health(found: Row) -> Row:
    """The row of `health`."""
    lag = f"{STATES[found['state']]}; {span(found['lag_s'])} behind"
    if found["state"] == "refused":
        detail, do = f"{lag}: {found['error']}", "mirror; look at [series] in the site file"
    elif found["aside"]:
        detail, do = f"{lag}; {found['aside']} lines kept aside", "mirror; then mirror --resend"
    else:
        detail, do = lag, "mirror"
    good = "good" if found["state"] in ("good", "never") else "note"
    state = "bad" if is_bad(found) else good
    return {"name": "mirror", "state": state, "detail": detail, "do": None if state == "good" else do}


def table(found: list[Row], eyes: Eyes) -> Table:
    """Two columns, then the first of the lines kept aside, each with its reason."""
    shown = Table(box=SIMPLE_HEAD, pad_edge=False, padding=(0, 1), show_edge=False, show_header=False)
    shown.add_column(overflow="fold", vertical="top")
    shown.add_column(overflow="fold", ratio=1)
    for one in found:
        for name, text in _pairs(one, eyes):
            shown.add_row(name, clean(text))
    return shown


def _pairs(one: Row, eyes: Eyes) -> list[tuple[str, Any]]:
    rate = "not known yet" if one["rate_per_s"] is None else f"{one['rate_per_s']:,.0f} lines a second"
    error = f"{one['error']} ({eyes.time(one['error_at'])})" if one["error"] else "none"
    last = eyes.time(one["written_at"]) if one["written_at"] else "never"
    pairs = [
        ("Server", one["server"]),
        ("Behind", f"{span(one['lag_s'])}, {one['waiting']:,} entries"),
        ("Rate", rate),
        ("Written", f"{one['written']:,} lines, last {last}"),
        ("Last error", error),
        ("Kept aside", f"{one['aside']:,} lines" + ("; send again with --resend" if one["aside"] else "")),
    ]
    again = {True: " (will be sent again)", False: ""}
    return pairs + [("", f"{line['line']}\n{line['reason']}{again[line['again']]}") for line in one["lines"]]
