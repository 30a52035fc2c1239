"""The gateway's own condition as rows: each thing good, or what to do about it."""

from __future__ import annotations

from collections import Counter
from typing import Any, NamedTuple

from gateway.core.rows import Row
from gateway.ports import DueNotice, Sizes
from gateway.show.words import count as how_many
from gateway.show.words import size, span

#: The daemon leaves its facts every 5 s; after this many seconds it does not run, or is stuck.
STALE_S = 30.0
#: Less room than this is worth a look; SQLite needs some to fold its log.
LITTLE_ROOM = 200_000_000
#: A nightly back-up may fail once; after that somebody should know.
OLD_BACKUP_S = 60 * 3600.0
NAMED = 6


class Seen(NamedTuple):
    """What `health` looks at: the daemon's own facts with their age, and what the store says."""

    facts: dict[str, Any] | None
    age_s: float | None
    counts: dict[str, int]
    sizes: Sizes
    behind: int
    due: list[DueNotice]
    probe_states: dict[str, str]
    gateway_alarms: list[str]
    mirror: Row | None = None
    program: str = ""
    backup: dict[str, Any] | None = None
    backup_age_s: float | None = None
    gas: str = "no gas watch"


def rows(seen: Seen) -> list[Row]:
    """One row a thing: name, state (good, bad, or note), detail, and what to do where it is not good."""
    facts = seen.facts or {}
    running = facts.get("state") == "running" and seen.age_s is not None and seen.age_s <= STALE_S
    found = [_gateway(seen, running)]
    found += [_broker(facts, running), _session(facts, running), _queue(facts, running)]
    found += [_clock(facts, seen.counts.get("clock_ignored", 0))]
    found += [_store(seen), _disk(seen), _backup(seen), _phones(seen), _probes(seen)]
    found += [seen.mirror] if seen.mirror else []
    found += [_site_file(facts["warnings"])] if running and facts.get("warnings") else []
    found += [_row(name, "bad", "there is an alarm about it", "alarms") for name in seen.gateway_alarms]
    found.append(_versions(seen, running))
    found.append(_row("gas", "note", seen.gas, "take a hand meter; this is not a certified gas alarm"))
    return found


def _row(name: str, state: str, detail: str, do: str | None = None) -> Row:
    return {"name": name, "state": state, "detail": detail, "do": None if state == "good" else do}


def _gateway(seen: Seen, running: bool) -> Row:
    if seen.facts is None or seen.age_s is None:
        return _row("gateway", "bad", "has never run on this store", "start it: malting-gateway run")
    still = seen.facts.get("still")
    if running and still:
        return _row("gateway", "bad", f"stands still: {', '.join(still)}", "look at its log; start it again")
    if running:
        return _row("gateway", "good", f"runs, version {seen.facts.get('version')}")
    ago = f"{span(seen.age_s)} ago"
    if seen.facts.get("state") == "stopped":
        return _row("gateway", "bad", f"was stopped {ago}", "start it: malting-gateway run")
    return _row("gateway", "bad", f"does not answer, last heard {ago}", "start it, or look at its log")


def _broker(facts: dict[str, Any], running: bool) -> Row:
    source = facts.get("source") or {}
    if running and source.get("connected"):
        age = source.get("last_packet_age_s")
        heard = f", last heard {span(age)} ago" if isinstance(age, int | float) else ""
        return _row("broker", "good", f"connected, MQTT {source.get('protocol')}{heard}")
    return _row(
        "broker", "bad", "not connected", "look at the broker, the network, and [broker] in the site file"
    )


def _session(facts: dict[str, Any], running: bool) -> Row:
    source = facts.get("source") or {}
    if not running:
        return _row("session", "note", "not known")
    kept = source.get("session_present")
    detail = "kept over the last break" if kept else "new at the last connection"
    return _row("session", "good", f"{detail}, {source.get('reconnects', 0)} reconnections")


def _site_file(warnings: list[str]) -> Row:
    more = f", and {len(warnings) - 1} more" if len(warnings) > 1 else ""
    return _row("site file", "note", f"{warnings[0]}{more}", "malting-gateway check, and mend what it names")


