"""Each kiln's load: its stage, kiln break, moisture, heat damage; and what its watch finds.

A load is followed from its loading, or its fire, or from air-on that is a fire nobody recorded, until it is
stripped. Each air-off reading goes to the break; once a minute of running time air passes through the load as
it is reckoned, and `kiln_watch` looks at it. It watches and advises; it drives nothing.
"""

from __future__ import annotations

from gateway.core import board
from gateway.core.board_state import Out
from gateway.core.callout import Now
from gateway.core.effects import BreakKnown
from gateway.core.estimate import kiln_break, moisture
from gateway.core.estimate.kiln_break import ANNOUNCED, BreakSeen, BreakWatch
from gateway.core.finding import Finding, Subject
from gateway.core.follow import kiln_air, kiln_deeds, kiln_drying, kiln_load, kiln_stage, kiln_watch
from gateway.core.follow.kiln_air import KilnAir
from gateway.core.follow.kiln_state import Kilning
from gateway.core.heard import Heard
from gateway.core.inputs import KilnWorked, Loaded
from gateway.core.inputs_journey import Corrected, Voided
from gateway.core.reading import CLOCK_UNSURE, OWN_TIME
from gateway.core.science import psychrometrics as moist
from gateway.core.site import Place
from gateway.core.site_kiln import KilnFigures
from gateway.core.state import State

EACH_MS = 60_000
_WATCH_TIMES = ("measured_ms", "since_ms", "left_ms", "looked_ms", "quiet_until_ms", "fired_ms")


def reading(state: State, heard: Heard, out: Out) -> None:
    """An air-off reading goes to the kiln break."""
    if heard.place.kind != "kiln" or heard.probe.quantity != "temperature" or not heard.newest:
        return
    kilning, figures = state.kilns.now.get(heard.place.id), state.site.kiln
    if kilning is None or figures is None:
        return
    waits = _waits_for_air_on(state, heard, kilning)
    if kiln_air.role(heard.probe) != "air_off" and waits is None:
        return
    air = kiln_air.look(state, heard.place)
    if air.on is None:
        return
    try:
        wet_c, weather = _wet_bulb(air, air.on.value_c)
    except ValueError:
        # No air can be as these probes say; the next reading may be another.
        return
    off_c = heard.value if waits is None else waits
    told = kiln_break.take(
        kilning.watch, figures.kiln_break, heard.measured_ms, off_c, air.on.value_c, wet_c, weather
    )
    for seen in told:
        wet = kiln_load.too_wet_to_break(kilning, figures, air)
        full = seen.late and air.off_rh is not None and air.off_rh >= figures.kiln_watch.stew_rh
        if seen.state == ANNOUNCED and (wet or full):
            # Air-off that warms over a load so wet has lost its draught: wet grain heats itself. So has warm
            # full air where nobody saw a plateau.
            kilning.unlikely_ms, kilning.watch = state.at_ms, _afresh(kilning.watch)
        else:
            _tell(state, heard.place, kilning, seen, out)
    kiln_load.weigh_by_break(kilning, figures, air)


def _waits_for_air_on(state: State, heard: Heard, kilning: Kilning) -> float | None:
    """Air-off of the moment of an air-on reading, not judged yet: the air-on before it was too old."""
    if kiln_air.role(heard.probe) != "air_on" or heard.measured_ms <= kilning.watch.measured_ms:
        return None
    windows = (
        window
        for probe, window in state.good(heard.place.id, "temperature")
        if kiln_air.role(probe) == "air_off" and window.measured_ms == heard.measured_ms
    )
    return next((window.value for window in windows), None)


def _afresh(watch: BreakWatch) -> BreakWatch:
    """A watch that has still to see the plateau; the age of the fire and what people did still count."""
    return BreakWatch(
        BreakSeen(number=watch.seen.number - 1),
        standing=watch.standing,
        quiet_until_ms=watch.quiet_until_ms,
        fired_ms=watch.fired_ms,
    )


def _wet_bulb(air: KilnAir, on_c: float) -> tuple[float, bool]:
    """Wet bulb of the heated air, and whether the weather behind it is measured."""
    if air.outdoor_c is not None and air.outdoor_rh is not None:
        return moist.heated_wet_bulb_c(air.outdoor_c, min(1.0, air.outdoor_rh / 100.0), on_c), True
    return moist.wet_bulb_c(on_c, kiln_air.ratio_of(air)), False


def _tell(state: State, place: Place, kilning: Kilning, seen: BreakSeen, out: Out) -> None:
    out.effects.append(
        BreakKnown(
            out.cause(), place.id, kilning.piece, seen.number, seen.state, seen.at_ms, seen.known_at_ms,
            seen.sureness,
        )
    )  # fmt: skip
    if seen.state == ANNOUNCED:
        kilning.since.pop("withdrawn", None)
    elif kilning.break_raised:
        kilning.since["withdrawn"] = state.run_ms
    for finding in kiln_watch.withdrawn(state, place, kilning):
        board.found(state.board, state.site, finding, Now(state.at_ms, state.run_ms), out)


