"""The site as the judge sees it: places, probes and where they hang, programmes, people, phones.

Checked values only, made by `settings` from the site file (or by `codec` from the journal); no secret is
among them. All temperatures are degrees Celsius, CO2 is ppm, whatever unit the probe speaks.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

from gateway.core.estimate.bed_heat.fit import Figures as HeatFigures
from gateway.core.estimate.honest_state import Figures as HonestFigures
from gateway.core.estimate.respiration import Figures as BreathFigures
from gateway.core.site_air import Air
from gateway.core.site_kiln import KilnFigures


@dataclass(frozen=True, slots=True)
class Day:
    """One row of a floor programme. It holds exactly at 24 x `day` hours since casting; between, it ramps."""

    day: float
    aim_c: float
    turn_at_c: float
    high_c: float
    urgent_c: float
    low_c: float
    due_h: float
    overdue_h: float


@dataclass(frozen=True, slots=True)
class Couch:
    """The couch's own limits: it is meant to warm. Unless recorded broken it lapses `max_h` after casting."""

    high_c: float
    urgent_c: float
    low_c: float
    max_h: float


@dataclass(frozen=True, slots=True)
class Stage:
    """One stage of a kiln programme, from `from_h` hours after the fire was lit: air-on and its limit.

    `after` is what must have been as well: "hours" nothing, "break" the kiln break seen and hand-dry
    recorded, "dry" the mean moisture at `dry_wb` (hand-dry, if None) at most. No faster up than
    `ramp_k_per_h`.
    """

    name: str
    from_h: float
    target_c: float
    limit_c: float
    after: str = "hours"
    dry_wb: float | None = None
    ramp_k_per_h: float = 10.0


@dataclass(frozen=True, slots=True)
class Turning:
    """What else than the clock makes a bed want turning, and how long a turn takes.

    `rise_k` since the last turn, `spread_k` between the warmest and the coldest probe, `co2_turn_ppm` in the
    bed. `rounds` are minutes after local midnight; where there are any, they stand in for `due_h`. So long
    (`plough_h`) a ploughing puts the clock off, never beyond overdue. `mat_h`: a chilled piece may lie so
    long. `withering_*` hold for a piece that withers. `base_c`: thermal time counts above it. `trust`: which
    turns restart the clock: people's (`recorded`), those the probes are `sure` of too, or any (`perhaps`).
    `room_near_k`: so near a limit the room is too warm for turning to help.
    """

    rise_k: float = 2.0
    spread_k: float = 3.0
    co2_turn_ppm: float = 40_000.0
    rounds: tuple[int, ...] = ()
    turn_takes_min: float = 60.0
    plough_h: float = 4.0
    mat_h: float = 16.0
    withering_due_h: float = 12.0
    withering_overdue_h: float = 16.0
    base_c: float = 2.0
    trust: str = "sure"
    room_near_k: float = 2.0


@dataclass(frozen=True, slots=True)
class RecipeStand:
    """One stand of a steeping recipe: wet or dry, how long, and the water's temperature where it is wet."""

    kind: str
    hours: float
    water_c: float | None = None


@dataclass(frozen=True, slots=True)
class Recipe:
    """How a lot is steeped: its stands in order; a stand may run over by so much before anybody is called."""

    id: str
    stands: tuple[RecipeStand, ...]
    overdue_after_min: float = 30.0


@dataclass(frozen=True, slots=True)
class Programme:
    """How warm, how often turned: a floor's days, or a kiln's stages.

    `strict_high_c` and `strict_urgent_c` hold where no cast is recorded; `cap_c` where no fire is.
    """

    id: str
    deadband_k: float = 0.5
    on_delay_s: float = 600.0
    off_delay_s: float = 600.0
    days: tuple[Day, ...] = ()
    couch: Couch | None = None
    strict_high_c: float = 22.0
    strict_urgent_c: float = 25.0
    stages: tuple[Stage, ...] = ()
    cap_c: float = 65.0
    turning: Turning = field(default_factory=Turning)
    heat: HeatFigures = field(default_factory=HeatFigures)
    breathing: BreathFigures = field(default_factory=BreathFigures)


@dataclass(frozen=True, slots=True)
class Floor:
    """A growing floor: a strip from the steep's door to the kiln's.

    `pieces`: they stay, walk (`walk_m` further at each turn), or are moved.
    """

    id: str
    length_m: float
    volume_m3: float | None = None
    pieces: str = "stay"
    walk_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Place:
    """A steep, bed, room, pit, furnace room, plenum, kiln or the outdoors.

    `co2_high_ppm` (no entry), `co2_leave_ppm`, `co_leave_ppm`, `co_evacuate_ppm` are its own instant levels
    where the site's do not hold. `full_t`: barley on a full bed in tonnes, where no weight was recorded.
    """

    id: str
    kind: str
    name: str
    floor: str | None = None
    from_m: float | None = None
    to_m: float | None = None
    volume_m3: float | None = None
    programme: str | None = None
    co2_high_ppm: float | None = None
    co2_leave_ppm: float | None = None
    co_leave_ppm: float | None = None
    co_evacuate_ppm: float | None = None
    full_t: float | None = None


