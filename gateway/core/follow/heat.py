"""The heat of each bed, followed and carried forward.

Every thermometer in grain and in the air over it is taken; each ten minutes of running time each bed with
grain on it is considered, recorded or not. What is said of the hours ahead is worked out when somebody asks.
"""

from __future__ import annotations

from collections.abc import Sequence

from gateway.core.board_state import Out
from gateway.core.estimate.bed_heat import balance as bed_heat
from gateway.core.estimate.bed_heat.balance import Bed, Forecast, Hung, Limit
from gateway.core.estimate.bed_heat.said import Outlook, say
from gateway.core.finding import Finding, Subject
from gateway.core.heard import Heard
from gateway.core.inputs import Cast, Loaded, Moved
from gateway.core.piece import Lying
from gateway.core.reading import CLOCK_UNSURE, OWN_TIME
from gateway.core.site import Place, Probe
from gateway.core.state import State

CONSIDER_MS = 600_000
#: Grain that grows is warmer than the room over it by more than this; a probe on a hook is not (ours).
ROOM_K = 2.0


def reading(state: State, heard: Heard, out: Out) -> None:
    """Take a thermometer's reading, in a bed or in the air over one."""
    if heard.probe.quantity != "temperature":
        return
    kept, place = state.heats, heard.place
    if place.kind == "bed":
        if may_hold(state, place.id):
            bed_heat.take(kept.heat, place.id, heard.probe.id, heard.measured_ms, heard.value, state.at_ms)
    elif place.kind == "room":
        bed_heat.over(kept.heat, _air(place), heard.measured_ms, heard.value, state.at_ms)
    if kept.ahead:
        kept.ahead.clear()


def may_hold(state: State, bed: str) -> bool:
    """Whether grain may lie there: recorded, or nobody recorded the bed empty, or it does not look so."""
    return bed in state.pieces.beds or bed not in state.pieces.empty or bed in state.rearmed


def room_c(state: State, place: Place) -> float | None:
    """The warmest air in the rooms of the place's floor (Cel); None where no thermometer there is heard."""
    rooms = [one.id for one in state.site.places if one.kind == "room" and one.floor == place.floor]
    return max((warm_c for room in rooms for warm_c in _warm(state, room)), default=None)


def _warm(state: State, place: str) -> list[float]:
    return [window.value for _, window in state.good(place, "temperature") if window.value is not None]


def unseen_grain(state: State, place: Place) -> str | None:
    """Why nothing is foretold of a bed without a recorded piece; None where one is, or grain is seen."""
    if place.id in state.pieces.beds:
        return None
    if not may_hold(state, place.id):
        return "recorded empty"
    hottest_c, air_c = max(_warm(state, place.id), default=None), room_c(state, place)
    if hottest_c is None:
        return "no piece is recorded here, and no thermometer is heard"
    if air_c is None:
        return "no piece is recorded here, and no thermometer in the room tells grain from air"
    if hottest_c <= air_c + ROOM_K:
        return "no piece is recorded here, and it is hardly warmer than the room"
    return None


def _air(place: Place) -> str:
    return place.floor or ""


def tick(state: State, out: Out) -> list[Finding]:
    """Each ten minutes: note what was turned, learn, hold what was said against what came."""
    kept = state.heats
    if state.run_ms < kept.next_run_ms:
        return []
    kept.next_run_ms = (state.run_ms // CONSIDER_MS + 1) * CONSIDER_MS
    for place in state.site.places:
        if place.kind == "bed" and place.id in kept.heat.beds:
            if may_hold(state, place.id):
                bed_heat.consider(kept.heat, bed_of(state, place), state.at_ms)
            else:
                bed_heat.forget(kept.heat, place.id)
    kept.ahead.clear()
    return []


def next_run_ms(state: State) -> int:
    """A running time before which time alone brings nothing."""
    return state.heats.next_run_ms


def entered(state: State, event: object, out: Out) -> None:
    """Other grain, or none, lies there from now on."""
    state.heats.ahead.clear()
    if isinstance(event, Cast | Moved | Loaded):
        for bed in {event.bed, getattr(event, "to", event.bed)}:
            bed_heat.forget(state.heats.heat, bed)


def moved(state: State, by_ms: int) -> None:
    """The clock was set: what was measured by it moves with it."""
    own = {probe.id for probe in state.site.probes if not _by_our_clock(state, probe)}
    rooms = {_air(state.site.place[probe.place]) for probe in state.site.probes if probe.id in own}
    bed_heat.stepped(state.heats.heat, by_ms, own | rooms)
    state.heats.ahead.clear()


def _by_our_clock(state: State, probe: Probe) -> bool:
    window = state.windows.get(probe.id)
    return window is None or not window.flags & OWN_TIME or bool(window.flags & CLOCK_UNSURE)


def site_changed(state: State) -> None:
    """Another site file holds: beds, thermometers and rooms that are gone are forgotten."""
    heat, site = state.heats.heat, state.site
    heat.beds = {bed: lying for bed, lying in heat.beds.items() if bed in site.place}
    for bed, lying in heat.beds.items():
        here = {probe.id for probe in site.probes_of[bed]}
        lying.probes = {name: hot for name, hot in lying.probes.items() if name in here}
    floors = {_air(place) for place in site.places if place.kind == "room"}
    heat.rooms = {room: curve for room, curve in heat.rooms.items() if room in floors}
    state.heats.ahead.clear()


def finding(state: State, subject: Subject) -> Finding | None:
    """A forecast raises no alarm of this family: it is on the list. What nobody sees is in `rules.unseen`."""
    return None


def bed_of(state: State, place: Place) -> Bed:
    """What is told of a bed: its good thermometers, each with the last turn of its stretch, room and cast."""
    lying = state.pieces.beds.get(place.id)
    hung = tuple(
        Hung(probe.id, turned_at(lying, probe.at_m) if lying else None)
        for probe, _ in state.good(place.id, "temperature")
    )
    cast_ms = lying.cast_ms if lying else None
    return Bed(place.id, hung, _air(place), cast_ms, state.programme(place).heat)


def turned_at(lying: Lying, at_m: float | None) -> int | None:
    """When the grain at a place of the bed was last turned, or cast; of untold places the newest turn."""
    here = [part for part in lying.parts if at_m is None or part.from_m <= at_m <= part.to_m]
    return max((part.turned_ms for part in here or lying.parts), default=None)


def forecast(
    state: State, place: Place, limits: Sequence[Limit] = (), moments: Sequence[int] = ()
) -> Forecast:
    """What the hottest good thermometer will say for twelve hours, if nobody turns; pure."""
    unseen = unseen_grain(state, place)
    if unseen is not None:
        return Forecast(place.id, state.at_ms, unseen)
    outlooks, why = _outlooks(state, place)
    return say(place.id, state.at_ms, outlooks, why, limits, moments)


def _outlooks(state: State, place: Place) -> tuple[list[Outlook], str | None]:
    bed, known = bed_of(state, place), state.heats.ahead.get(place.id)
    if known is None or known[:2] != (state.at_ms, bed):
        found, why = bed_heat.outlooks(state.heats.heat, bed, state.at_ms)
        known = state.heats.ahead[place.id] = (state.at_ms, bed, found, why)
    return known[2], known[3]


def made_k_per_h(state: State, place: Place) -> float | None:
    """How fast the hottest grain would warm if nothing were lost, K/h; None before it is known."""
    found = _outlooks(state, place)[0] if place.id in state.pieces.beds else []
    return found[0].made_k_per_h if found else None
