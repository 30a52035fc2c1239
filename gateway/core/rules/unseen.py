"""Places of a bed that nobody sees any more, and whether one of them is too warm by now.

A place is seen while its thermometer is heard, is in service, moves as its place does, and reads right. One
that is not is carried on from the last that is believed of it: by the heat balance fitted there, and as the
places beside it went. A reading by hand since then stands in its stead. A turn mixes the layers: from then on
the others speak for it. It is too warm where it has been at a limit for as long as a reading would have had
to be (the on-delay).
"""

from __future__ import annotations

from typing import NamedTuple

from gateway.core import callout
from gateway.core.estimate.bed_heat import balance as bed_heat
from gateway.core.estimate.bed_heat.balance import Bed, Hung
from gateway.core.follow import heat as balance
from gateway.core.follow import honest_hand
from gateway.core.inputs_journey import HandRead
from gateway.core.journey import figures
from gateway.core.rules import heat
from gateway.core.rules.limits import Level
from gateway.core.site import Place, Probe
from gateway.core.state import State

_HOUR_MS = 3_600_000
#: After this share of the time in which it falls silent a thermometer no longer sees for its place (ours): a
#: bed at its limit cannot wait for all of it. One that speaks seldom may miss two of three.
_QUIET_SHARE, _INTERVALS = 0.5, 3.0
#: No grain warms faster by itself (K/h, ours, grade D): what is farther off its limit is not reckoned with.
_FASTEST_K_PER_H, _SLACK_H = 2.0, 0.5
#: Unseen for longer, with no place seen beside it, a place counts by the upper edge of the band that holds
#: nine of ten: places beside it say how it went. A straight line leads no farther (ours).
_LONG_MS, _EDGE = 2 * _HOUR_MS, 1.645
#: One value for so long may be a thermometer that stands still (ours). It is one where its place must have
#: gone on by so many standard deviations (fewer where two places beside it bear that out), and by so many of
#: the thermometer's own steps.
_STANDS_MS, _SURE, _SURE_BESIDE, _STEPS = 20 * 60_000, 3.0, 1.0, 2.0
#: A value that means a fault lies at least so far below the limit (K, ours).
_FAR_K = 5.0


class Blind(NamedTuple):
    """A thermometer that does not see: why, until when it is believed (Unix ms), and what it last said (C).

    `hand_ms`, `hand_c`: the newest reading by hand at its place since then. `low_k`: it is heard, and reads
    so much too low.
    """

    probe: Probe
    why: str
    until_ms: int
    last_c: float
    hand_ms: int = 0
    hand_c: float = 0.0
    low_k: float = 0.0


class Hot(NamedTuple):
    """A place unseen that is at a limit by now: which, since when (Unix ms), how it warms (K/h)."""

    blind: Blind
    level: Level
    met_ms: int
    rate_k_per_h: float | None


class _Line(NamedTuple):
    """A place carried on: its temperature in C at `from_ms`, then along the balance, or straight on."""

    from_ms: int
    from_c: float
    rate_k_per_h: float | None
    carried: bed_heat.Unseen | None

    def at(self, at_ms: int) -> float:
        """How warm at a moment (Unix ms), C, in the middle of what is said of it."""
        if self.carried is None:
            rate = self.rate_k_per_h or 0.0
            return self.from_c + rate * min(_LONG_MS, max(0, at_ms - self.from_ms)) / _HOUR_MS
        return self.from_c + self.carried.at(at_ms)[0] - self.carried.at(self.from_ms)[0]

    def counts_c(self, at_ms: int, now_ms: int) -> float:
        """As how warm it counts: the middle; unseen for long, with none seen beside it, the upper edge."""
        if self.carried is None or self.carried.beside or now_ms - self.from_ms <= _LONG_MS:
            return self.at(at_ms)
        return self.at(at_ms) + _EDGE * self.carried.at(at_ms)[1]


