"""The gateway's surroundings: broker, session, disk, clock, a twin, failing phones, wrong probe clocks."""

from __future__ import annotations

from gateway.core.finding import Finding, Subject
from gateway.core.inputs import Condition, Delivery
from gateway.core.site import Probe
from gateway.core.state import NEVER_MS, State, gateway_subject

#: A lost session and messages thrown away are no states: their alarm stands long enough to be seen (ours).
EVENT_STANDS_MS = 30 * 60_000
_EVENTS = ("session", "dropped")
#: A probe that contradicted itself is suspect until it has not done so for this long (ours).
CONFLICT_STANDS_MS = 6 * 3_600_000
#: One failed attempt is weather; three in a row is a phone that cannot be reached (ours).
FAILS_BEFORE_ALARM = 3


def condition(state: State, what: Condition) -> list[Finding]:
    """The alarm of a condition that came or went; a lost broker stops the count of silence."""
    was = what.name in state.conditions
    if what.on:
        state.conditions[what.name] = state.run_ms
        state.details[what.name] = what.detail[:80]
    else:
        state.conditions.pop(what.name, None)
    if what.name == "broker":
        state.broker_lost = what.on
        if was and not what.on:
            state.settling_from_ms = state.run_ms
            state.resumed_at_ms = state.at_ms
    return [finding(state, what.name)] if was != what.on or what.on else []


def judge(state: State) -> list[Finding]:
    """Conditions that end by themselves."""
    found = []
    for name in _EVENTS:
        since = state.conditions.get(name)
        if since is not None and state.run_ms - since >= EVENT_STANDS_MS:
            del state.conditions[name]
            found.append(finding(state, name))
    for probe in state.site.probes:
        window = state.windows.get(probe.id)
        if window and window.conflict_run_ms and state.run_ms - window.conflict_run_ms >= CONFLICT_STANDS_MS:
            window.conflict_run_ms = 0
            found.append(conflict_finding(state, probe))
    return found


def next_run_ms(state: State) -> int:
    """A running time before which none of these ends."""
    waiting = [w.conflict_run_ms + CONFLICT_STANDS_MS for w in state.windows.values() if w.conflict_run_ms]
    waiting += [state.conditions[name] + EVENT_STANDS_MS for name in _EVENTS if name in state.conditions]
    return min(waiting, default=NEVER_MS)


def finding(state: State, name: str) -> Finding:
    """The condition as it stands now."""
    return Finding(
        gateway_subject({"session": "session_lost"}.get(name, name)),
        name in state.conditions,
        "medium",
        "on",
        1,
        since_ms=state.at_ms,
        detail=state.details.get(name, ""),
    )


def delivery(state: State, what: Delivery) -> list[Finding]:
    """Phones that fail three times in a row, or are gone: one alarm that names them."""
    if what.outcome == "delivered":
        state.failing.pop(what.phone, None)
    else:
        gone = FAILS_BEFORE_ALARM if what.outcome == "gone" else 1
        state.failing[what.phone] = state.failing.get(what.phone, 0) + gone
    return _phones(state)


def phones_changed(state: State) -> list[Finding]:
    """Another site file: a phone that is no longer in it need not be reached."""
    known = {phone.id for phone in state.site.phones}
    state.failing = {phone: fails for phone, fails in state.failing.items() if phone in known}
    return _phones(state)


def _phones(state: State) -> list[Finding]:
    down = sorted(phone for phone, fails in state.failing.items() if fails >= FAILS_BEFORE_ALARM)
    if bool(down) == ("phone" in state.conditions) and (
        not down or state.details.get("phone") == ", ".join(down)
    ):
        return []
    if down:
        state.conditions.setdefault("phone", state.run_ms)
        state.details["phone"] = ", ".join(down)
    else:
        state.conditions.pop("phone", None)
    return [finding(state, "phone")]


def conflict(state: State, probe: Probe) -> list[Finding]:
    """The probe said two things of one moment, or one of a later: its clock (or its identity) is wrong."""
    window = state.window(probe.id)
    known = bool(window.conflict_run_ms)
    window.conflict_run_ms = state.run_ms
    return [] if known else [conflict_finding(state, probe)]


def conflict_finding(state: State, probe: Probe) -> Finding:
    """The contradiction as it stands now."""
    window = state.window(probe.id)
    return Finding(
        Subject("probe_clock", probe.place, probe.id),
        bool(window.conflict_run_ms),
        "low",
        "conflict",
        1,
        value=window.value,
        measured_at_ms=window.measured_ms or None,
        detail="its times contradict each other",
    )
