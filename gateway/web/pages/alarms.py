"""Alarms: what stands, who was told, who answered; how it went before; and each alarm's sheet."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from gateway.core import people
from gateway.core.site import Site
from gateway.core.wording.screen import STATES, WRONG
from gateway.core.wording.sheet import SHEETS
from gateway.ports import AlarmLine, NoticeLine
from gateway.web.pages.say import ANSWERS, SIGNALS, Say

Row = dict[str, Any]
_MINUTE_MS, _HOUR_MS = 60_000, 3_600_000
#: A message's own number at its end: of no use where several are told in one line.
_NUMBER = re.compile(r" \(\d+\)$")
PRIORITIES = ("low", "medium", "high", "highest")
#: What is wrong, in the trade's words, by kind and level.
_WORDS = {kind: f"probe {said}" if kind.startswith("probe_") else said for kind, said in WRONG.items()} | {
    "bed_hot": "hot",
    "bed_hot urgent": "very hot",
    "bed_low": "chilled",
    "kiln_break_withdrawn": "no kiln break after all, malt still wet",
    "kiln_fire": "fire? ring the fire service",
    "steep_drain": "wants draining",
    "steep_fill": "wants filling",
    "gas_high": "gas, stay out",
    "gas_over_range": "gas probe at its end, stay out",
    "probe_clock": "probe’s clock or name is wrong",
    "gateway_broker": "no messages come in",
    "gateway_session_lost": "messages may be missing",
    "gateway_dropped": "broker threw messages away",
    "gateway_disk": "disk is full",
    "gateway_mirror": "time-series server takes nothing",
    "gateway_clock": "the gateway’s clock is wrong",
    "gateway_twin": "a second gateway is running",
    "gateway_phone": "a phone cannot be reached",
}


def words(row: Mapping[str, Any]) -> str:
    """What is wrong, in two or three words."""
    kind = row["kind"]
    return _WORDS.get(f"{kind} {row['level']}") or _WORDS.get(kind) or kind.replace("_", " ")


def how(row: Mapping[str, Any], say: Say) -> str:
    """How far an alarm that stands at a place is: who answered, or that nobody did."""
    if row["quiet_until"] is not None:
        return f"quiet until {say.clock(row['quiet_until'])}"
    if row["answered_by"]:
        return f"{say.person(row['answered_by'])}: {ANSWERS.get(row['answer'], 'heard')}"
    return "" if row["priority"] == "low" else STATES.get(row["state"], "")


def row(line: AlarmLine, notices: Sequence[NoticeLine] = ()) -> Row:
    """One occurrence as pages show it; `notices` are those of this alarm."""
    one = line.alarm
    return {
        "number": one.number,
        "kind": one.kind,
        "level": one.level,
        "place": one.place,
        "probe": one.probe,
        "priority": one.priority,
        "state": one.state,
        "how": STATES.get(one.state, one.state),
        "value": one.value,
        "unit": one.unit,
        "limit": one.limit,
        "raised_at": one.raised_at_ms,
        # The reading kept is that of its newest change, when it got worse or somebody answered.
        "value_at": line.history[-1].at_ms if line.history else one.raised_at_ms,
        "cleared_at": one.cleared_at_ms,
        "late": one.late,
        "answered_by": one.answered_by,
        "quiet_until": one.quiet_until_ms,
        "over": one.state == "normal",
        "open": one.state in _OPEN,
        "steps": [
            {"at": step.at_ms, "what": SIGNALS.get(step.signal, step.signal), "by": step.by}
            for step in line.history
        ],
        "told": told(notices),
    }


_OPEN = ("unacknowledged", "returned_unacknowledged", "latched_unacknowledged")


def told(notices: Iterable[NoticeLine]) -> list[Row]:
    """Who was told, when, who was not reached: a line for each call, and one for the repeats after it."""
    found: list[Row] = []
    for one in sorted(notices, key=lambda line: (line.notice.at_ms, line.notice.number)):
        at_ms, kind = one.notice.at_ms, one.notice.kind
        last = found[-1] if found else None
        if last is None or last["kind"] != kind or (kind != "repeat" and at_ms - last["at"] >= _MINUTE_MS):
            last = {"at": at_ms, "kind": kind, "people": [], "missed": [], "rung": []}
            found.append(last)
        last["until"], last["text"] = at_ms, _NUMBER.sub("", one.notice.text)
        if one.notice.person not in last["people"]:
            last["people"].append(one.notice.person)
        if not last["rung"] or at_ms - last["rung"][-1] >= _MINUTE_MS:
            last["rung"].append(at_ms)
        if one.delivered_at_ms is None and not one.withdrawn:
            last["missed"].append({"person": one.notice.person, "at": at_ms, "tries": len(one.attempts)})
    return found


def stands(lines: Sequence[AlarmLine], notices: Sequence[NoticeLine]) -> list[Row]:
    """What stands now: unanswered first, but what went off by itself; then the gravest, then the oldest."""
    by_alarm: dict[int | None, list[NoticeLine]] = defaultdict(list)
    for one in notices:
        by_alarm[one.notice.alarm].append(one)
    found = [row(line, by_alarm[line.alarm.number]) for line in lines if line.alarm.state != "normal"]
    return sorted(
        found,
        key=lambda one: (
            not one["open"],
            one["state"] == "returned_unacknowledged",
            -PRIORITIES.index(one["priority"]),
            one["raised_at"],
        ),
    )


def listed(rows: Iterable[Row]) -> list[Row]:
    """What is on the list and calls nobody: a row for each kind at each place, the oldest first."""
    found: dict[tuple[str | None, str], Row] = {}
    for one in rows:
        if one["priority"] == "low":
            same = found.setdefault(
                (one["place"], words(one)), {"place": one["place"], "words": words(one), "rows": []}
            )
            same["rows"].append(one)
    return [one | {"since": min(each["raised_at"] for each in one["rows"])} for one in found.values()]


def calling(rows: Iterable[Row]) -> int:
    """How many of these wait for somebody's answer."""
    return sum(1 for one in rows if one["open"] and one["priority"] != "low" and not one["quiet_until"])


