"""What people record of a piece between barley lot and store, beside what `inputs` has of it.

Each is a past event with who, why and when it really happened (`when_ms`, Unix ms, None for "now").
`bed` and `steep` are ids of places; metres are metres of the floor from the steep's end. A mistake is put
right by a new event (`Corrected`, `Voided`) that names the journal number of the old one.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """Who said it, why, and when it happened."""

    by: str | None = None
    why: str | None = None
    when_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Steeped(Said):
    """A barley lot went into a steep: its first wet stand begins. `moisture_wb` is % of the wet weight."""

    steep: str
    lot: str | None = None
    variety: str | None = None
    moisture_wb: float | None = None
    weight_t: float | None = None
    recipe: str | None = None
    piece: str | None = None


@dataclass(frozen=True, slots=True)
class Stood(Said):
    """Another stand of a steep began: `stand` is wet (filled) or dry (drained)."""

    steep: str
    stand: str
    water_c: float | None = None


@dataclass(frozen=True, slots=True)
class Ploughed(Said):
    """A bed, or a stretch of it, was ploughed: rootlets parted, the grain not turned over."""

    bed: str
    from_m: float | None = None
    to_m: float | None = None


@dataclass(frozen=True, slots=True)
class Thinned(Said):
    """The bed was spread thinner, to this depth where it was measured."""

    bed: str
    depth_cm: float | None = None


@dataclass(frozen=True, slots=True)
class Thickened(Said):
    """The bed was gathered thicker, to this depth where it was measured."""

    bed: str
    depth_cm: float | None = None


@dataclass(frozen=True, slots=True)
class Sprinkled(Said):
    """Water was sprinkled on the bed."""

    bed: str
    litres: float | None = None


@dataclass(frozen=True, slots=True)
class Withering(Said):
    """The piece is left to wither: rootlets may fade, growth is coming to its end."""

    bed: str


@dataclass(frozen=True, slots=True)
class HandRead(Said):
    """A thermometer was put into the bed by hand, at a metre of the floor and a height above it."""

    bed: str
    c: float
    at_m: float | None = None
    height_cm: float | None = None


@dataclass(frozen=True, slots=True)
class Chitted(Said):
    """Somebody looked at the corns: this share of them shows a chit."""

    bed: str
    share_pct: float | None = None


@dataclass(frozen=True, slots=True)
class Spired(Said):
    """Somebody opened corns: how far the spire has grown along them, % of the corn's length."""

    bed: str
    share_pct: float | None = None


@dataclass(frozen=True, slots=True)
class Smelled(Said):
    """What the bed smells of."""

    bed: str
    what: str


@dataclass(frozen=True, slots=True)
class Joined(Said):
    """Two pieces are one from here on, as old as the older; `name` is the new one's, else the first's."""

    piece: str
    other: str
    name: str | None = None


@dataclass(frozen=True, slots=True)
class Split(Said):
    """A stretch of a bed is a piece of its own from here on."""

    bed: str
    from_m: float
    to_m: float
    piece: str


@dataclass(frozen=True, slots=True)
class Ordered(Said):
    """The maltster's standing order: this bed is left alone until then. `why` is asked for."""

    bed: str
    until_ms: int


@dataclass(frozen=True, slots=True)
class Corrected(Said):
    """An entry was wrong: what is given here holds instead, `when_ms` too. `done_by`: who really did it."""

    entry: int
    bed: str | None = None
    to: str | None = None
    steep: str | None = None
    kiln: str | None = None
    piece: str | None = None
    from_m: float | None = None
    to_m: float | None = None
    onto_from_m: float | None = None
    onto_to_m: float | None = None
    depth_cm: float | None = None
    c: float | None = None
    at_m: float | None = None
    height_cm: float | None = None
    water_c: float | None = None
    litres: float | None = None
    share_pct: float | None = None
    lot: str | None = None
    variety: str | None = None
    moisture_wb: float | None = None
    weight_t: float | None = None
    recipe: str | None = None
    done_by: str | None = None


@dataclass(frozen=True, slots=True)
class Voided(Said):
    """An entry never happened; voiding a `Voided` brings the entry back."""

    entry: int


@dataclass(frozen=True, slots=True)
class Upheld(Said):
    """An entry that seemed not to fit is right as it stands: it leaves the list of questions."""

    entry: int


@dataclass(frozen=True, slots=True)
class NotTurned(Said):
    """What the probes took for a turn of this bed was none: the turn of that number, else the nearest."""

    bed: str
    turn: int | None = None


Later = (
    Steeped | Stood | Ploughed | Thinned | Thickened | Sprinkled | Withering | HandRead | Chitted | Spired
    | Smelled | Joined | Split | Ordered | Corrected | Voided | Upheld | NotTurned
)  # fmt: skip

#: The word for each in the journal, in input files and on the command line.
JOURNEY_EVENTS: dict[str, type] = {
    "steeped": Steeped,
    "steep-stand": Stood,
    "ploughed": Ploughed,
    "thinned": Thinned,
    "thickened": Thickened,
    "sprinkled": Sprinkled,
    "withering": Withering,
    "hand": HandRead,
    "chit": Chitted,
    "spire": Spired,
    "smell": Smelled,
    "joined": Joined,
    "split": Split,
    "order": Ordered,
    "correct": Corrected,
    "void": Voided,
    "keep": Upheld,
    "not-turned": NotTurned,
}
