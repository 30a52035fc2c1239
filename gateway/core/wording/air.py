"""The words for air: what was measured, what is not known, what to mind before going in."""

from __future__ import annotations

from gateway.core.people import local
from gateway.core.site import Probe, Site

GAS = {"co2": "CO2", "co": "CO"}
NO_WATCH = "no gas watch: hand meter only"
ALWAYS = (
    "No permit: a hand meter and whoever is in charge of entry decide.",
    "Not a certified gas alarm. Local codes and licensed practice come first.",
    "Nobody goes in alone, or in after somebody who is down: ring for help, air it from outside.",
)
#: By kind of place. Confined spaces in the sense of HSE L101 and 29 CFR 1910.146, both from memory; the rest
#: is common practice, no source.
CAUTIONS: dict[str, tuple[str, ...]] = {
    "room": (
        "CO2 lies low: most by the floor, in corners and between beds.",
        "A turn sets free what the bed holds: air the room first, measure at shovel height.",
        "CO from the kiln's fire can come back with the draught.",
        "Turners and lifts: lock them off before reaching in.",
    ),
    "steep": (
        "Confined space: CO2 lies at the bottom, in a dry stand too.",
        "Water and wet grain: nobody goes in while it fills or drains.",
    ),
    "pit": ("Confined space: CO2 runs into it from the floors above and stays.",),
    "furnace": (
        "CO from the fire: it has no smell.",
        "Hot surfaces, and flames when the door is opened.",
    ),
    "plenum": (
        "Confined space below the kiln floor: fire gases, and heat that stays for hours.",
        "Hot surfaces. Culms and dust burn.",
        "Fire and fan locked off before anybody goes in.",
    ),
    "kiln": (
        "Hot surfaces and hot air; keep off the kiln floor while it is hot.",
        "Fire gases: CO and CO2, whatever the fire is fed with. A kiln is a confined space.",
        "Smoke, or heat that rises with the fire out: ring the fire service, do not open, do not enter.",
        "Kiln turner and fan: lock them off before anybody goes in.",
    ),
}


def cautions(kind: str, measured: tuple[str, ...]) -> tuple[str, ...]:
    """What to mind in a place of that kind; what is not measured there is said first."""
    missing = [unmeasured(gas) for gas in ("co2", "co") if gas not in measured]
    blind = tuple(f"{one[0].upper()}{one[1:]}." for one in missing)
    return (*blind, *CAUTIONS.get(kind, ()), *ALWAYS)


def unmeasured(gas: str) -> str:
    """No probe of this gas hangs there."""
    return f"{GAS[gas]} is not measured here, hand meter only"


def elsewhere(place: str) -> str:
    """CO stands somewhere else in the house."""
    return f"CO in {place} may come here with the draught, and is not measured here: hand meter only"


def lost(gas: str, silent: int, out: int) -> str:
    """There are probes, and none can be believed."""
    parts = [f"{silent} not heard"] if silent else []
    parts += [f"{out} out of service"] if out else []
    return f"{GAS[gas]} unknown, hand meter only: {', '.join(parts) or 'no probe'}"


def stuck(gas: str, probe: str) -> str:
    """The last probe speaks, and tells nothing."""
    return f"{GAS[gas]} unknown, hand meter only: {probe} stands still or sends what means a fault"


def measured(site: Site, now_ms: int, probe: Probe, value: float, measured_ms: int) -> str:
    """What was measured, by which probe, when."""
    wall = local(site.time_zone, measured_ms)
    near = abs(measured_ms - now_ms) < 20 * 3_600_000
    at = f"{wall:%H:%M}" if near else f"{wall:%d %b %H:%M}"
    return f"{GAS[probe.quantity]} {value:,.0f} ppm by {probe.id} at {at}"


def below(limit: float, minutes: int) -> str:
    """Below a level, and for how long at least."""
    return f"below {limit:,.0f}{f' for {span(minutes)}' if minutes else ''}"


def standing(number: int, down: bool) -> str:
    """A gas call stands."""
    return (
        f"alarm no. {number}: reading down, nobody said that all are out"
        if down
        else f"gas alarm no. {number} stands"
    )


def span(minutes: float) -> str:
    """Minutes for people: 25 min, 1 h 36, 7 h."""
    whole = round(minutes)
    if whole < 90:
        return f"{whole} min"
    hours, rest = divmod(whole, 60)
    return f"{hours} h {rest:02d}" if hours < 4 and rest else f"{round(minutes / 60)} h"
