"""Figures for a monitoring system, in the OpenMetrics 1.0 text format
(https://prometheus.io/docs/specs/om/open_metrics_spec/)."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from gateway.core import views
from gateway.web.given import Given

TYPE = "application/openmetrics-text; version=1.0.0; charset=utf-8"


def text(given: Given, version: str, listeners: int) -> str:
    """One exposition."""
    reader, facts = given.reader(), given.facts()
    alarms: dict[tuple[str, str], int] = {}
    for line in reader.alarms(False):
        key = (line.alarm.kind, line.alarm.priority)
        alarms[key] = alarms.get(key, 0) + 1
    probes = given.ask(views.probes)
    states: dict[str, int] = {}
    for row in probes:
        states[row["state"]] = states.get(row["state"], 0) + 1
    beds = [row for row in given.ask(views.beds) if row["hottest_c"] is not None]
    last_n, _, _ = reader.last_stamp()
    lines: list[str] = []
    add = lines.extend
    add(_family("malting_gateway", "info", "The gateway", [("_info", {"version": version}, 1)]))
    add(_counters(reader.counts()))
    standing = [("", {"kind": kind, "priority": grade}, count) for (kind, grade), count in alarms.items()]
    add(_family("malting_alarms_standing", "gauge", "Alarms not back to normal", standing))
    by_state = [("", {"state": state}, count) for state, count in sorted(states.items())]
    add(_family("malting_probes", "gauge", "Probes by state", by_state))
    hottest = [("", {"bed": row["bed"]}, row["hottest_c"]) for row in beds]
    add(_family("malting_bed_hottest_celsius", "gauge", "Hottest reading of a bed", hottest, "celsius"))
    due = reader.due_count()
    add(_family("malting_notices_due", "gauge", "Messages that wait to be sent", [("", {}, due)]))
    add(_family("malting_journal_entries", "gauge", "Newest entry of the store", [("", {}, last_n)]))
    connected = int(bool(facts.get("source", {}).get("connected")))
    add(_family("malting_broker_connected", "gauge", "Whether the broker is there", [("", {}, connected)]))
    add(_family("malting_open_pages", "gauge", "Open pages that listen", [("", {}, listeners)]))
    return "\n".join([*lines, "# EOF"]) + "\n"


def _counters(counts: dict[str, int]) -> Iterable[str]:
    found = [("_total", {"what": name}, count) for name, count in sorted(counts.items())]
    return _family("malting_messages", "counter", "What came, and what became of it", found)


def _family(
    name: str, kind: str, about: str, samples: list[tuple[str, dict[str, str], Any]], unit: str = ""
) -> list[str]:
    if not samples:
        return []
    head = [f"# TYPE {name} {kind}", *([f"# UNIT {name} {unit}"] if unit else []), f"# HELP {name} {about}."]
    return [*head, *(f"{name}{suffix}{_labels(labels)} {value}" for suffix, labels, value in samples)]


def _labels(labels: dict[str, str]) -> str:
    if not labels:
        return ""
    inner = ",".join(f'{key}="{_escaped(value)}"' for key, value in labels.items())
    return f"{{{inner}}}"


def _escaped(value: str) -> str:
    return value.replace("\\", "\\\\").replace("\n", "\\n").replace('"', '\\"')
