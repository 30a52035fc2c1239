"""The kiln break: has air-off left its plateau for good, since when, and how sure is that.

    watch = BreakWatch()
    told = take(watch, settings, at_ms, air_off_c, air_on_c, wet_c, weather)   # each air-off reading
    disturb(watch, settings, at_ms)              # levelled, damped, relit, fan on or off; mixed=True: turned
    stand_still(watch, settings, at_ms, True)    # the fan stands or the fire is damped, until told False
    watch.seen                                   # what is thought now

While the load is wet all through, air-off is near the wet bulb of the heated air; when dry grain reaches the
top it warms. Only temperature decides: the humidity probe over a wet load sits in its own water near 100 %.
What is watched is how far air-off lies over its plateau, as a share of the way to air-on. A floor follows
the plateau: down at once, up slowly. So air-off that creeps, or comes to a second plateau, is caught up by
the floor, and the announcement is withdrawn: a pause is not the break. The plateau is asked of the weather
(`wet_c`) where that is known; the floor takes up what the weather does not know (water of the fire, a probe
that reads wrong). The load keeps the heat of the air it had: its plateau follows the wet bulb later.

A share, so the same numbers do for another fire or another weather. Times are those of a kiln; a drying that
has not gone on for so long yet is judged by shorter ones, in proportion to its own age, so that they do for a
quicker dryer too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

NOT_SEEN, ANNOUNCED, WITHDRAWN = "not_seen", "announced", "withdrawn"

_MIN_MS = 60_000
_H_MS = 3_600_000
#: The floor follows a fall in this; a probe's noise is not to dig it deeper.
_FALL_H = 0.5
#: A hole between readings counts as no longer than this: nothing is known of it.
_HOLE_MS = 30 * _MIN_MS
#: It has left its plateau at this part of `warm_share`: that is the moment told; and is back at this part.
_LEFT, _BACK = 0.75, 0.5
_COLDEST_C, _HOTTEST_C = -30.0, 150.0


@dataclass(frozen=True, slots=True)
class BreakSettings:
    """See config/kiln-physics.toml, [kiln_break]: what each is, and its grade."""

    warm_share: float
    creep_h: float
    creep_weather_h: float
    hold_min: float
    pause_min: float
    settle_min: float
    young_h: float
    creep_young_h: float
    stays_share: float
    least_lift_k: float
    fire_h: float
    fire_share: float
    disturbed_min: float


@dataclass(frozen=True, slots=True)
class BreakSeen:
    """`state` is not_seen, announced or withdrawn; `at_ms` when air-off broke away, `known_at_ms` since when
    that is known (for withdrawn: the withdrawal). `sureness` is 0 to 1, a judgement of ours and no
    probability.

    `number` counts the announcements. `late`: it had broken before anybody looked, `at_ms` is the first look.
    """

    state: str = NOT_SEEN
    number: int = 0
    at_ms: int | None = None
    known_at_ms: int | None = None
    sureness: float = 0.0
    late: bool = False


@dataclass(slots=True)
class BreakWatch:
    """What is kept of one kilning. Temperatures over the plateau are told as K over `wet_c`, which follows
    the wet bulb as a load does. `fired_ms`: since when there is fire enough to judge by.
    """

    seen: BreakSeen = field(default_factory=BreakSeen)
    measured_ms: int = 0
    wet_c: float = 0.0
    weather: bool = False
    floor_k: float = 0.0
    fire_c: float = 0.0
    armed: bool = False
    since_ms: int = 0
    left_ms: int = 0
    looked_ms: int = 0
    foot_k: float = 0.0
    top_share: float = 0.0
    top_lift_k: float = 0.0
    stays: bool = False
    standing: bool = False
    quiet_until_ms: int = 0
    fired_ms: int = 0


def take(
    watch: BreakWatch,
    settings: BreakSettings,
    at_ms: int,
    air_off_c: float,
    air_on_c: float,
    wet_c: float,
    weather: bool = True,
) -> list[BreakSeen]:
    """Take one reading of air-off with the newest air-on; gives what is newly announced or withdrawn.

    `wet_c` is the wet bulb of the heated air; with `weather` False it was worked out from a guessed weather,
    and only its changes are believed. All in C. Readings that are old, or that no kiln gives, are left out.
    """
    numbers = (air_off_c, air_on_c, wet_c)
    if at_ms <= watch.measured_ms or not all(_COLDEST_C <= c <= _HOTTEST_C for c in numbers):
        return []
    hours = min(at_ms - watch.measured_ms, _HOLE_MS) / _H_MS if watch.measured_ms else 0.0
    follows = -math.expm1(-hours / (settings.fire_h * _age_share(watch, at_ms, settings.young_h)))
    fire_wet_c = wet_c
    if watch.measured_ms and weather == watch.weather:
        wet_c = watch.wet_c + (wet_c - watch.wet_c) * follows
    elif watch.measured_ms:
        # Another weather is no change of the air: the floor keeps its height.
        watch.floor_k += watch.wet_c - wet_c
        watch.foot_k += watch.wet_c - wet_c
    else:
        watch.fire_c = air_on_c
    watch.measured_ms, watch.wet_c, watch.weather = at_ms, wet_c, weather
    watch.fire_c += (air_on_c - watch.fire_c) * follows
    over_k, lift_k = air_off_c - wet_c, air_on_c - wet_c
    if not watch.fired_ms:
        watch.floor_k = watch.floor_k if watch.armed else over_k
        if lift_k - (0.0 if weather else max(0.0, over_k)) < settings.least_lift_k:
            return []
        watch.fired_ms = at_ms
    if not _judged(watch, settings, at_ms, air_on_c, lift_k):
        watch.since_ms = 0
        if air_on_c - fire_wet_c >= settings.least_lift_k and air_off_c - fire_wet_c <= watch.floor_k:
            # Whatever goes on, air-off no warmer than its plateau is to be has not left it yet.
            watch.looked_ms = at_ms
        return []
    _follow(watch, settings, at_ms, over_k, hours)
    if watch.seen.state == ANNOUNCED:
        told = _hold(watch, settings, at_ms, over_k, lift_k)
    elif watch.armed:
        told = _look(watch, settings, at_ms, over_k, lift_k)
    else:
        told = _arm(watch, settings, at_ms, over_k, lift_k)
    watch.looked_ms = at_ms
    return told


def _age_share(watch: BreakWatch, at_ms: int, full_h: float) -> float:
    """How old the drying is against an age, at most 1: so much of a time that is told for a kiln counts.

    All of it where the weather is known: outdoor air dries no load quicker than in a kiln.
    """
    if watch.weather:
        return 1.0
    aged_ms = max(at_ms - watch.fired_ms, _MIN_MS) if watch.fired_ms else _MIN_MS
    return min(1.0, aged_ms / (full_h * _H_MS))


def _follow(watch: BreakWatch, settings: BreakSettings, at_ms: int, over_k: float, hours: float) -> None:
    """Let the floor follow air-off: down at once, up slowly."""
    if over_k < watch.floor_k:
        over_h = _FALL_H * _age_share(watch, at_ms, settings.young_h)
    else:
        creep_h = settings.creep_weather_h if watch.weather else settings.creep_h
        over_h = creep_h * _age_share(watch, at_ms, settings.creep_young_h)
    watch.floor_k += (over_k - watch.floor_k) * -math.expm1(-hours / over_h)


def disturb(watch: BreakWatch, settings: BreakSettings, at_ms: int, mixed: bool = False) -> None:
    """Somebody did something to the kiln: what air-off does in the next while proves nothing.

    `mixed`: the load was turned. Wet grain may lie on top again, so a break that was past doubt is not any
    more.
    """
    quiet_ms = round(_in_ms(watch, settings, at_ms, settings.disturbed_min))
    watch.quiet_until_ms = max(watch.quiet_until_ms, at_ms + quiet_ms)
    watch.since_ms = 0
    if mixed:
        watch.stays, watch.top_share, watch.top_lift_k = False, 0.0, 0.0


def stand_still(watch: BreakWatch, settings: BreakSettings, at_ms: int, still: bool) -> None:
    """The fan stands or the fire is damped (`still`), or that has ended; nothing is judged meanwhile."""
    watch.standing = still
    disturb(watch, settings, at_ms)


def _judged(watch: BreakWatch, settings: BreakSettings, at_ms: int, air_on_c: float, lift_k: float) -> bool:
    """Whether there is fire enough, steady enough, and nobody at work on the load."""
    if watch.standing or at_ms < watch.quiet_until_ms or lift_k < settings.least_lift_k:
        return False
    return abs(air_on_c - watch.fire_c) <= settings.fire_share * lift_k


def _share(over_k: float, from_k: float, lift_k: float) -> float:
    """How far of the way from the plateau to air-on."""
    return (over_k - from_k) / max(lift_k - from_k, 1.0)


def _lasting(watch: BreakWatch, at_ms: int, least_ms: float, holds: bool) -> bool:
    if not holds:
        watch.since_ms = 0
        return False
    watch.since_ms = watch.since_ms or at_ms
    return at_ms - watch.since_ms >= least_ms


def _in_ms(watch: BreakWatch, settings: BreakSettings, at_ms: int, minutes: float) -> float:
    """A kiln's minutes, in ms of a drying of this age."""
    return minutes * _MIN_MS * _age_share(watch, at_ms, settings.young_h)


