"""What a steep wants, in a line as a person would say it."""

from __future__ import annotations

from gateway.core.journey.ground import Steeping
from gateway.core.rules.steeping import Next
from gateway.core.site import Place, Site
from gateway.core.wording.start import clock

#: What becomes of it if it is left.
LEFT = {
    "drain": "under water too long the grain drowns",
    "fill": "it stands dry and drinks no more",
    "cast": "it warms in the steep",
}


def line(site: Site, place: Place, steeping: Steeping, want: Next, at_ms: int, held: str = "") -> str:
    """Steep 1, lot 7: drain at 02:10 (wet since 18:10, 8 h wanted).

    `held`: what is said instead of the time where nobody is to go there.
    """
    what = f"piece {steeping.piece}" if steeping.piece else f"lot {steeping.lot}" if steeping.lot else "a lot"
    stand = steeping.stands[-1]
    when = "now" if want.due_ms <= at_ms else f"at {clock(site, want.due_ms, at_ms)}"
    since = f"{stand.kind} since {clock(site, stand.began_ms, at_ms)}, {want.hours:g} h wanted"
    water = f", water {want.water_c:g} C" if want.what == "fill" and want.water_c is not None else ""
    if want.what == "cast":
        when = "may be cast" + (
            " now" if want.due_ms <= at_ms else f" from {clock(site, want.due_ms, at_ms)}"
        )
        return f"{place.name}, {what}: {held or when}, the maltster says ({since})"
    return f"{place.name}, {what}: {want.what} {held or when} ({since}{water})"
