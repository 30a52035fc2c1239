"""Tables from the rows that `--json` prints: few columns, wrapped cells, so that a phone shows them whole."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from rich.box import SIMPLE_HEAD
from rich.table import Table
from rich.text import Text

from gateway.core import moment
from gateway.core.rows import Row
from gateway.core.wording.screen import REASONS, STATES
from gateway.core.wording.screen import battery as battery_words
from gateway.core.wording.start import KEEP_OUT
from gateway.show import words
from gateway.show.words import Eyes, number

#: What every table here is.
Shown = Table
_BAD = "bold red"
_ODD = "yellow"


def clean(text: object) -> str:
    """Text from outside without what a terminal would obey."""
    return "".join(one if one.isprintable() or one == "\n" else "·" for one in str(text))


def cell(*lines: object, style: str = "") -> Text:
    """One cell: a line for each part that is there."""
    return Text(clean("\n".join(str(line) for line in lines if line not in (None, "", False))), style=style)


def table(headers: Sequence[str], lines: Iterable[Sequence[Text]]) -> Table:
    """The last column takes what room is left and wraps."""
    made = Table(box=SIMPLE_HEAD, pad_edge=False, padding=(0, 1), show_edge=False, expand=False)
    for header in headers[:-1]:
        made.add_column(header, overflow="fold", vertical="top")
    made.add_column(headers[-1], overflow="fold", ratio=1)
    for line in lines:
        made.add_row(*line)
    return made


def beds(found: list[Row], eyes: Eyes) -> Table:
    """One bed a row: piece and day, grain, turns, and how it stands."""
    return table(("Bed", "Grain", "Turned", "Now"), (_bed(row, eyes) for row in found))


def _bed(row: Row, eyes: Eyes) -> list[Text]:
    empty = row["why"] == "known empty"
    bad = row["level"] in ("high", "urgent") or not (row["watched"] or empty)
    trend = row["trend_k_per_h"]
    rising = "" if trend is None or abs(trend) < 0.05 else f"{trend:+.1f} K an hour"
    blind = "NOT BEING WATCHED where hottest" if row["unseen"] else "NOT BEING WATCHED"
    watched = "" if row["watched"] or empty else blind
    level = words.LEVELS.get(row["level"], "no reading")
    return [
        cell(
            eyes.place(row["bed"]),
            row["piece"] and f"piece {row['piece']}",
            row["day"] is not None and f"day {row['day']}",
        ),
        cell(
            number(row["hottest_c"], "°C"),
            row["coldest_c"] is not None and f"to {number(row['coldest_c'], '°C')}",
            row["co2_ppm"] is not None and f"{row['co2_ppm'] / 10_000:.1f} % CO2",
        ),
        cell(eyes.time(row["turned_at"]), row["due_at"] and f"by {eyes.time(row['due_at'])}"),
        cell(watched, level, rising, _wanted(row, eyes), style=_BAD if bad else ""),
    ]


def _wanted(row: Row, eyes: Eyes) -> str:
    start = row["start_at"]
    now = start is not None and moment.parse(start) <= eyes.now_ms
    if row["entry"] in KEEP_OUT and start is not None:
        return f"STAY OUT, not now: {row['why']}"
    return f"{row['start']}: {row['why']}" if now else row["why"]


def probes(found: list[Row], eyes: Eyes) -> Table:
    """One probe a row: where, what it says, whether it is heard."""
    return table(("Probe", "Says", "State"), (_probe(row, eyes) for row in found))


def _probe(row: Row, eyes: Eyes) -> list[Text]:
    style = {"alive": "", "waiting": _ODD, "late": _ODD, "out_of_service": _ODD}.get(row["state"], _BAD)
    missed, battery = row["missed_share"], row["battery"]
    return [
        cell(words.broken(row["probe"]), eyes.place(row["place"])),
        cell(_says(row, eyes), eyes.time(row["measured_at"])),
        cell(
            words.PROBE_STATES.get(row["state"], row["state"]),
            row["why"] and REASONS.get(row["why"], row["why"]),
            f"{missed:.0%} missed" if missed else "",
            battery_words(battery, row["battery_unit"]) if battery is not None else "",
            style=style,
        ),
    ]


def _says(row: Row, eyes: Eyes) -> str:
    """CO2 in grain is told in per cent, as the trade has it."""
    place = eyes.site.place.get(row["place"])
    if row["quantity"] == "co2" and row["value"] is not None and place is not None and place.kind == "bed":
        return f"{row['value'] / 10_000:.1f} %"
    return number(row["value"], words.UNITS.get(row["quantity"]))


def alarms(found: list[Row], eyes: Eyes) -> Table:
    """One alarm a row: its number to answer by, what and where, since when, who answered."""
    return table(("No.", "What", "Stands"), (_alarm(row, eyes) for row in found))


def _alarm(row: Row, eyes: Eyes) -> list[Text]:
    over = row["state"] == "normal"
    grave = row["priority"] in ("high", "highest") and not over and not row["late"]
    limit = f"limit {number(row['limit'], row['unit'])}" if row["limit"] is not None else ""
    answered = f"answered by {eyes.who(row['answered_by'])}" if row["answered_by"] and not over else ""
    quiet = f"quiet until {eyes.time(row['quiet_until'])}" if row["quiet_until"] else ""
    state = STATES.get(row["state"], row["state"])
    return [
        cell(row["number"], style=_BAD if grave else ""),
        cell(
            f"{eyes.subject(row)}: {words.alarm_kind(row['kind'])}",
            number(row["value"], row["unit"]) if row["value"] is not None else "",
            limit,
            style=_BAD if grave else "",
        ),
        cell(
            f"since {eyes.time(row['raised_at'])}"
            + (f" to {eyes.time(row['cleared_at'])}" if row["cleared_at"] else ""),
            "found in old readings, nobody was called" if row["late"] else "",
            quiet,
            answered or state,
            row["priority"],
        ),
    ]


def turns(found: list[Row], eyes: Eyes) -> Table:
    """One turn a row."""
    return table(("Bed", "Turned", "By", "How known"), (_turn(row, eyes) for row in found))


def _turn(row: Row, eyes: Eyes) -> list[Text]:
    stretch = ""
    if row["from_m"] is not None and row["to_m"] is not None:
        stretch = f"{row['from_m']:g}–{row['to_m']:g} m"
    odd = words.TURN_STATES.get(row["state"], "")
    fall = f"fell {row['fall_k']:.1f} K" if row["fall_k"] is not None else ""
    return [
        cell(eyes.place(row["bed"]), stretch),
        cell(eyes.time(row["ended_at"])),
        cell(eyes.who(row["by"]) or "–"),
        cell(words.SOURCES.get(row["source"], row["source"]), fall, odd),
    ]


def notices(found: list[Row], eyes: Eyes) -> Table:
    """One message a row: to whom, what, whether it got there."""
    return table(("No.", "To", "At", "Message"), (_notice(row, eyes) for row in found))


def _notice(row: Row, eyes: Eyes) -> list[Text]:
    attempts = row["attempts"]
    if row["delivered_at"]:
        became, style = f"reached {eyes.time(row['delivered_at'])}", ""
    elif row.get("withdrawn"):
        became, style = words.WITHDRAWN.get(row["withdrawn"], str(row["withdrawn"])), ""
    else:
        last = words.OUTCOMES.get(attempts[-1]["outcome"], "") if attempts else "on its way"
        became, style = f"{last}, tried {len(attempts)} times" if attempts else last, _BAD if attempts else ""
    return [
        cell(row["number"]),
        cell(eyes.who(row["person"]), row["phone"]),
        cell(eyes.time(row["at"])),
        Text.assemble(cell(f"{row['text']}\n"), cell(became, style=style)),
    ]


def rejected(found: list[Row], eyes: Eyes) -> Table:
    """What was refused and how often, the most frequent first."""
    return table(("From", "Times", "Last", "Why"), (_refused(row, eyes) for row in found))


def _refused(row: Row, eyes: Eyes) -> list[Text]:
    return [
        cell(words.broken(row["probe"] or row["topic"] or "")),
        cell(f"{row['count']:,}"),
        cell(eyes.time(row["last_at"])),
        cell(REASONS.get(row["reason"], row["reason"])),
    ]


def health(found: list[Row]) -> Table:
    """The gateway's surroundings: each good, or what to do."""
    styles = {"good": "", "bad": _BAD, "note": _ODD}
    lines = (
        [
            cell(row["name"]),
            cell(row["state"], style=styles[row["state"]]),
            cell(row["detail"], row["do"] and f"→ {row['do']}", style=styles[row["state"]]),
        ]
        for row in found
    )
    return table(("What", "State", "How it is"), lines)


def sums(found: list[Row]) -> str:
    """How many alarms stand, by priority, for the line above the table."""
    count = Counter(row["priority"] for row in found if row["state"] != "normal")
    return ", ".join(f"{count[one]} {one}" for one in ("highest", "high", "medium", "low") if count[one])
