"""A whole kilning without a broker: what the probes of a kiln would say, minute by minute, and the truth.

    from simulators import kilning
    for moment in kilning.run(seed=7):
        moment.at_s, moment.readings["air-off"], moment.truth.broke_at_s

The seed draws the weather, the load, the flow, how the fire wanders, the probes' faults, and one of `KINDS`
of mishap; or give a `Story` of your own. The same arguments give the same numbers. About a second for two
days.

`readings`: air-on, grain (25 cm up), air-off, outdoors-air in C; humidity (air-off) and outdoors-humidity in
%RH; flow in m3/h; co in ppm. `told` is what somebody did in that minute, as an order (simulators/orders.py);
a mishap nobody did is in `truth.went_wrong` alone. The true break is defined in simulators/kiln.py: it is
known ten minutes after it began, and a load that is turned can lose it. The maltster here raises the fire
only after the break: by a way of his own, or by the `stages` of a story, each not before its hour; and not
before `may_raise` says so, where it is given. Chances, biases and noise are ours.
"""

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from random import Random
from typing import Any, NamedTuple

from simulators.doings import to_kilns
from simulators.kiln import SURE_S, Kiln
from simulators.orders import read_order
from simulators.weather import Weather

KINDS = (
    "plain",
    "turned",
    "turned twice",
    "fire fails",
    "over-fired",
    "draught lost",
    "draught halved",
    "damped",
    "load burns",
)
START_S = 1_763_971_200.0
STEP_S = 60.0
GRAIN_M = 0.25
BEFORE_RAISE_H, RAISE_H, LAST_H = 2.0, 12.0, 12.0
RAISE_K_H = 2.0
HELD_K = 4.0
"""A stoker who keeps to a programme damps a fire before air-on is so far over its target."""
NEVER_H = 1000.0


class Act(NamedTuple):
    """Something done or gone wrong, hours after lighting; `told` if somebody did it and says so."""

    at_h: float
    order: Mapping[str, Any]
    told: bool


@dataclass(frozen=True)
class Story:
    """All that makes one kilning besides chance."""

    kind: str = "plain"
    acts: tuple[Act, ...] = ()
    barley_t: float = 8.0
    air_m3_h_t: float = 1800.0
    first_c: float = 45.0
    last_c: float = 60.0
    mean_c: float = 8.0
    noise: float = 1.0
    """Scales the probes' bias and noise and the fire's wandering; 0 for none."""
    stages: tuple[tuple[float, float], ...] = ()
    """(hours since lighting, air-on C) of the programme that the stoker keeps to, in place of `last_c`."""


class Truth(NamedTuple):
    """What was really so. `broke_at_s` is when the break that holds now began; layers from below."""

    broke_at_s: float | None
    on_c: float
    off_c: float
    off_rh: float
    moisture_wb: float
    layers_wb: tuple[float, ...]
    layers_c: tuple[float, ...]
    removed_kg: float
    air_kg_s: float
    lit: bool
    went_wrong: tuple[str, ...]


class Moment(NamedTuple):
    """One minute of a kilning."""

    at_s: float
    readings: dict[str, float]
    told: tuple[Mapping[str, Any], ...]
    truth: Truth


def draw_story(seed: int, kind: str | None = None) -> Story:
    """The story of a seed; its mishap may be given."""
    rng = Random(f"story {seed}")
    drawn = rng.choice(KINDS)
    kind = kind or drawn
    at_h, lasts_h = rng.uniform(4.0, 16.0), rng.uniform(1.0, 3.0)
    return Story(
        kind,
        _acts(kind, at_h, lasts_h, rng.uniform(0.5, 0.7)),
        barley_t=rng.uniform(4.0, 12.0),
        air_m3_h_t=rng.uniform(1500.0, 2400.0),
        first_c=rng.uniform(43.0, 52.0),
        last_c=rng.uniform(57.0, 64.0),
        mean_c=rng.uniform(-2.0, 14.0),
    )


def run(
    seed: int,
    story: Story | None = None,
    *,
    hours: float = 56.0,
    may_raise: Callable[[], bool] = lambda: True,
) -> Iterator[Moment]:
    """A kilning from the lighting on."""
    story = story or draw_story(seed)
    weather = Weather(Random(f"weather {seed}"), mean_c=story.mean_c)
    weather.begin(START_S)
    kiln = Kiln(story.barley_t, air_m3_h_t=story.air_m3_h_t)
    kiln.programme = ((0.0, story.first_c), (NEVER_H, story.first_c))
    kiln.begin(0.0, weather.temperature_c, weather.rh)
    fire, probes = _Fire(Random(f"fire {seed}"), story.noise), _Probes(Random(f"probes {seed}"), story.noise)
    acts, broke_at_s, raised = sorted(story.acts, key=lambda act: act.at_h), None, False
    for minute in range(1, int(hours * 60) + 1):
        at_s = START_S + minute * STEP_S
        weather.step(STEP_S, at_s)
        done = [act for act in acts if (minute - 1) / 60 <= act.at_h < minute / 60]
        for act in done:
            to_kilns(read_order(act.order), {"kiln": kiln})
        steady = kiln.fire
        kiln.fire = steady * fire.wander()
        if story.stages:
            kiln.fire = min(kiln.fire, 1.0 + HELD_K / max(1.0, kiln.wanted_c() - weather.temperature_c))
        kiln.step(STEP_S, weather.temperature_c, weather.rh)
        kiln.fire = steady
        if kiln.broke != (broke_at_s is not None):
            broke_at_s = at_s - SURE_S if kiln.broke else None
        if kiln.broke and not raised and may_raise():
            raised, kiln.programme = True, _raised(story, kiln.lit_h)
        wrong = tuple(story.kind for act in done if not act.told)
        told = tuple(act.order for act in done if act.told)
        yield Moment(at_s, probes.read(kiln, weather), told, _truth(kiln, weather, broke_at_s, wrong))