def _arm(
    watch: BreakWatch, settings: BreakSettings, at_ms: int, over_k: float, lift_k: float
) -> list[BreakSeen]:
    """First the plateau must be seen; the load warming up to it is no break."""
    if watch.weather and _share(over_k, 0.0, lift_k) >= settings.stays_share:
        if _lasting(watch, at_ms, settings.settle_min * _MIN_MS, True):
            watch.armed = watch.stays = True
            watch.foot_k = 0.0
            return [_announce(watch, at_ms, watch.since_ms, 0.5, late=True)]
        return []
    still = _share(over_k, watch.floor_k, lift_k) < 0.5 * settings.warm_share
    settle_ms = _in_ms(watch, settings, at_ms, settings.settle_min)
    if _lasting(watch, at_ms, settle_ms, still):
        watch.armed = True
        watch.since_ms = 0
    return []


def _look(
    watch: BreakWatch, settings: BreakSettings, at_ms: int, over_k: float, lift_k: float
) -> list[BreakSeen]:
    share = _share(over_k, watch.floor_k, lift_k)
    if share < _BACK * settings.warm_share:
        watch.left_ms = 0
    elif not watch.left_ms and share >= _LEFT * settings.warm_share:
        watch.left_ms = _between(watch.looked_ms, at_ms, _in_ms(watch, settings, at_ms, settings.hold_min))
        watch.foot_k = watch.floor_k
    hold_ms = _in_ms(watch, settings, at_ms, settings.hold_min)
    if not _lasting(watch, at_ms, hold_ms, share >= settings.warm_share):
        return []
    return [_announce(watch, at_ms, watch.left_ms, _sureness(watch, over_k, lift_k))]