def found(lines: Sequence[AlarmLine], words_asked: str, say: Say, most: int = 200) -> list[Row]:
    """The history, newest first: those in which every word asked for occurs."""
    wanted = words_asked.casefold().split()
    rows = [row(line) for line in reversed(lines)]
    kept = (one for one in rows if all(word in _searched(one, say) for word in wanted))
    return [one for one, _ in zip(kept, range(most), strict=False)]


def _searched(one: Row, say: Say) -> str:
    parts = (
        str(one["number"]),
        words(one),
        say.place(one["place"]),
        one["place"] or "",
        one["probe"] or "",
        one["priority"],
        say.person(one["answered_by"]) if one["answered_by"] else "",
        say.full(one["raised_at"]),
    )
    return " ".join(parts).casefold()


def load(lines: Sequence[AlarmLine], site: Site, now_ms: int, days: int = 30) -> Row:
    """How much the alarms asked of people, against the targets of ISA-18.2 / IEC 62682 and EEMUA 191.

    Counts alarms that call somebody. Flood: more than 10 in 10 min; chattering: on and off 3 times within
    1 min; fleeting: gone within 10 s without an answer (the 10 s are ours); standing: on for more than 24 h.
    The targets are from memory of those standards. Nothing here is by person.
    """
    since_ms = now_ms - days * 24 * _HOUR_MS
    calls = [one for one in lines if one.alarm.priority != "low" and not one.alarm.late]
    raised = sorted(
        step.at_ms
        for one in calls
        for step in one.history
        if step.signal in ("raise", "rise") and step.at_ms >= since_ms
    )
    first_ms = max(since_ms, min((one.alarm.raised_at_ms for one in lines), default=now_ms))
    watched_days = max(1.0, (now_ms - first_ms) / (24 * _HOUR_MS))
    nights = sum(people.is_night(site.callout, site.time_zone, at_ms) for at_ms in raised)
    return {
        "days": round(watched_days, 1),
        "calls": len(raised),
        "a_day": len(raised) / watched_days,
        "a_night": nights / watched_days,
        "floods": floods(raised),
        "chattering": _chattering(lines, since_ms),
        "fleeting": sum(_fleeting(one) for one in lines if one.alarm.raised_at_ms >= since_ms),
        "standing": sum(
            one.alarm.state != "normal" and now_ms - one.alarm.raised_at_ms > 24 * _HOUR_MS for one in lines
        ),
        "worst_10_min": max(
            (sum(at <= other < at + 10 * _MINUTE_MS for other in raised) for at in raised), default=0
        ),
    }


def floods(raised: Sequence[int]) -> int:
    """How many floods: each begins with more than 10 in 10 min and ends with fewer than 5 in 10 min."""
    count, flooding = 0, False
    for at, at_ms in enumerate(raised):
        recent = sum(1 for other in raised[: at + 1] if other > at_ms - 10 * _MINUTE_MS)
        if not flooding and recent > 10:
            count, flooding = count + 1, True
        elif flooding and recent < 5:
            flooding = False
    return count


def _chattering(lines: Sequence[AlarmLine], since_ms: int) -> int:
    """How many (kind, place, probe) began and ended three times within a minute."""
    begun: dict[tuple[str, str | None, str | None], list[int]] = defaultdict(list)
    for one in lines:
        if one.alarm.raised_at_ms >= since_ms:
            begun[one.alarm.kind, one.alarm.place, one.alarm.probe] += [
                step.at_ms for step in one.history if step.signal == "raise"
            ]
    return sum(
        any(late - early <= _MINUTE_MS for early, late in zip(times, times[2:], strict=False))
        for times in map(sorted, begun.values())
    )


def _fleeting(one: AlarmLine) -> bool:
    ended = one.alarm.cleared_at_ms
    return ended is not None and not one.alarm.answered_by and ended - one.alarm.raised_at_ms < 10_000


def sheet(kind: str) -> Row | None:
    """What was thought through before anybody is called for it."""
    known = SHEETS.get(kind)
    return known._asdict() if known else None
