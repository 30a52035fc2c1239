"""All that the judge knows: one value that can be stored and restored exactly."""

from __future__ import annotations

from dataclasses import dataclass, field

from gateway.core.board import BoardState
from gateway.core.callout import Calling
from gateway.core.estimate.honest_state import Honesty
from gateway.core.finding import Subject
from gateway.core.follow.air_state import AirState
from gateway.core.follow.heat_state import Heats
from gateway.core.follow.kiln_state import Kilns
from gateway.core.follow.turns_state import TurnsSeen
from gateway.core.handover import Note
from gateway.core.journey.record import Pieces
from gateway.core.journey.warmth import Warmth
from gateway.core.rules.limits import Guard, Ladder
from gateway.core.site import Place, Probe, Programme, Site
from gateway.core.timeline import Axis
from gateway.core.want import Want
from gateway.core.window import Window

NEVER_MS = 2**62


@dataclass(slots=True)
class State:
    """Windows by probe, guards by "kind place", what lies where, what stands, and how far time has come.

    `due_run_ms` is a running time before which no tick can do anything; 0 asks for the very next one.
    `settling_from_ms` is the running time from which silence counts (after a start, a gap, a lost broker).
    `noted_ms` is the real time at which people recorded while the gateway was down, 0 while it runs.
    `out_since_ms` is since when each probe that is out of service has been so.
    `rearmed` are beds recorded empty that have been cool since, or warm up: what is warm there now is grain.
    `emptied` is since when on running time each of those recorded empty has been so. `unrecorded` are those
    of them that held grain by what their probes said last: they are watched.
    `lost`: beds of which a place that nobody sees is at a limit by now, and which (rank); `lost_run_ms`: when
    they are looked at next.
    `steep_late` is what each steep is late with: drain or fill. `evening_*`: when the maltster is next told
    what the night brings.
    """

    site: Site
    axis: Axis = field(default_factory=Axis)
    at_ms: int = 0
    run_ms: int = 0
    ticked_run_ms: int = 0
    due_run_ms: int = 0
    settling_from_ms: int = 0
    resumed_at_ms: int = 0
    windows: dict[str, Window] = field(default_factory=dict)
    guards: dict[str, Guard] = field(default_factory=dict)
    pieces: Pieces = field(default_factory=Pieces)
    board: BoardState = field(default_factory=BoardState)
    out_of_service: dict[str, str] = field(default_factory=dict)
    out_since_ms: dict[str, int] = field(default_factory=dict)
    overdue: list[str] = field(default_factory=list)
    unwatched: list[str] = field(default_factory=list)
    lost: dict[str, int] = field(default_factory=dict)
    lost_run_ms: int = 0
    broker_lost: bool = False
    conditions: dict[str, int] = field(default_factory=dict)
    details: dict[str, str] = field(default_factory=dict)
    failing: dict[str, int] = field(default_factory=dict)
    turns: int = 0
    wants: dict[str, Want] = field(default_factory=dict)
    warmth: dict[str, Warmth] = field(default_factory=dict)
    sample_run_ms: int = 0
    noted_ms: int = 0
    rearmed: list[str] = field(default_factory=list)
    emptied: dict[str, int] = field(default_factory=dict)
    steep_late: dict[str, str] = field(default_factory=dict)
    evening_at_ms: int = 0
    evening_run_ms: int = 0
    evening: Calling = field(default_factory=Calling)
    air: AirState = field(default_factory=AirState)
    turns_seen: TurnsSeen = field(default_factory=TurnsSeen)
    notes: list[Note] = field(default_factory=list)
    heats: Heats = field(default_factory=Heats)
    honesty: Honesty = field(default_factory=Honesty)
    kilns: Kilns = field(default_factory=Kilns)
    unrecorded: list[str] = field(default_factory=list)
    ladders: dict[tuple[str, int], Ladder] = field(default_factory=dict, metadata={"derived": True})

    def window(self, probe: str) -> Window:
        """The probe's window, made when first asked for."""
        window = self.windows.get(probe)
        if window is None:
            window = self.windows[probe] = Window()
        return window

    def guard(self, kind: str, place: str) -> Guard:
        """The guard of one (kind, place), made when first asked for."""
        key = f"{kind} {place}"
        guard = self.guards.get(key)
        if guard is None:
            guard = self.guards[key] = Guard()
        return guard

    def programme(self, place: Place) -> Programme:
        """The place's programme; a place without one has the strict figures alone."""
        return self.site.programme.get(place.programme or "", _NONE)

    def probes(self, place: str, quantity: str) -> list[Probe]:
        """The place's probes of a quantity that are in service."""
        return [
            probe
            for probe in self.site.probes_of.get(place, ())
            if probe.quantity == quantity and probe.id not in self.out_of_service
        ]

    def good(self, place: str, quantity: str) -> list[tuple[Probe, Window]]:
        """Probes in service that have been heard, are not silent and hang where they belong, with windows."""
        away = self.honesty.away
        return [pair for pair in self.heard(place, quantity) if pair[0].id not in away]

    def heard(self, place: str, quantity: str) -> list[tuple[Probe, Window]]:
        """Probes in service that have been heard and are not silent, wherever they hang, and windows."""
        found = []
        for probe in self.probes(place, quantity):
            window = self.windows.get(probe.id)
            if window is not None and window.value is not None and not window.silent:
                found.append((probe, window))
        return found


_NONE = Programme("")


def gateway_subject(name: str) -> Subject:
    """The subject of an alarm about the gateway itself or its surroundings."""
    return Subject("gateway_" + name)