def tick(state: State, out: Out) -> list[Finding]:
    """Each minute: air through the load, and a look at it."""
    if state.run_ms < state.kilns.next_run_ms:
        return []
    state.kilns.next_run_ms = (state.run_ms // EACH_MS + 1) * EACH_MS
    found: list[Finding] = []
    for place in state.site.places:
        if place.kind == "kiln" and state.site.kiln is not None:
            found += _minute(state, place, state.site.kiln)
    return found


def _minute(state: State, place: Place, figures: KilnFigures) -> list[Finding]:
    air = kiln_air.look(state, place)
    kilning = state.kilns.now.get(place.id)
    if kilning is None:
        if kiln_air.fired(air, figures) is not True:
            return []
        kilning = _begin(state, place, figures, air)
    if kilning.behind_ms:
        kiln_drying.catch_up(state, place, kilning, figures, air)
    else:
        kiln_drying.dry(state, kilning, figures, air)
    kiln_stage.advance(state, place, kilning)
    return kiln_watch.judge(state, place, kilning, figures, air)


def _begin(state: State, place: Place, figures: KilnFigures, air: KilnAir) -> Kilning:
    firing = state.pieces.kilns.get(place.id)
    kilning = state.kilns.now[place.id] = Kilning(firing.piece if firing else None, state.at_ms)
    piece = state.pieces.now.pieces.get(kilning.piece or "")
    barley_t = (piece.weight_t if piece else None) or figures.kiln_watch.barley_t
    warm_c = air.hottest.value_c if air.hottest else 18.0
    kilning.load = moisture.loaded(
        figures.moisture, barley_t * figures.kiln_watch.dry_kg_per_t, barley_t, min(warm_c, 40.0)
    )
    kilning.dried_ms = state.at_ms
    return kilning


def next_run_ms(state: State) -> int:
    """A running time before which time alone brings nothing."""
    return state.kilns.next_run_ms


def entered(state: State, event: object, out: Out) -> None:
    """Loaded, lit, turned, stripped …: what changes the load, or what may be thought of it."""
    figures = state.site.kiln
    if isinstance(event, Corrected | Voided):
        kiln_deeds.read_again(state)
    if figures is None or not isinstance(event, Loaded | KilnWorked):
        return
    name = event.kiln or next((one.id for one in state.site.places if one.kind == "kiln"), None)
    place = state.site.place.get(name or "")
    if place is None or place.kind != "kiln":
        return
    at_ms = min(event.when_ms or state.at_ms, state.at_ms)
    kilning = state.kilns.now.get(place.id)
    if isinstance(event, Loaded):
        if kilning is None or kilning.stripped_ms or kilning.piece not in (None, _piece(state, place)):
            kilning = _begin(state, place, figures, kiln_air.look(state, place))
        kilning.piece = _piece(state, place)
        return
    if event.what == "to-store":
        state.kilns.now.pop(place.id, None)
        _end(state, place, kilning, out)
        return
    if kilning is None or (kilning.stripped_ms and event.what == "lit"):
        kilning = _begin(state, place, figures, kiln_air.look(state, place))
    was_lit = bool(kilning.lit_ms)
    kiln_deeds.worked(kilning, figures, event, at_ms)
    if kilning.lit_ms and not was_lit and kilning.began_ms - at_ms > kiln_drying.LONGEST_MS:
        kilning.behind_ms = min(kilning.began_ms - at_ms, kiln_drying.BACK_MS)
        kiln_drying.catch_up(state, place, kilning, figures, kiln_air.look(state, place))
    if event.what == "stripped":
        _end(state, place, kilning, out)


def _piece(state: State, place: Place) -> str | None:
    firing = state.pieces.kilns.get(place.id)
    return firing.piece if firing else None


def _end(state: State, place: Place, kilning: Kilning | None, out: Out) -> None:
    """The load is out: nothing of its watch stands any longer, but that it was stripped too warm."""
    if kilning is None:
        return
    for finding in kiln_watch.ended(state, place, kilning):
        board.found(state.board, state.site, finding, Now(state.at_ms, state.run_ms), out)


def moved(state: State, by_ms: int) -> None:
    """The clock was set: what happened by it moves with it."""
    for place, kilning in state.kilns.now.items():
        for name in ("began_ms", "lit_ms", "hand_dry_ms", "stripped_ms", "stage_ms", "unlikely_ms"):
            _move(kilning, name, by_ms)
        for name in () if _tells_time(state, place) else _WATCH_TIMES:
            _move(kilning.watch, name, by_ms)
        kilning.dried_ms = state.at_ms + by_ms


def _tells_time(state: State, place: str) -> bool:
    """Whether air-off's thermometer has a time of its own, which the gateway's clock does not move."""
    windows = [
        state.windows[probe.id]
        for probe in state.site.probes_of[place]
        if probe.id in state.windows and kiln_air.role(probe) == "air_off" and probe.quantity == "temperature"
    ]
    return any(one.flags & OWN_TIME and not one.flags & CLOCK_UNSURE for one in windows)


def _move(kept: Kilning | BreakWatch, name: str, by_ms: int) -> None:
    if getattr(kept, name):
        setattr(kept, name, getattr(kept, name) + by_ms)


def site_changed(state: State) -> None:
    """Another site file holds."""
    state.kilns.now = {
        name: one for name, one in state.kilns.now.items() if name in state.site.place and state.site.kiln
    }
    figures = state.site.kiln
    for kilning in state.kilns.now.values():
        if (
            figures
            and kilning.load
            and len(kilning.load.members[0].stack.moisture) != figures.moisture.layers
        ):
            kilning.load = None


def finding(state: State, subject: Subject) -> Finding | None:
    """What stands behind an alarm of the kiln's watch now."""
    place, figures = state.site.place.get(subject.place or ""), state.site.kiln
    kilning = state.kilns.now.get(subject.place or "")
    if place is None or figures is None or kilning is None or subject.kind not in kiln_watch.KINDS:
        return None
    air = kiln_air.look(state, place)
    return kiln_watch.finding(state, place, kilning, subject.kind, subject.kind in kilning.told, air)