def hottest(state: State, place: Place) -> Hot | None:
    """The place of a bed that nobody sees and that is at a limit by now, the warmest; None where none is.

    The limit at which the bed's own alarm stands calls already: only a higher one counts then. What has been
    said stands until the place is under the lowest by the deadband.
    """
    if place.id in state.pieces.empty:
        return None
    ladder = heat.ladder_for(state, place, "bed_hot", state.at_ms)
    levels = [level for level in ladder.levels if level.priority]
    said = state.lost.get(place.id, 0)
    least_c = levels[0].limit - (ladder.deadband if said else 0.0)
    stands = said or state.guard("bed_hot", place.id).rank
    found: list[tuple[float, Hot]] = []
    for probe in state.site.probes_of[place.id]:
        blind = blind_of(state, place, probe, least_c)
        line = _line(state, place, blind) if blind else None
        if blind is None or line is None:
            continue
        now_c = line.counts_c(state.at_ms, state.at_ms)
        held_c = min(now_c, line.counts_c(max(line.from_ms, state.at_ms - ladder.on_ms), state.at_ms))
        at = [level for level in levels if held_c >= level.limit and level.rank > stands]
        at = at or [level for level in levels if level.rank == said and now_c >= least_c]
        if at:
            met_ms = _met_ms(line, at[-1].limit, state.at_ms)
            found.append((now_c, Hot(blind, at[-1], met_ms, line.rate_k_per_h)))
    return max(found, key=lambda one: one[0])[1] if found else None


def blind_of(state: State, place: Place, probe: Probe, least_c: float) -> Blind | None:
    """Why a thermometer does not see its place, and what is believed of it.

    None where it does, where other places speak for it, or where it cannot be as warm as `least_c` yet.
    """
    if probe.quantity != "temperature":
        return None
    found = _why(state, place, probe, least_c)
    if found is None:
        return None
    lying = state.pieces.beds.get(place.id)
    turned_ms = balance.turned_at(lying, probe.at_m) if lying else None
    if turned_ms is not None and turned_ms >= found.until_ms:
        return None
    hand = by_hand(state, place, probe, found.until_ms)
    if hand is not None:
        found = found._replace(hand_ms=hand[0], hand_c=hand[1])
    last_c, last_ms = (found.hand_c, found.hand_ms) if found.hand_ms else (found.last_c, found.until_ms)
    hours = (state.at_ms - last_ms) / _HOUR_MS + _SLACK_H
    return found if last_c + found.low_k + _FASTEST_K_PER_H * hours >= least_c else None


def _why(state: State, place: Place, probe: Probe, least_c: float) -> Blind | None:
    window = state.windows.get(probe.id)
    if window is None or window.value is None:
        return None
    if probe.id in state.out_of_service:
        # It may go on talking, on a bench: what it said in the grain is in the heat's memory.
        return _of_memory(state, place, probe, "out of service", state.at_ms)
    value, track = window.value, state.honesty.tracks.get(probe.id)
    if window.silent or _quiet(state, probe):
        return Blind(probe, "silent", window.measured_ms, value)
    if track is None or probe.id in state.honesty.away:
        return None
    if "probe_stuck" in track.faults:
        return Blind(probe, "stuck", track.since_ms, value)
    if "probe_sentinel" in track.faults and value < least_c - _FAR_K:
        return _of_memory(state, place, probe, "sends a fault value", track.faults["probe_sentinel"])
    low_k = _low_k(state, probe)
    if low_k > 0.0:
        return Blind(probe, f"reads {low_k:.1f} K low", window.measured_ms, value, low_k=low_k)
    if value + _FASTEST_K_PER_H >= least_c and _stands(state, place, probe, value):
        return Blind(probe, "stuck", track.since_ms, value)
    return None


def _quiet(state: State, probe: Probe) -> bool:
    heard_ms = max(state.window(probe.id).heard_run_ms, state.settling_from_ms)
    silent_s = probe.silent_after_s
    quiet_s = max(silent_s * _QUIET_SHARE, min(silent_s, probe.every_s * _INTERVALS))
    return not state.broker_lost and state.run_ms - heard_ms >= quiet_s * 1000


def _of_memory(state: State, place: Place, probe: Probe, why: str, before_ms: int) -> Blind | None:
    told = bed_heat.last_of(state.heats.heat, place.id, probe.id, before_ms)
    return None if told is None else Blind(probe, why, *told)