def _hold(
    watch: BreakWatch, settings: BreakSettings, at_ms: int, over_k: float, lift_k: float
) -> list[BreakSeen]:
    """An announced break: half the way up it is past doubt; caught up by the floor it was a pause."""
    pause_ms = _in_ms(watch, settings, at_ms, settings.pause_min)
    if watch.stays:
        # Only wet grain brings air-off all the way back to where it was: told where the weather is known.
        back = watch.weather and _share(over_k, watch.foot_k, lift_k) < 0.5 * settings.warm_share
        return _withdraw(watch, at_ms) if _lasting(watch, at_ms, pause_ms, back) else []
    if _share(over_k, watch.foot_k, lift_k) >= settings.stays_share:
        watch.stays, watch.since_ms = True, 0
        watch.seen = replace(watch.seen, sureness=0.95)
        return []
    sure = max(watch.seen.sureness, _sureness(watch, over_k, lift_k))
    watch.seen = replace(watch.seen, sureness=sure)
    share = _share(over_k, watch.foot_k, lift_k)
    half = 0.5 * settings.warm_share
    watch.top_share, watch.top_lift_k = max(watch.top_share, share), max(watch.top_lift_k, lift_k)
    as_hot = lift_k >= (1.0 - half) * watch.top_lift_k
    fell = watch.weather and as_hot and share < watch.top_share - half
    # A load that dries on lets air-off level or climb. Where it falls, the draught has changed: as after a
    # break past doubt, only wet grain brings it all the way back.
    paused = (share if fell else _share(over_k, watch.floor_k, lift_k)) < half
    return _withdraw(watch, at_ms) if _lasting(watch, at_ms, pause_ms, paused) else []


def _withdraw(watch: BreakWatch, at_ms: int) -> list[BreakSeen]:
    watch.since_ms, watch.stays = 0, False
    watch.seen = replace(watch.seen, state=WITHDRAWN, known_at_ms=at_ms, sureness=0.0)
    return [watch.seen]


def _between(looked_ms: int, at_ms: int, usual_ms: float) -> int:
    """When something was that is so now: now, or somewhere in the time when nobody could look."""
    hole_ms = min(at_ms - looked_ms, 2 * _H_MS)
    return at_ms - hole_ms // 2 if hole_ms > usual_ms else at_ms


def _announce(watch: BreakWatch, known_ms: int, at_ms: int, sureness: float, late: bool = False) -> BreakSeen:
    number = watch.seen.number + 1
    watch.seen = BreakSeen(ANNOUNCED, number, at_ms, known_ms, sureness, late)
    watch.since_ms = watch.left_ms = 0
    watch.top_share = watch.top_lift_k = 0.0
    return watch.seen


def _sureness(watch: BreakWatch, over_k: float, lift_k: float) -> float:
    """Half at first, more the further it has climbed; less after a pause, or with guessed weather."""
    climbed = 0.5 + 0.6 * max(0.0, _share(over_k, watch.foot_k, lift_k))
    doubt = 0.05 * min(watch.seen.number, 3) + (0.0 if watch.weather else 0.1)
    return round(min(0.9, max(0.1, climbed - doubt)), 2)
