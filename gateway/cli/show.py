"""The reading commands: from the store to a document, a table, and whether it is bad news."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any, NamedTuple

from gateway import __version__
from gateway.cli import show_air as cli_show_air
from gateway.cli import show_floor as cli_show_floor
from gateway.core import rows, views
from gateway.core.engine import State
from gateway.core.rows import Row
from gateway.live import store as live_store
from gateway.ports import Reader
from gateway.show import documents, health, mirror, paper, tables, words
from gateway.show.words import Eyes

MOST = 1000


class Answer(NamedTuple):
    """What a command shows: the document's rows, what stands above the table, the table, and if it is bad."""

    rows: list[Row]
    head: str
    table: Callable[[list[Row], Eyes], tables.Shown]
    bad: bool
    more: Mapping[str, Any] = MappingProxyType({})


_Answering = Callable[[Reader, State, Path, Mapping[str, Any]], Answer]


def show(command: str, store: Path, more: Mapping[str, Any], *, as_json: bool) -> int:
    """Print one reading command's answer; 1 where it is bad news. `more`: what else was typed."""
    reader = live_store.reader_of(store)
    try:
        state = live_store.state_of(reader)
        answer = _ANSWERS[command](reader, state, store, more)
    finally:
        reader.close()
    runs = live_store.runs(store)
    if as_json:
        paper.as_json(documents.document(state.at_ms, answer.rows, running=runs, **answer.more))
        return int(answer.bad)
    eyes = Eyes(state.site, state.at_ms)
    shown = answer.more.get("counts", answer.rows)
    as_of = eyes.time(rows.when(state.at_ms))
    head = f"{state.site.name}, {as_of}. {answer.head}"
    if not runs:
        head = f"THE GATEWAY IS NOT RUNNING. This is how it was.\n{head}"
    paper.as_table(head, answer.table(shown, eyes))
    return int(answer.bad)


def _beds(reader: Reader, state: State, store: Path, more: Mapping[str, Any]) -> Answer:
    found = documents.beds(views.beds(state))
    hot = [row for row in found if row["level"] in ("high", "urgent")]
    blind = [row for row in found if not row["watched"] and row["why"] != "known empty"]
    said = [f"{len(hot)} too hot" if hot else "", f"{len(blind)} not being watched" if blind else ""]
    return Answer(found, _list(said, words.count(len(found), "bed")), tables.beds, bool(hot or blind))


def _probes(reader: Reader, state: State, store: Path, more: Mapping[str, Any]) -> Answer:
    found = documents.probes(views.probes(state))
    lost = sum(row["state"] in ("silent", "stuck") for row in found)
    return Answer(found, f"{len(found)} probes, {lost} not heard", tables.probes, lost > 0)


def _alarms(reader: Reader, state: State, store: Path, more: Mapping[str, Any]) -> Answer:
    found = documents.alarms(reader.alarms(bool(more.get("ended")), MOST))
    grave = any(row["state"] != "normal" and row["priority"] != "low" and not row["late"] for row in found)
    standing = tables.sums(found)
    return Answer(found, f"Alarms: {standing}" if standing else "No alarm stands.", tables.alarms, grave)


def _turns(reader: Reader, state: State, store: Path, more: Mapping[str, Any]) -> Answer:
    found = documents.turns(reader.turns(MOST))
    return Answer(found, words.count(len(found), "turn") + " known", tables.turns, False)


def _notices(reader: Reader, state: State, store: Path, more: Mapping[str, Any]) -> Answer:
    found = documents.notices(reader.notices(MOST))
    late = sum(_unreached(row, found, state) for row in found)
    head = f"{late} did not reach their phone yet" if late else words.count(len(found), "message")
    return Answer(found, head, tables.notices, late > 0)


def _unreached(row: Row, found: list[Row], state: State) -> bool:
    """Whether a message was tried and its phone has it not, nor anything later where the phone is gone."""
    if not row["attempts"] or row["delivered_at"]:
        return False
    if row["withdrawn"] != "gone":
        return not row["withdrawn"]
    mine = [one for one in found if one["phone"] == row["phone"] and one["number"] > row["number"]]
    still = any(phone.id == row["phone"] for phone in state.site.phones)
    return still and not any(one["delivered_at"] for one in mine)


def _rejected(reader: Reader, state: State, store: Path, more: Mapping[str, Any]) -> Answer:
    counts = documents.rejected_counts(reader.rejected_counts())
    head = f"{sum(row['count'] for row in counts):,} messages refused"
    return Answer(documents.rejected(reader.rejected(MOST)), head, tables.rejected, False, {"counts": counts})


def _of_floor(tell: Callable[[State, Mapping[str, Any]], cli_show_floor.Told]) -> _Answering:
    def answer(reader: Reader, state: State, store: Path, more: Mapping[str, Any]) -> Answer:
        return Answer(*tell(state, more))

    return answer


def _air(reader: Reader, state: State, store: Path, more: Mapping[str, Any]) -> Answer:
    return Answer(*cli_show_air.air(state, runs=live_store.runs(store)))


def _health(reader: Reader, state: State, store: Path, more: Mapping[str, Any]) -> Answer:
    facts, age_s = live_store.daemon_facts(store)
    n, _, _ = reader.last_stamp()
    cursor, _, _ = reader.load_judge()
    found = health.rows(
        health.Seen(
            facts,
            age_s,
            reader.counts(),
            reader.sizes(),
            n - cursor.n,
            reader.due_notices(),
            {row["probe"]: row["state"] for row in views.probes(state)},
            [line.alarm.kind for line in reader.alarms(False) if line.alarm.kind.startswith("gateway_")],
            _mirror_health(reader, facts),
            __version__,
            *live_store.last_backup(store),
            cli_show_air.watch(state),
        )
    )
    bad = sum(row["state"] == "bad" for row in found)
    head = f"{bad} of {len(found)} want looking after" if bad else "All is well but what is noted."
    return Answer(found, head, lambda lines, eyes: tables.health(lines), bad > 0)


def _mirror_health(reader: Reader, facts: dict[str, Any] | None) -> Row | None:
    """Nothing to see where the gateway runs without a server."""
    found = mirror.row(reader) if facts is None or facts.get("mirror") else None
    return mirror.health(found) if found else None


def _mirror(reader: Reader, state: State, store: Path, more: Mapping[str, Any]) -> Answer:
    one = mirror.row(reader)
    found = [one] if one else []
    return Answer(found, mirror.head(found), mirror.table, any(map(mirror.is_bad, found)))


def _list(parts: list[str], otherwise: str) -> str:
    return ", ".join(part for part in parts if part) or otherwise


_ANSWERS: dict[str, _Answering] = {
    "beds": _beds,
    "probes": _probes,
    "alarms": _alarms,
    "turns": _turns,
    "notices": _notices,
    "rejected": _rejected,
    "tonight": _of_floor(lambda state, more: cli_show_floor.tonight(state)),
    "forecast": _of_floor(lambda state, more: cli_show_floor.forecast(state)),
    "piece": _of_floor(lambda state, more: cli_show_floor.pieces(state, more.get("piece"))),
    "lay": _of_floor(lambda state, more: cli_show_floor.lay(state, more.get("when"))),
    "questions": _of_floor(lambda state, more: cli_show_floor.questions(state)),
    "kiln": _of_floor(lambda state, more: cli_show_floor.kiln(state)),
    "hand-over": _of_floor(lambda state, more: cli_show_floor.notes(state)),
    "air": _air,
    "health": _health,
    "mirror": _mirror,
}
