"""The watch over a load in the kiln: what is wrong with it.

It looks once a minute. Figures are the site's (`core.site_kiln`, [kiln_watch]).
"""

from __future__ import annotations

from typing import NamedTuple

from gateway.core.estimate.kiln_break import ANNOUNCED, disturb
from gateway.core.finding import Finding, Subject
from gateway.core.follow import kiln_draught
from gateway.core.follow.kiln_air import KilnAir, fired, look
from gateway.core.follow.kiln_load import is_choked, is_wet, too_wet_to_break
from gateway.core.follow.kiln_stage import said, stage_of
from gateway.core.follow.kiln_state import Kilning
from gateway.core.site import Place, Programme
from gateway.core.site_kiln import KilnFigures
from gateway.core.state import State

_HOUR_MS, _MIN_MS = 3_600_000, 60_000
#: A condition must have gone for so long before its alarm ends (ours).
_OVER_MS = 10 * _MIN_MS
#: A load stripped warm is on the list for so long, or until it is in store (ours).
_COOLING_MS = 12 * _HOUR_MS


class Kind(NamedTuple):
    """An alarm of the watch: its priority, its level's name, and what it is about: on, grain or co."""

    priority: str
    level: str
    about: str


KINDS = {
    "kiln_fire": Kind("highest", "fire", "hottest"),
    "kiln_stew": Kind("high", "stewing", "grain"),
    "kiln_fire_out": Kind("high", "out", "on"),
    "kiln_heating": Kind("high", "heating", "grain"),
    "kiln_break_withdrawn": Kind("high", "withdrawn", "on"),
    "kiln_ramp": Kind("medium", "ramp", "on"),
    "kiln_overrun": Kind("low", "overrun", "on"),
    "kiln_cooling": Kind("low", "warm", "hottest"),
}


def judge(state: State, place: Place, kilning: Kilning, figures: KilnFigures, air: KilnAir) -> list[Finding]:
    """The alarms that began or ended this minute."""
    programme = state.programme(place)
    if air.on is not None and programme.stages and kilning.watch.seen.state == ANNOUNCED:
        kilning.break_raised |= air.on.value_c >= programme.stages[0].limit_c
    kilning.burned |= fired(air, figures) is True
    if kiln_draught.turned_unsaid(kilning, figures, air):
        disturb(kilning.watch, figures.kiln_break, state.at_ms, mixed=True)
    holds = {
        "kiln_fire": _burning(state, place, kilning, figures, air),
        "kiln_stew": _stews(kilning, figures, air),
        "kiln_fire_out": _gone_out(kilning, figures, air),
        "kiln_heating": _heats_itself(state, kilning, figures, air),
        "kiln_ramp": _climbs(state, programme, kilning, air),
        "kiln_overrun": _overruns(state, programme, kilning, figures),
        "kiln_cooling": _stripped_warm(state, kilning, figures, air),
    }
    watch = figures.kiln_watch
    out_min = watch.out_min if kilning.burned else watch.kindle_min
    waits = {"kiln_stew": watch.stew_min, "kiln_fire_out": out_min, "kiln_ramp": watch.ramp_min,
             "kiln_heating": 10.0, "kiln_fire": 2.0}  # fmt: skip
    found = []
    for kind, held in holds.items():
        if _moves(state, kilning, kind, held, waits.get(kind, 0.0)):
            found.append(finding(state, place, kilning, kind, kind in kilning.told, air))
    return found + withdrawn(state, place, kilning)


def _moves(state: State, kilning: Kilning, kind: str, held: bool, wait_min: float) -> bool:
    """Whether an alarm begins or ends now, by how long its condition has held, or has gone."""
    since, off = kilning.since, f"-{kind}"
    if held:
        since.pop(off, None)
        began = since.setdefault(kind, state.run_ms)
        if kind not in kilning.told and state.run_ms - began >= wait_min * _MIN_MS:
            kilning.told.append(kind)
            return True
        return False
    since.pop(kind, None)
    if kind not in kilning.told:
        return False
    if state.run_ms - since.setdefault(off, state.run_ms) < _OVER_MS:
        return False
    since.pop(off)
    kilning.told.remove(kind)
    return True


def withdrawn(state: State, place: Place, kilning: Kilning) -> list[Finding]:
    """A break that was none, after the fire was raised for it: until it is seen again, or the load is out."""
    on = "withdrawn" in kilning.since and not kilning.stripped_ms
    kind = "kiln_break_withdrawn"
    if on == (kind in kilning.told):
        return []
    kilning.told.append(kind) if on else kilning.told.remove(kind)
    return [finding(state, place, kilning, kind, on, look(state, place))]


def ended(state: State, place: Place, kilning: Kilning) -> list[Finding]:
    """The load was stripped or stored: what the watch said of it is over."""
    gone = place.id not in state.kilns.now
    over = [kind for kind in kilning.told if gone or kind not in ("kiln_cooling", "kiln_fire")]
    kilning.told = [kind for kind in kilning.told if kind not in over]
    kilning.since = {}
    air = look(state, place)
    return [finding(state, place, kilning, kind, False, air) for kind in over]


def _burning(state: State, place: Place, kilning: Kilning, figures: KilnFigures, air: KilnAir) -> bool:
    """Fire in the kiln itself: smoke, or heat with the fire out, or far over the programme."""
    watch, drawn = figures.kiln_watch, kilning.fire == "out" and bool(kilning.lit_ms)
    limit_c = stage_of(state.programme(place), kilning).limit_c
    values = [spot for spot in (air.on, air.off, air.hottest) if spot is not None]
    if limit_c and any(spot.value_c >= limit_c + watch.fire_over_k for spot in values):
        return True
    if not drawn:
        return False
    if air.co_ppm is not None and air.co_ppm >= watch.co_fire_ppm:
        return True
    for spot in values:
        trend = state.window(spot.probe.id).trend_per_h()
        if trend is not None and trend >= watch.fire_rise_k_per_h and spot.value_c >= watch.fire_c:
            return True
    return False