@dataclass(frozen=True, slots=True)
class Probe:
    """A probe, its place and how its payload is read.

    `range_low` and `range_high` are the instrument's ends, `plausible_*` bound garbage, all in the fixed
    unit of the quantity; `to_fixed_gain` and `to_fixed_offset` turn the probe's unit into that;
    `gain` and `offset` are the calibration, applied when judging: gain x value + offset. `calibrated` and
    `bump_tested` are the dates (ISO 8601) on which that was last done, empty where nobody says; how often it
    wants doing: `calibrate_every_days`, `bump_every_days`, 0 for never, None as usual for its quantity.
    """

    id: str
    place: str
    quantity: str
    unit: str
    topic: str
    every_s: float
    payload: str = "json"
    height_cm: float | None = None
    at_m: float | None = None
    range_low: float | None = None
    range_high: float | None = None
    plausible_low: float | None = None
    plausible_high: float | None = None
    to_fixed_gain: float = 1.0
    to_fixed_offset: float = 0.0
    gain: float = 1.0
    offset: float = 0.0
    value: str = "/v"
    time: str = "/t"
    sequence: str = "/n"
    battery: str = "/b"
    silent_after_s: float = 1800.0
    role: str | None = None
    calibrated: str = ""
    bump_tested: str = ""
    self_baseline: bool | None = None
    calibrate_every_days: float | None = None
    bump_every_days: float | None = None
    battery_unit: str = ""


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who may be called; `role` orders who is called after the shift."""

    id: str
    name: str
    role: str


@dataclass(frozen=True, slots=True)
class Phone:
    """A way to a person. `id` is stable (person and ordinal); the address and the secret stay at the edge."""

    id: str
    person: str
    kind: str


@dataclass(frozen=True, slots=True)
class Shift:
    """Who is on, which days (0 = Monday), from and to minutes after local midnight; `to` may be next day."""

    people: tuple[str, ...]
    days: tuple[int, ...]
    from_min: int
    to_min: int


@dataclass(frozen=True, slots=True)
class Callout:
    """The steps of a call, in seconds of running time. `speed` stretches them in a scaled demonstration."""

    high_repeat_s: float = 300.0
    high_next_s: float = 600.0
    medium_repeat_s: float = 900.0
    going_hold_s: float = 2700.0
    heard_hold_s: float = 900.0
    morning_min: int = 7 * 60
    night_from_min: int = 21 * 60
    night_to_min: int = 7 * 60
    speed: float = 1.0
    evening_min: int = 18 * 60
    forecast_min: int = 21 * 60 + 30


@dataclass(frozen=True)
class Site:
    """The whole checked site."""

    id: str
    name: str
    time_zone: str
    floors: tuple[Floor, ...] = ()
    places: tuple[Place, ...] = ()
    probes: tuple[Probe, ...] = ()
    people: tuple[Person, ...] = ()
    phones: tuple[Phone, ...] = ()
    shifts: tuple[Shift, ...] = ()
    programmes: tuple[Programme, ...] = ()
    callout: Callout = field(default_factory=Callout)
    air: Air = field(default_factory=Air)
    honest: HonestFigures = field(default_factory=HonestFigures)
    recipes: tuple[Recipe, ...] = ()
    kiln: KilnFigures | None = None

    @cached_property
    def place(self) -> dict[str, Place]:
        """Places by id."""
        return {place.id: place for place in self.places}

    @cached_property
    def probe(self) -> dict[str, Probe]:
        """Probes by id."""
        return {probe.id: probe for probe in self.probes}

    @cached_property
    def person(self) -> dict[str, Person]:
        """People by id."""
        return {person.id: person for person in self.people}

    @cached_property
    def programme(self) -> dict[str, Programme]:
        """Programmes by id."""
        return {programme.id: programme for programme in self.programmes}

    @cached_property
    def probes_of(self) -> dict[str, tuple[Probe, ...]]:
        """Probes by the place they hang in; every place is a key."""
        return {place.id: tuple(p for p in self.probes if p.place == place.id) for place in self.places}

    @cached_property
    def phones_of(self) -> dict[str, tuple[Phone, ...]]:
        """Phones by person; every person is a key."""
        return {who.id: tuple(p for p in self.phones if p.person == who.id) for who in self.people}
