"""Nights that seldom come: what the pages are given where a site is small, large or new, or much is wrong."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from gateway import settings
from gateway.core.inputs import Cast, Condition, Event, KilnWorked, Loaded, Turned
from simulators.mishaps import Timed
from simulators.run import read_site
from tests.browser.lived import START, Begin, Lived
from tests.cli.house import site_file
from tests.scenarios import kilns
from tests.scenarios.floor import CONFIG, HOUR, MINUTE, live, ms
from tests.scenarios.gate import Gate, Hand
from tests.scenarios.story import Story

Value = Callable[[float], float | None]
#: Names as long as a site file takes them: of many words, and of one.
LONG = ("Lower growing floor by the river, gate {}", "Obergeschossschwelktennenabschnittostt{}")


def swap(lived: Lived, topics: Iterable[str], value: Value) -> None:
    """From now on these probes say something else: `value` of the hours from now; None: what they would."""
    start_s, ends = lived.now_ms() / 1000, tuple(topics)
    found = []
    for one in lived.story.messages:
        hours = (one.at_s - start_s) / 3600
        said = value(hours) if one.topic.endswith(ends) and hours > 0 else None
        payload = one.payload
        if said is not None:
            payload = json.dumps(json.loads(payload) | {"v": round(said, 1)}).encode()
        found.append(Timed(one.at_s, one.topic, payload))
    lived.story.messages = found


def hush(lived: Lived, topics: Iterable[str] = ("",)) -> None:
    """From now on nothing comes of these probes; of all, where none is named."""
    now_s, ends = lived.now_ms() / 1000, tuple(topics)
    kept = [one for one in lived.story.messages if one.at_s <= now_s or not one.topic.endswith(ends)]
    lived.story.messages = kept


def condition(lived: Lived, name: str) -> None:
    """One of the gateway's surroundings fails, and two minutes pass."""
    lived.note(Condition(name, True, "tried in a test"))
    lived.let_pass(2)


def gate_of(folder: Path, text: str, start_ms: int) -> Gate:
    """A gateway, begun, of a site file with that text."""
    folder.mkdir(parents=True, exist_ok=True)
    for one in CONFIG.parent.glob("*.toml"):
        shutil.copy(one, folder)
    path = site_file(folder)
    path.write_text(text)
    gate = Gate(folder / "store", settings.load(path, {}), Hand(start_ms))
    gate.open()
    return gate


def _example() -> tuple[str, str, str]:
    """The example's site file for tests: before its floors, its places and probes, its people."""
    text = CONFIG.read_text().replace("127.0.0.1:8471/", "127.0.0.1:1/")
    for port in ("8470", "8480"):
        text = text.replace(f'listen = "127.0.0.1:{port}"', 'listen = "127.0.0.1:0"')
    floor, person = text.index("[[floor]]"), text.index("[[person]]")
    return text[:floor], text[floor:person], text[person:]


def _table(kind: str, values: Mapping[str, Any]) -> str:
    return "\n".join([f"[[{kind}]]", *(f"{key} = {json.dumps(value)}" for key, value in values.items()), ""])


def plain(name: str) -> str:
    """bed-1 as people would write it."""
    return name.replace("-", " ").capitalize()


def lengthy(name: str) -> str:
    """A name as long as may be, for the place of that id."""
    return LONG[name.endswith("2")].format(name[-1])


def site_text(floors: Mapping[str, int], names: Callable[[str], str] = plain) -> str:
    """A site of so many beds of 10 m on each floor, two thermometers a bed, each floor with its room."""
    head, _, tail = _example()
    if names is lengthy:
        head = head.replace(
            'name = "Quern Hill Maltings"', 'name = "Quern Hill and Tannery Lane Maltings Co."'
        )
    found = [head]
    for floor, beds in floors.items():
        found.append(_table("floor", {"id": floor, "length_m": 10 * beds, "volume_m3": 350 * beds}))
        for at in range(beds):
            bed = f"{floor}-{at + 1}"
            found.append(
                _table(
                    "place",
                    {"id": bed, "kind": "bed", "name": names(bed), "floor": floor, "from_m": 10 * at,
                     "to_m": 10 * at + 10, "programme": "floor", "full_t": 8},
                )
            )  # fmt: skip
            for height in (3, 13):
                found.append(
                    _table("probe", _probe(f"{bed}-{height}", bed, "temperature", "Cel", height, 10 * at + 5))
                )
        room = f"{floor}-room"
        found.append(
            _table(
                "place",
                {"id": room, "kind": "room", "name": names(room), "floor": floor, "volume_m3": 350 * beds},
            )
        )
        found.append(
            _table("probe", _probe(f"{room}-co2", room, "co2", "ppm", 30, 5) | {"range": [0, 50000]})
        )
    return "\n".join([*found, tail])


def _probe(name: str, place: str, quantity: str, unit: str, height: int, at_m: int) -> dict[str, Any]:
    return {
        "id": name, "place": place, "quantity": quantity, "unit": unit, "height_cm": height, "at_m": at_m,
        "every_s": 60, "range": [-20, 60],
    }  # fmt: skip


