"""What is told of the break in made-up kilnings, and how far that is from the truth."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from gateway.core.estimate.kiln_break import ANNOUNCED, BreakSeen, BreakWatch, disturb, take
from gateway.core.science.psychrometrics import heated_wet_bulb_c, wet_bulb_c
from tests.estimate.kiln_dryer import SETTINGS
from tests.estimate.kiln_worlds import MIN_MS, Kilning, Minute, true_break_ms

GUESSED_RATIO = 0.006


class Told(NamedTuple):
    """A kilning, what was told of it, and the error of what stands (minutes; None where nothing does)."""

    kilning: Kilning
    minutes: list[Minute]
    told: list[BreakSeen]
    true_ms: int | None
    error_min: float | None
    known_after_min: float | None


def tell(watch: BreakWatch, kilning: Kilning, minute: Minute) -> list[BreakSeen]:
    """Give the watch one minute, with the weather where this kiln knows it."""
    if minute.act == "turned":
        disturb(watch, SETTINGS, minute.at_ms, mixed=True)
    if kilning.knows_weather:
        wet_c = heated_wet_bulb_c(minute.outdoor_c, minute.outdoor_rh, minute.on_c)
    else:
        wet_c = wet_bulb_c(minute.on_c, GUESSED_RATIO)
    return take(watch, SETTINGS, minute.at_ms, minute.off_c, minute.on_c, wet_c, kilning.knows_weather)


def kilnings(seeds: Iterable[int]) -> Iterator[Told]:
    """Each seed's kilning."""
    for seed in seeds:
        kilning = Kilning(seed)
        minutes, watch, told = kilning.minutes(), BreakWatch(), []
        for minute in minutes:
            told += tell(watch, kilning, minute)
        true_ms, seen = true_break_ms(minutes), watch.seen
        error = after = None
        if true_ms is not None and seen.state == ANNOUNCED and seen.at_ms is not None and seen.known_at_ms:
            error, after = (seen.at_ms - true_ms) / MIN_MS, (seen.known_at_ms - true_ms) / MIN_MS
        yield Told(kilning, minutes, told, true_ms, error, after)