def _stews(kilning: Kilning, figures: KilnFigures, air: KilnAir) -> bool:
    watch = figures.kiln_watch
    if (
        air.off_rh is None
        or air.off_rh < watch.stew_rh
        or kilning.stripped_ms
        or not is_wet(kilning, figures)
    ):
        return False
    # Below the front grain is dry and as hot as air-on, hours before the break, under air that is full and
    # cool: that is drying. Grain that stews warms the air over it.
    if air.off is not None and air.off.value_c < watch.stew_c - watch.air_cooler_k:
        return False
    return max((spot.value_c for spot in (air.hottest, air.off) if spot), default=0.0) > watch.stew_c


def _gone_out(kilning: Kilning, figures: KilnFigures, air: KilnAir) -> bool:
    """A fire that was lit, and neither damped nor drawn, gives no heat while the load is wet."""
    return kilning.fire == "lit" and fired(air, figures) is False and is_wet(kilning, figures)


def _heats_itself(state: State, kilning: Kilning, figures: KilnFigures, air: KilnAir) -> bool:
    """A wet load without fire or without draught, that warms: judged as a deep bed."""
    watch = figures.kiln_watch
    cold = fired(air, figures) is not True and (kilning.fire != "lit" or "kiln_fire_out" in kilning.told)
    choked = is_choked(state, kilning, figures)
    known = "kiln_heating" in kilning.told
    too_wet = too_wet_to_break(kilning, figures, air)
    lost = kiln_draught.is_lost(kilning, figures, air, state.at_ms, too_wet, known)
    if (
        not (cold or choked or lost or known or not kilning.fan)
        or air.hottest is None
        or kilning.stripped_ms
        or not is_wet(kilning, figures)
    ):
        return False
    trend = state.window(air.hottest.probe.id).trend_per_h()
    if lost and air.hottest.value_c >= watch.heating_c:
        return True
    share = kiln_draught.off_share(kilning, air)
    if known and not (cold or choked) and share is not None and share < figures.kiln_break.warm_share / 2.0:
        # Air goes through again, and grain that the front warms does not heat itself.
        return False
    if air.hottest.value_c < watch.heating_c or trend is None:
        return False
    # Once it heats it stays an alarm until it cools: as hot as it can get it is no less a stew.
    return trend >= (-watch.heating_k_per_h if known else watch.heating_k_per_h)


def _climbs(state: State, programme: Programme, kilning: Kilning, air: KilnAir) -> bool:
    """Air-on rises faster than its stage allows, from the first stage's target on."""
    if air.on is None or not programme.stages or kilning.fire != "lit":
        return False
    trend = state.window(air.on.probe.id).trend_per_h()
    warm = air.on.value_c > programme.stages[0].target_c + programme.deadband_k
    return warm and trend is not None and trend > stage_of(programme, kilning).ramp_k_per_h


def _overruns(state: State, programme: Programme, kilning: Kilning, figures: KilnFigures) -> bool:
    """The next stage should have begun long ago, and what it waits for has not come."""
    if not kilning.lit_ms or kilning.stripped_ms or kilning.stage + 1 >= len(programme.stages):
        return False
    hours = (state.at_ms - kilning.lit_ms) / _HOUR_MS
    return hours >= programme.stages[kilning.stage + 1].from_h + figures.kiln_watch.overrun_h


def _stripped_warm(state: State, kilning: Kilning, figures: KilnFigures, air: KilnAir) -> bool:
    """Stripped before it was cooled; told until it is in store, or long enough."""
    if not kilning.stripped_ms or state.at_ms - kilning.stripped_ms > _COOLING_MS:
        return False
    if "kiln_cooling" in kilning.told:
        return True
    warm = max((spot.value_c for spot in (air.hottest, air.off) if spot is not None), default=0.0)
    return warm > figures.kiln_watch.cool_c and state.at_ms - kilning.stripped_ms <= 5 * _MIN_MS


def finding(state: State, place: Place, kilning: Kilning, kind: str, on: bool, air: KilnAir) -> Finding:
    """One alarm of the watch with the values of now."""
    one = KINDS[kind]
    hot = [spot for spot in (air.on, air.off, air.hottest) if spot is not None]
    spot = {"on": air.on, "grain": air.hottest}.get(
        one.about, max(hot, key=lambda each: each.value_c, default=None)
    )
    window = state.windows.get(spot.probe.id) if spot else None
    since = kilning.since.get(kind)
    return Finding(
        Subject(kind, place.id),
        on,
        one.priority,
        one.level,
        1,
        value=spot.value_c if spot else None,
        unit="Cel",
        limit=_limit(state, place, kilning, kind),
        measured_at_ms=window.measured_ms if window else state.at_ms,
        since_ms=state.axis.at_ms(since) if since is not None else None,
        trend_per_h=window.trend_per_h() if window else None,
        hottest_probe=spot.probe.id if spot else None,
        piece=kilning.piece,
        detail=said(state, place, kilning),
    )


def _limit(state: State, place: Place, kilning: Kilning, kind: str) -> float | None:
    figures = state.site.kiln
    if figures is None:
        return None
    watch = figures.kiln_watch
    fixed = {"kiln_stew": watch.stew_c, "kiln_cooling": watch.cool_c, "kiln_heating": watch.heating_c}
    if kind in fixed:
        return fixed[kind]
    if kind == "kiln_fire_out":
        # It is cold: the stage's upper limit beside it would only puzzle.
        return None
    return stage_of(state.programme(place), kilning).limit_c