def _acts(kind: str, at_h: float, lasts_h: float, share: float) -> tuple[Act, ...]:
    """What happens in a kind of kilning."""
    turn, light = {"kiln-turn": True}, {"relight": "kiln"}
    draught = [{"draught": {"place": "kiln", "amount": amount}} for amount in (0.05, 0.5, 1.0)]
    by_kind: dict[str, list[Act]] = {
        "plain": [],
        "turned": [Act(at_h, turn, True)],
        "turned twice": [Act(at_h, turn, True), Act(at_h + 3.0 * lasts_h, turn, True)],
        "fire fails": [Act(at_h, {"fire": "out"}, False), Act(at_h + lasts_h, light, True)],
        "over-fired": [Act(at_h, {"fire": "wild"}, False), Act(at_h + lasts_h, light, True)],
        "draught lost": [Act(at_h, draught[0], False), Act(at_h + lasts_h, draught[2], True)],
        "draught halved": [Act(at_h, draught[1], False)],
        "damped": [
            Act(at_h, {"damp": {"place": "kiln", "amount": share}}, True),
            Act(at_h + 2.0 * lasts_h, {"damp": {"place": "kiln", "amount": 1.0}}, True),
        ],
        "load burns": [Act(at_h + 20.0, {"fire": "load"}, False), Act(at_h + 20.5, draught[0], True)],
    }
    return tuple(by_kind[kind])


def _raised(story: Story, now_h: float) -> tuple[tuple[float, float], ...]:
    if story.stages:
        return _kept(story.stages, now_h)
    begins_h = now_h + BEFORE_RAISE_H
    ends_h = begins_h + RAISE_H
    first, last = story.first_c, story.last_c
    return (0.0, first), (begins_h, first), (ends_h, last), (ends_h + LAST_H, last)


def _kept(stages: tuple[tuple[float, float], ...], now_h: float) -> tuple[tuple[float, float], ...]:
    """Each stage at its hour, or as soon after now as the one before it is reached."""
    at_h, warm_c = now_h, stages[0][1]
    points = [(0.0, warm_c)]
    for from_h, target_c in stages[1:]:
        at_h = max(at_h, from_h) + 0.25
        points.append((at_h, warm_c))
        at_h, warm_c = at_h + abs(target_c - warm_c) / RAISE_K_H, target_c
        points.append((at_h, warm_c))
    return (*points, (max(at_h, now_h) + RAISE_H + LAST_H, warm_c))


def _truth(kiln: Kiln, weather: Weather, broke_at_s: float | None, wrong: tuple[str, ...]) -> Truth:
    load = kiln.load
    return Truth(
        broke_at_s,
        kiln.air_on_c,
        load.off_c,
        kiln.off_rh(),
        load.moisture_wb_mean(),
        tuple(layer.moisture_db / (1.0 + layer.moisture_db) for layer in load.layers),
        tuple(layer.warm_c for layer in load.layers),
        kiln.removed_kg,
        kiln.air_kg_s(weather.temperature_c),
        kiln.lit(),
        wrong,
    )


class _Fire:
    """A fire that is stoked by hand: it wanders about what is wanted."""

    def __init__(self, rng: Random, noise: float) -> None:
        self._rng, self._noise, self._off = rng, noise, 0.0

    def wander(self) -> float:
        """The next minute's fire as a share of the wanted."""
        keep = math.exp(-STEP_S / 2400.0)
        self._off = self._off * keep + 0.04 * math.sqrt(1.0 - keep * keep) * self._rng.gauss(0.0, 1.0)
        return 1.0 + self._noise * self._off


class _Probes:
    """Lag, bias, noise and tenths."""

    LAGS_S: Mapping[str, float] = {"air-on": 120.0, "grain": 300.0, "air-off": 120.0}

    def __init__(self, rng: Random, noise: float) -> None:
        self._rng, self._noise = rng, noise
        names = ("air-on", "grain", "air-off", "outdoors-air")
        self._bias = {name: rng.gauss(0.0, 0.25) for name in names}
        self._bias |= {name: rng.gauss(0.0, 2.0) for name in ("humidity", "outdoors-humidity")}
        self._felt: dict[str, float] = {}

    def read(self, kiln: Kiln, weather: Weather) -> dict[str, float]:
        """What every probe says now."""
        true = {
            "air-on": kiln.air_on_c,
            "grain": kiln.warm_at(GRAIN_M),
            "air-off": kiln.load.off_c,
            "outdoors-air": weather.temperature_c,
            "humidity": 100.0 * kiln.off_rh_at_probe(),
            "outdoors-humidity": 100.0 * weather.rh,
        }
        said = {name: self._say(name, value) for name, value in true.items()}
        flow = kiln.air_kg_s(weather.temperature_c) / 1.22 * 3600.0
        return said | {
            "flow": round(flow * (1.0 + 0.03 * self._noise * self._rng.gauss(0.0, 1.0))),
            "co": round(kiln.co_ppm()),
        }

    def _say(self, name: str, true: float) -> float:
        before = self._felt.get(name, true)
        lag_s = self.LAGS_S.get(name, 60.0)
        felt = self._felt[name] = before + (true - before) * (1.0 - math.exp(-STEP_S / lag_s))
        wet = name.endswith("humidity")
        spread = 0.5 if wet else 0.06
        value = felt + self._noise * (self._bias[name] + spread * self._rng.gauss(0.0, 1.0))
        return round(min(100.0, max(0.0, value)) if wet else value, 1)
