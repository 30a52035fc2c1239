"""Probes that are not heard, and beds that nobody watches any more, or not where they are hottest.

Silence is found by ticks alone.

Silence counts on running time from the last reading that was young enough to call anybody, or from the moment
the gateway could hear again (start, gap, broker back, backlog drained), whichever is later.
"""

from __future__ import annotations

from dataclasses import replace

from gateway.core.finding import Finding, Subject
from gateway.core.follow.honest_said import UNITS
from gateway.core.piece import day_of
from gateway.core.rules import unseen
from gateway.core.rules.air_said import short
from gateway.core.rules.heat import newest_turn
from gateway.core.site import Place, Probe
from gateway.core.state import NEVER_MS, State
from gateway.core.window import Window

#: How often a bed is looked at for a place that nobody sees (ours): a call is wanted within half an hour.
LOOK_MS = 300_000
#: The rank of a bed that nobody can tell anything of; a place of it known to be at a limit ranks above it.
_BLIND = 1


def silent_at_ms(state: State, probe: Probe) -> int:
    """The running time at which the probe counts as silent if nothing more is heard."""
    window = state.windows.get(probe.id)
    heard = window.heard_run_ms if window else 0
    return max(heard, state.settling_from_ms) + int(probe.silent_after_s * 1000)


def judge(state: State) -> list[Finding]:
    """Probes newly silent, then beds newly unwatched or watched again."""
    found = []
    if not state.broker_lost:
        for probe in state.site.probes:
            window = state.window(probe.id)
            if window.silent or probe.id in state.out_of_service:
                continue
            if state.run_ms >= silent_at_ms(state, probe):
                window.silent = True
                found.append(finding(state, probe))
        if state.run_ms >= state.lost_run_ms:
            state.lost_run_ms = (state.run_ms // LOOK_MS + 1) * LOOK_MS
            return found + watch(state)
    return found + watch(state) if found else found


def heard(state: State, probe: Probe) -> list[Finding]:
    """A silent probe spoke: its silence ends, and with it perhaps the bed's being unwatched."""
    state.window(probe.id).silent = False
    state.due_run_ms = 0
    return [finding(state, probe), *watch(state)]


def watch(state: State) -> list[Finding]:
    """Beds that are watched no longer, or again: each place that may be at a limit must be seen.

    Where no thermometer is good any more nobody can tell; where some are, a place that is unseen counts only
    if it is at a limit by now.
    """
    found = []
    for place in state.site.places:
        if place.kind != "bed":
            continue
        matters, said = _matters(state, place), state.lost.get(place.id, 0)
        hot = _hot_rank(state, place) if matters else 0
        unwatched = hot > 0 or (
            matters and not state.good(place.id, "temperature") and _had_time(state, place)
        )
        if hot:
            state.lost[place.id] = max(hot, said)
        else:
            state.lost.pop(place.id, None)
        was = place.id in state.unwatched
        if unwatched and not was:
            state.unwatched.append(place.id)
        elif was and not unwatched:
            state.unwatched.remove(place.id)
        if unwatched != was or hot > said:
            found.append(unwatched_finding(state, place))
    return found


def _hot_rank(state: State, place: Place) -> int:
    """The rank of the limit that a place nobody sees is at by now; while nothing is heard, as it was."""
    if state.broker_lost:
        return state.lost.get(place.id, 0)
    hot = unseen.hottest(state, place)
    return hot.level.rank if hot else 0


def _matters(state: State, place: Place) -> bool:
    """A bed with a piece, or one never recorded but heard; one recorded empty only where grain was seen."""
    if place.id in state.pieces.beds:
        return bool(state.site.probes_of[place.id])
    if place.id in state.pieces.empty:
        return place.id in state.unrecorded
    return any(
        state.windows[probe.id].value is not None
        for probe in state.site.probes_of[place.id]
        if probe.id in state.windows
    )


def _had_time(state: State, place: Place) -> bool:
    """Whether every thermometer is silent, out of service or out of the grain, not merely not heard yet."""
    return all(
        probe.id in state.out_of_service
        or probe.id in state.honesty.away
        or (probe.id in state.windows and state.windows[probe.id].silent)
        for probe in state.site.probes_of[place.id]
        if probe.quantity == "temperature"
    )


def next_run_ms(state: State) -> int:
    """A running time before which no probe falls silent, and no bed is looked at."""
    if state.broker_lost:
        return NEVER_MS
    silent_ms = min(
        (
            silent_at_ms(state, probe)
            for probe in state.site.probes
            if probe.id not in state.out_of_service and not state.window(probe.id).silent
        ),
        default=NEVER_MS,
    )
    return min(silent_ms, state.lost_run_ms)


def finding(state: State, probe: Probe) -> Finding:
    """The probe's silence as it stands now."""
    window = state.window(probe.id)
    return Finding(
        Subject("probe_silent", probe.place, probe.id),
        window.silent and probe.id not in state.out_of_service,
        "low",
        "silent",
        1,
        value=window.value,
        unit=UNITS.get(probe.quantity),
        measured_at_ms=window.measured_ms or None,
        since_ms=window.measured_ms or None,
        detail=why_silent(window),
    )


def why_silent(window: Window) -> str:
    """What is known of the reason, in words; empty where nothing is."""
    if window.behind_ms:
        return f"it speaks, but {window.behind_ms // 60_000} min late: its clock or its link"
    return window.refused


def unseen_words(state: State, place: Place) -> str | None:
    """Of a bed that is not watched where it is hottest: by which probe, and why."""
    hot = unseen.hottest(state, place) if place.id in state.lost else None
    return None if hot is None else f"{hot.blind.probe.id} {hot.blind.why}"


def unwatched_finding(state: State, place: Place) -> Finding:
    """The bed's being unwatched as it stands now: where it is hottest, or of all its probes."""
    hot = unseen.hottest(state, place) if place.id in state.lost else None
    if hot is not None:
        return _hot_finding(state, place, hot)
    found = _blind_finding(state, place)
    said = [unseen.by_hand(state, place, probe, state.at_ms - 1) for probe in state.site.probes_of[place.id]]
    hand = next((one for one in said if one is not None), None)
    return found if hand is None or found.on else replace(found, value=hand[1], detail="by hand")


def _hot_finding(state: State, place: Place, hot: unseen.Hot) -> Finding:
    """Of the place that nobody sees and that is at a limit: its probe, the last of it, how it warmed."""
    blind, lying = hot.blind, state.pieces.beds.get(place.id)
    return Finding(
        Subject("bed_unwatched", place.id),
        place.id in state.unwatched,
        "high",
        "unwatched_hot",
        _BLIND + state.lost[place.id],
        value=blind.hand_c if blind.hand_ms else blind.last_c,
        unit="Cel",
        measured_at_ms=blind.hand_ms or blind.until_ms,
        since_ms=blind.until_ms,
        trend_per_h=hot.rate_k_per_h,
        next_limit=hot.level.limit,
        next_at_ms=hot.met_ms,
        hottest_probe=blind.probe.id,
        piece=lying.piece if lying else None,
        day=day_of(lying, state.at_ms) if lying else None,
        detail=blind.why,
        air=short(state, place),
    )


def _blind_finding(state: State, place: Place) -> Finding:
    """Of a bed without a good thermometer: how many are silent, or out, and of what."""
    probes = [probe for probe in state.site.probes_of[place.id] if probe.quantity == "temperature"]
    out = sum(probe.id in state.out_of_service for probe in probes)
    silent = sum(state.window(probe.id).silent for probe in probes if probe.id not in state.out_of_service)
    away = sum(
        probe.id in state.honesty.away
        and probe.id not in state.out_of_service
        and not state.window(probe.id).silent
        for probe in probes
    )
    # What a probe on its hook says is the room's, and no word of the bed.
    in_grain = [probe for probe in probes if probe.id not in state.honesty.away]
    watched = [(_watched_until_ms(state, one), state.window(one.id)) for one in in_grain]
    until_ms, last = max(
        (one for one in watched if one[1].value is not None), key=lambda one: one[0], default=(0, None)
    )
    gone_ms = [state.honesty.away_ms[probe.id] for probe in probes if probe.id in state.honesty.away_ms]
    gone_ms += [until_ms] if last else []
    lying = state.pieces.beds.get(place.id)
    parts = [f"{silent} silent"] if silent else []
    parts += [f"{out} out of service"] if out else []
    parts += [f"{away} out of the grain"] if away else []
    return Finding(
        Subject("bed_unwatched", place.id),
        place.id in state.unwatched,
        "high",
        "unwatched",
        _BLIND,
        value=last.value if last else None,
        unit="Cel",
        measured_at_ms=last.measured_ms if last else None,
        since_ms=max(gone_ms, default=None),
        trend_per_h=last.trend_per_h(newest_turn(state, place.id)) if last else None,
        piece=lying.piece if lying else None,
        day=day_of(lying, state.at_ms) if lying else None,
        detail=", ".join(parts) or "no probe",
        air=short(state, place),
    )


def _watched_until_ms(state: State, probe: Probe) -> int:
    """The probe's newest reading, but none after it was put out of service: those watch nothing."""
    measured_ms = state.window(probe.id).measured_ms
    return min(measured_ms, state.out_since_ms.get(probe.id, measured_ms))