def _queue(facts: dict[str, Any], running: bool) -> Row:
    source = facts.get("source") or {}
    if not running:
        return _row("queue", "note", "not known")
    waiting = source.get("queued", 0)
    said = f"{waiting} messages wait, {source.get('received', 0)} received since start"
    dropped = source.get("dropped")
    told = "" if dropped is None else f"; the broker threw {dropped} away since its own, of all clients"
    return _row("queue", "good", said + told)


def _clock(facts: dict[str, Any], ignored: int) -> Row:
    clock = facts.get("clock") or {}
    if not clock:
        return _row("clock", "note", "not known")
    said = f"; {how_many(ignored, 'clock message')} ignored" if ignored else ""
    if clock.get("trusted"):
        return _row("clock", "good", f"{clock.get('kind')} clock, set from outside{said}")
    if clock.get("kind") == "topic":
        return _row("clock", "bad", f"no clock message has come yet{said}", "look at what sends ROOT/clock")
    return _row("clock", "bad", "has not been set since the machine started", "look at the time service")


def _store(seen: Seen) -> Row:
    differing = seen.counts.get("effects_differing", 0)
    if differing:
        return _row("store", "bad", f"{differing} effects differ from what was kept", "replay --store")
    room = f"{size(seen.sizes.database + seen.sizes.log)}"
    if seen.behind > 5000:
        return _row(
            "store", "bad", f"{seen.behind} entries wait to be judged, {room}", "see whether it falls"
        )
    return _row("store", "good", f"{room}, {seen.behind} entries wait to be judged")


def _disk(seen: Seen) -> Row:
    free = f"{size(seen.sizes.free)} free"
    if not seen.sizes.reserve:
        return _row("disk", "bad", f"full: {free}, the reserve is given up", "make room now")
    if seen.sizes.free < LITTLE_ROOM:
        return _row("disk", "bad", free, "make room")
    return _row("disk", "good", free)


def _phones(seen: Seen) -> Row:
    tried = Counter(notice.phone for notice in seen.due if notice.attempts)
    if tried:
        names = _named(sorted(tried))
        return _row("phones", "bad", f"not reached: {names}", "test-call; look at [[phone]] in the site file")
    return _row("phones", "good", f"{len(seen.due)} messages on their way")


def _probes(seen: Seen) -> Row:
    count = Counter(seen.probe_states.values())
    heard, all_of = count["alive"], len(seen.probe_states)
    lost = sorted(probe for probe, state in seen.probe_states.items() if state in ("silent", "stuck"))
    if lost:
        return _row("probes", "bad", f"not heard: {_named(lost)}", "probes; look at these")
    late = sorted(probe for probe, state in seen.probe_states.items() if state == "late")
    if late:
        said = f"{heard} of {all_of} heard in time; late: {_named(late)}"
        return _row("probes", "note", said, "look again in a while; it calls when one is silent")
    rest = ", ".join(
        f"{count[state]} {state.replace('_', ' ')}" for state in sorted(count) if state != "alive"
    )
    return _row("probes", "good", f"{heard} of {all_of} heard{'; ' + rest if rest else ''}")


def _backup(seen: Seen) -> Row:
    if seen.backup is None or seen.backup_age_s is None:
        return _row("back-up", "note", "none has been made of this store", "backup FILE; see the runbook")
    detail = f"{span(seen.backup_age_s)} ago, {seen.backup.get('file')}"
    if seen.backup_age_s > OLD_BACKUP_S:
        return _row("back-up", "bad", detail, "look at the back-up timer, or: backup FILE")
    return _row("back-up", "good", detail)


def _versions(seen: Seen, running: bool) -> Row:
    facts = seen.facts or {}
    runs = facts.get("version")
    parts = [
        f"gateway {seen.program}",
        *(f"{name} {what}" for name, what in facts.get("versions", {}).items()),
    ]
    if running and runs != seen.program:
        return _row("versions", "bad", f"{runs} runs, {seen.program} is installed", "restart the gateway")
    return _row("versions", "good", ", ".join(parts))


def _named(names: list[str]) -> str:
    return ", ".join(names[:NAMED]) + (" …" if len(names) > NAMED else "")
