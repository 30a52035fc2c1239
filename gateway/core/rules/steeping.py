"""Steeps: a wet stand that should be drained, a dry one that should be filled, a lot that may be cast.

A stand that runs over its recipe's time by more than the recipe allows is an alarm: grain under water too
long drowns (high), grain dry too long only stands still (medium). After the last stand casting is due: that
is the maltster's call, and a line on the list. Without a recipe's name the site's first recipe holds.
"""

from __future__ import annotations

from typing import NamedTuple

from gateway.core.finding import Finding, Subject
from gateway.core.journey.ground import Steeping
from gateway.core.site import Recipe, Site
from gateway.core.state import NEVER_MS, State

_HOUR_MS = 3_600_000
KINDS = {"drain": ("steep_drain", "high"), "fill": ("steep_fill", "medium")}


class Next(NamedTuple):
    """What a steep wants next: drain, fill or cast; when (Unix ms), and from when on somebody is called."""

    what: str
    due_ms: int
    late_ms: int
    hours: float
    water_c: float | None


def recipe_of(site: Site, steeping: Steeping) -> Recipe | None:
    """The recipe a lot is steeped by; None where the site has none at all."""
    named = next((one for one in site.recipes if one.id == steeping.recipe), None)
    return named or next(iter(site.recipes), None)


def wanted(site: Site, steeping: Steeping) -> Next | None:
    """What comes after the present stand, and when."""
    recipe = recipe_of(site, steeping)
    if recipe is None or not recipe.stands:
        return None
    stand = steeping.stands[-1]
    index = len(steeping.stands) - 1
    # A kind that is not the recipe's at this place: the newest of the same kind says how long.
    own = recipe.stands[min(index, len(recipe.stands) - 1)]
    if own.kind != stand.kind:
        own = next((one for one in reversed(recipe.stands) if one.kind == stand.kind), own)
    due_ms = stand.began_ms + int(own.hours * _HOUR_MS)
    over_ms = int(recipe.overdue_after_min * 60_000)
    last = index >= len(recipe.stands) - 1
    if stand.kind == "wet":
        return Next("drain", due_ms, due_ms + over_ms, own.hours, own.water_c)
    if last:
        return Next("cast", due_ms, NEVER_MS, own.hours, None)
    following = recipe.stands[index + 1]
    return Next("fill", due_ms, due_ms + over_ms, own.hours, following.water_c)


def judge(state: State) -> list[Finding]:
    """Steeps that became late with something, or no longer are."""
    found: list[Finding] = []
    late: dict[str, str] = {}
    for steep, steeping in state.pieces.now.steeps.items():
        want = wanted(state.site, steeping)
        if want is not None and want.what in KINDS and state.at_ms >= want.late_ms:
            late[steep] = want.what
    before, state.steep_late = state.steep_late, late
    for steep in sorted({*before, *late}):
        if before.get(steep) == late.get(steep) or steep not in state.site.place:
            continue
        found += [finding(state, steep, what) for what in (before.get(steep), late.get(steep)) if what]
    return found


def next_run_ms(state: State) -> int:
    """A running time before which no steep becomes late."""
    waiting = [NEVER_MS]
    for steep, steeping in state.pieces.now.steeps.items():
        want = wanted(state.site, steeping)
        if want is not None and want.what in KINDS and steep not in state.steep_late:
            waiting.append(max(want.late_ms - state.axis.offset_ms, state.run_ms))
    return min(waiting)


def finding(state: State, steep: str, what: str) -> Finding:
    """The finding as it stands now."""
    kind, priority = KINDS[what]
    steeping = state.pieces.now.steeps.get(steep)
    want = wanted(state.site, steeping) if steeping else None
    mine = want is not None and want.what == what
    lot = f"Lot {steeping.lot}" if steeping and steeping.lot else ""
    return Finding(
        Subject(kind, steep),
        state.steep_late.get(steep) == what,
        priority,
        "overdue",
        1,
        since_ms=steeping.stands[-1].began_ms if steeping and mine else None,
        piece=steeping.piece if steeping else None,
        wanted_by_ms=want.due_ms if want is not None and mine else None,
        detail=lot,
    )