def _low_k(state: State, probe: Probe) -> float:
    """How much too low a probe is known to read: after turns, or beside a thermometer put in by hand."""
    by_hand_c, said_c = state.honesty.by_hand.get(probe.id, (0.0, 0.0))
    track = state.honesty.tracks[probe.id]
    drifted = -track.biases[-1] if "probe_drifts" in track.faults and track.biases else 0.0
    return max(by_hand_c - said_c, drifted)


def _stands(state: State, place: Place, probe: Probe, value: float) -> bool:
    """Whether a value has stood while its place, by all that is known of it, went on."""
    track = state.honesty.tracks[probe.id]
    if track.heard_ms - track.since_ms < _STANDS_MS:
        return False
    carried = _carried(state, place, probe, track.since_ms)
    if carried is None:
        return False
    now_c, sd_k = carried.at(state.at_ms)
    sure = _SURE_BESIDE if carried.beside >= 2 else _SURE
    return now_c - value >= max(sure * sd_k, _STEPS * track.step) - 1e-9


def _carried(state: State, place: Place, probe: Probe, until_ms: int) -> bed_heat.Unseen | None:
    lying = state.pieces.beds.get(place.id)
    if lying is None:
        return None
    bed = balance.bed_of(state, place)
    tell = tuple(hung for hung in bed.probes if _tells(state, state.site.probe[hung.id]))
    told = Bed(bed.id, tell, bed.room, bed.cast_ms, bed.figures)
    hung = Hung(probe.id, balance.turned_at(lying, probe.at_m))
    return bed_heat.unseen(state.heats.heat, told, hung, until_ms, state.at_ms)


def _tells(state: State, probe: Probe) -> bool:
    """Whether a good probe may bear witness of how the places beside it went."""
    track = state.honesty.tracks.get(probe.id)
    faults = track.faults if track else {}
    return not ("probe_stuck" in faults or "probe_sentinel" in faults or _quiet(state, probe))


def by_hand(state: State, place: Place, probe: Probe, after_ms: int) -> tuple[int, float] | None:
    """The newest reading by hand at a probe's place after a moment: when (Unix ms), and C."""
    for record in reversed(state.pieces.records):
        if record.when_ms <= after_ms:
            break
        event = figures.believed(record.event) if record.word == "hand" and not record.void_n else None
        if not isinstance(event, HandRead) or event.bed != place.id:
            continue
        others = [one for one in state.site.probes_of[place.id] if one.quantity == "temperature"]
        if honest_hand.far_cm(event, probe) <= min(honest_hand.far_cm(event, one) for one in others):
            return record.when_ms, event.c
    return None


def _line(state: State, place: Place, blind: Blind) -> _Line | None:
    """The place carried on; None where somebody was there with a thermometer just now."""
    probe, from_ms, from_c = blind.probe, blind.until_ms, blind.last_c
    hold_ms = callout.step_ms(state.site.callout, state.site.callout.going_hold_s)
    if by_hand(state, place, probe, state.at_ms - hold_ms) is not None:
        return None
    trend = state.windows[probe.id].trend_per_h(heat.newest_turn(state, place.id))
    if blind.low_k:
        return _Line(from_ms, from_c + blind.low_k, trend, None)
    if blind.hand_ms:
        from_ms, from_c = blind.hand_ms, blind.hand_c
    carried = _carried(state, place, probe, blind.until_ms)
    if carried is None:
        # Of a thermometer that went on talking the trend is no longer that of its place.
        return _Line(from_ms, from_c, trend if blind.why == "silent" else None, None)
    level_c, _, rate = carried.outlook.at(from_ms)
    return _Line(from_ms, from_c if blind.hand_ms else level_c + carried.off_k, rate, carried)


def _met_ms(line: _Line, limit_c: float, until_ms: int) -> int:
    """When the line came to the limit, to the minute; the end where it did not."""
    minutes = range(line.from_ms, until_ms, 60_000)
    return next((at_ms for at_ms in minutes if line.at(at_ms) >= limit_c), until_ms)
