"""The same scenes before the whole judge: what its lines of turns say, marked alike."""

from __future__ import annotations

from gateway.core import engine
from gateway.core.effects import TurnKnown
from gateway.core.estimate.turn_seen.detect import TurnSeen
from gateway.core.inputs import Cast, Entry, Input, SiteChanged, Started
from gateway.core.reading import OWN_TIME, Reading
from gateway.core.site import Day, Floor, Place, Probe, Programme, Site
from tests.estimate.turn_scene import Scene

HOUR = 3_600_000


def site(scene: Scene) -> Site:
    """The scene's beds on one floor, with the room's air over them."""
    wires = [(bed.id, wire) for bed in scene.beds for wire in bed.probes]
    air = {wire.id: wire for bed in scene.beds for wire in bed.air}
    probes = [
        Probe(
            wire.id, place, wire.quantity, "Cel" if wire.quantity == "temperature" else "ppm", f"q/{wire.id}",
            wire.every_s, height_cm=wire.height_cm, at_m=wire.at_m,
        )
        for place, wire in [*wires, *(("room", wire) for wire in air.values())]
    ]  # fmt: skip
    places = [Place(b.id, "bed", b.id, "f", b.from_m, b.to_m, programme="floor") for b in scene.beds]
    return Site(
        "scene",
        "Scene",
        "UTC",
        floors=(Floor("f", max(bed.to_m for bed in scene.beds)),),
        places=(*places, Place("room", "room", "Room", "f")),
        probes=tuple(probes),
        programmes=(Programme("floor", days=(Day(0.0, 15.0, 18.0, 22.0, 25.0, 8.0, 8.0, 12.0),)),),
    )


def see(scene: Scene) -> list[TurnSeen]:
    """Each turn as the judge knew it last, in the order in which it was first told; nobody records any."""
    start_ms = scene.arrivals[0].at_ms - 1000
    lines: list[tuple[int, Input]] = [(start_ms, Started("scene")), (start_ms, SiteChanged(site(scene)))]
    lines += [(start_ms, Cast(bed.id, when_ms=start_ms - 24 * HOUR)) for bed in scene.beds]
    lines += [(one.at_ms, Reading(one.probe, one.measured_ms, one.value, OWN_TIME)) for one in scene.arrivals]
    entries = [Entry(n, at_ms, at_ms, what) for n, (at_ms, what) in enumerate(lines, 1)]
    made = engine.advance(engine.new(), entries, entries[-1].run_ms)
    last = {one.turn: one for one in made if isinstance(one, TurnKnown)}
    return [_seen(one) for one in last.values()]


def _seen(one: TurnKnown) -> TurnSeen:
    withdrawn = one.state in ("withdrawn", "void")
    return TurnSeen(
        one.bed, one.turn, "perhaps" if one.state == "perhaps" else "turned",
        "withdrawn" if withdrawn else "seen", one.began_at_ms, one.ended_at_ms, one.known_at_ms,
        one.from_m or 0.0, one.to_m or 0.0, one.sureness or 0.0, one.fall_k,
        one.spread_before_k, one.spread_after_k, (),
    )  # fmt: skip
