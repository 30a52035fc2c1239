"""A judge at a desk: a small site, inputs laid before the engine one by one, effects picked up."""

from __future__ import annotations

from dataclasses import dataclass, field

from gateway.core import engine
from gateway.core.effects import AlarmChange, Effect, Notice
from gateway.core.inputs import Entry, Input, SiteChanged, Started
from gateway.core.reading import OWN_TIME, Reading
from gateway.core.site import (
    Couch,
    Day,
    Floor,
    Person,
    Phone,
    Place,
    Probe,
    Programme,
    Recipe,
    RecipeStand,
    Shift,
    Site,
    Stage,
)

MINUTE = 60_000
HOUR = 60 * MINUTE
#: 2026-03-02 20:00 UTC, a Monday evening.
START = 1_772_481_600_000
RECIPE = Recipe("short", (RecipeStand("wet", 8.0, 13.0), RecipeStand("dry", 10.0), RecipeStand("wet", 6.0)))


def temperature(probe: str, place: str, every_s: float = 60.0, silent_after_s: float = 1800.0) -> Probe:
    return Probe(
        probe, place, "temperature", "Cel", f"qh/{place}/{probe}", every_s, silent_after_s=silent_after_s
    )


def site(**changes: object) -> Site:
    days = tuple(Day(float(d), 15.0, 18.0, 22.0, 25.0, 8.0, 8.0, 12.0) for d in range(3))
    floor = Programme("floor", days=days, couch=Couch(24.0, 27.0, 6.0, 30.0))
    plain = Programme("plain", days=days)
    kiln = Programme(
        "kiln",
        on_delay_s=120.0,
        off_delay_s=120.0,
        stages=(Stage("wet", 0.0, 45.0, 50.0), Stage("dry", 24.0, 55.0, 60.0)),
        cap_c=65.0,
    )
    values: dict[str, object] = {
        "floors": (Floor("lower", 20.0),),
        "places": (
            Place("bed-a", "bed", "Bed A", "lower", 0.0, 10.0, programme="plain"),
            Place("bed-b", "bed", "Bed B", "lower", 10.0, 20.0, programme="floor"),
            Place("steep", "steep", "Steep"),
            Place("room", "room", "Lower room", "lower", co2_high_ppm=5000.0),
            Place("kiln", "kiln", "Kiln", programme="kiln"),
        ),
        "probes": (
            temperature("a1", "bed-a"),
            temperature("a2", "bed-a"),
            temperature("b1", "bed-b"),
            Probe("air", "room", "co2", "ppm", "qh/room/air", 60.0, silent_after_s=300.0),
            temperature("k1", "kiln", silent_after_s=600.0),
        ),
        "people": (Person("ada", "Ada", "shift"), Person("ben", "Ben", "maltster")),
        "phones": (Phone("ada-1", "ada", "webhook"), Phone("ben-1", "ben", "webhook")),
        "shifts": (Shift(("ada",), tuple(range(7)), 0, 1440),),
        "programmes": (floor, plain, kiln),
        "recipes": (RECIPE,),
    }
    return Site("quern-hill", "Quern Hill Maltings", "UTC", **(values | changes))  # type: ignore[arg-type]


@dataclass
class Desk:
    """`at` is minutes after START; readings carry their own time."""

    site: Site = field(default_factory=site)
    state: engine.State = field(default_factory=engine.new)
    n: int = 0
    effects: list[Effect] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.lay(0, Started("test"))
        self.lay(0, SiteChanged(self.site))

    def lay(self, at_min: float, what: Input) -> list[Effect]:
        self.n += 1
        at_ms = START + round(at_min * MINUTE)
        made = engine.advance(self.state, [Entry(self.n, at_ms, at_ms, what)], at_ms)
        self.effects += made
        return made

    def read(
        self, at_min: float, probe: str, value: float, measured_min: float | None = None
    ) -> list[Effect]:
        measured = at_min if measured_min is None else measured_min
        return self.lay(at_min, Reading(probe, START + round(measured * MINUTE), value, OWN_TIME))

    def wait(self, at_min: float) -> list[Effect]:
        made = engine.advance(self.state, [], START + round(at_min * MINUTE))
        self.effects += made
        return made

    def alarms(self, kind: str) -> list[AlarmChange]:
        return [e for e in self.effects if isinstance(e, AlarmChange) and e.kind == kind]

    def notices(self) -> list[Notice]:
        return [e for e in self.effects if isinstance(e, Notice)]


def minutes(at_ms: int | None) -> float | None:
    """A moment as minutes after START."""
    return None if at_ms is None else (at_ms - START) / MINUTE