def house(text: str, hours_since: Callable[[int], tuple[float, float]]) -> Begin:
    """A site file's own night: `hours_since` casting and turn of its first bed, its second, …"""

    def begin(folder: Path, hours: float, ahead_h: float) -> tuple[Gate, Story]:
        gate = gate_of(folder, text, ms(START))
        beds = [place.id for place in gate.settings.site.places if place.kind == "bed"]
        starts = {}
        for at, bed in enumerate(beds):
            age_h, turned_h = hours_since(at)
            starts[bed] = {"age_h": age_h, "since_turn_h": turned_h, "temperature_c": 15.0 + 0.4 * turned_h}
            gate.record(Cast(bed, str(11 + at), when_ms=ms(START) - round(age_h * HOUR)))
            gate.record(Turned(bed, by="ada", when_ms=ms(START) - round(turned_h * HOUR)))
        tables = read_site(folder / "site.toml")
        messages = live(START, hours + ahead_h, tables=tables, starts=starts).messages
        story = Story(gate, ms(START), messages)
        story.until(ms(START) + round(hours * HOUR))
        return gate, story

    return begin


def first_start(folder: Path, hours: float, ahead_h: float) -> tuple[Gate, Story]:
    """The example site, a minute after it was first started: nothing recorded, nothing heard."""
    gate = gate_of(folder, "".join(_example()), ms(START))
    story = Story(gate, ms(START), [])
    story.until(ms(START) + round(hours * HOUR))
    return gate, story


def nobody_recorded(folder: Path, hours: float, ahead_h: float) -> tuple[Gate, Story]:
    """The example's floor, full of grain that nobody wrote down; its room has a thermometer."""
    gate = gate_of(folder, "".join(_example()), ms(START))
    story = Story(gate, ms(START), live(START, hours + ahead_h).messages)
    story.until(ms(START) + round(hours * HOUR))
    return gate, story


_KILN = {
    "on": ("kiln-air-on", "temperature", "Cel", -50),
    "grain": ("kiln-grain", "temperature", "Cel", 25),
    "off": ("kiln-air-off", "temperature", "Cel", 150),
    "damp": ("kiln-humidity", "humidity", "%RH", 150),
    "out": ("outdoors-air", "temperature", "Cel", 150),
    "out-damp": ("outdoors-damp", "humidity", "%RH", 150),
}


def _kiln_text() -> str:
    head, _, tail = _example()
    found = [head.replace('"kiln-programme.toml"', '"early.toml"')]
    found.append(_table("floor", {"id": "lower", "length_m": 10}))
    bed = {"id": "bed-a", "kind": "bed", "name": "Bed A", "floor": "lower", "from_m": 0, "to_m": 10}
    found.append(_table("place", bed | {"programme": "floor"}))
    found.append(_table("place", {"id": "kiln", "kind": "kiln", "name": "Kiln", "programme": "kiln"}))
    found.append(_table("place", {"id": "outdoors", "kind": "outdoors", "name": "Outdoors"}))
    for name, quantity, unit, height in _KILN.values():
        probe = {"id": name, "place": name.split("-")[0], "quantity": quantity, "unit": unit}
        found.append(_table("probe", probe | {"height_cm": height, "every_s": 60, "range": [-40, 130]}))
    return "\n".join([*found, tail])


def kiln_taken_back(folder: Path, hours: float, ahead_h: float) -> tuple[Gate, Story]:
    """A kiln whose break was seen, hand-dry recorded on its word, the fire raised; then it comes off wet."""
    folder.mkdir(parents=True, exist_ok=True)
    shipped = (CONFIG.parent / "kiln-programme.toml").read_text()
    (folder / "early.toml").write_text(shipped.replace("from_h = 24", "from_h = 12"))
    gate = gate_of(folder, _kiln_text(), kilns.START)
    world = kilns.World(programme=((0.0, 45.0), (20.4, 45.0), (22.0, 50.0), (99.0, 50.0)))
    messages: list[Timed] = []
    for minute in range(round((hours + ahead_h) * 60)):
        if minute == 30:
            world.lit, world.lit_minute = True, minute
        if minute == round(21.1 * 60):
            # As if the load had been far wetter on one side, and that side came on top.
            for layer in world.load.layers:
                layer.moisture_db = max(layer.moisture_db, 0.45)
        world.step()
        at_s = kilns.START / 1000 + 60.0 * (minute + 1)
        for key, value in world.readings():
            name = _KILN[key][0]
            body = json.dumps({"v": round(value, 2), "t": at_s}).encode()
            messages.append(Timed(at_s, f"quern-hill/{name.split('-')[0]}/{name}", body))
    story = Story(gate, kilns.START, messages)
    done: list[tuple[float, Event]] = [
        (0.02, Cast("bed-a", "9")),
        (0.03, Loaded("bed-a", "kiln", by="ada")),
        (0.5, KilnWorked("lit", "kiln", by="ada")),
        (20.9, KilnWorked("hand-dry", "kiln", by="ben")),
    ]
    for at_h, event in done:
        story.do(kilns.START + round(at_h * HOUR), event)
    story.until(kilns.START + round(hours * HOUR), step_ms=MINUTE)
    return gate, story
