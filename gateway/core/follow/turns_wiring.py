"""Which probes of a site show turns, where they hang, and which thermometers tell of the air over a bed."""

from __future__ import annotations

from dataclasses import dataclass

from gateway.core.estimate.turn_seen.bed import Figures
from gateway.core.estimate.turn_seen.detect import Bed, Wire
from gateway.core.journey.ground import extent
from gateway.core.site import Place, Probe, Site

#: The programme says how long one person takes for a bed; as many as this turn it (grade D).
_TURN_IT = 2.0


@dataclass(frozen=True, slots=True)
class Wiring:
    """Beds by id and room thermometers by id, made for one site."""

    site: Site
    beds: dict[str, Bed]
    air: dict[str, Wire]


def wired(site: Site) -> Wiring:
    """The wiring of a site: a bed's air is that of the rooms on its floor."""
    air: dict[str, dict[str, Wire]] = {}
    for place in site.places:
        if place.kind == "room":
            own = [_wire(probe) for probe in site.probes_of[place.id] if probe.quantity == "temperature"]
            air.setdefault(place.floor or "", {}).update({wire.id: wire for wire in own})
    beds = {}
    for place in site.places:
        if place.kind == "bed":
            _, low, high = extent(place)
            probes = tuple(
                _wire(probe) for probe in site.probes_of[place.id] if probe.quantity in ("temperature", "co2")
            )
            over = tuple(air.get(place.floor or "", {}).values())
            beds[place.id] = Bed(place.id, low, high, probes, over, _figures(site, place))
    return Wiring(site, beds, {name: wire for wires in air.values() for name, wire in wires.items()})


def _figures(site: Site, place: Place) -> Figures:
    programme = site.programme.get(place.programme or "")
    if programme is None:
        return Figures()
    return Figures(turn_s=programme.turning.turn_takes_min * 60.0 / _TURN_IT)


def _wire(probe: Probe) -> Wire:
    return Wire(probe.id, probe.quantity, probe.every_s, probe.height_cm, probe.at_m)
