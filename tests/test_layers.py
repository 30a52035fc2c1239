"""Who may import whom: the table as data, and a reader of imports that holds the tree to it."""

import ast
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = ("gateway", "simulators")

# Values and arithmetic only. zoneinfo and hashlib are here because they turn the same argument into
# the same answer every time; everything with a socket, file, clock, thread, log or chance is not.
PURE = frozenset(
    """__future__ abc array base64 binascii bisect calendar cmath codecs collections contextlib copy
    dataclasses datetime decimal enum fractions functools graphlib hashlib heapq hmac ipaddress
    itertools json keyword math numbers operator re statistics string struct textwrap types typing
    unicodedata zlib zoneinfo""".split()
)


class Room(NamedTuple):
    """What the modules of one room may import, besides themselves."""

    inside: tuple[str, ...] = ()
    libraries: tuple[str, ...] = ()
    pure: bool = False


VALUES = ("gateway.core", "gateway.ports", "gateway.errors")
# The nearest name that stands before a module's own decides; `gateway.__version__` is open to all.
ROOMS: dict[str, Room] = {
    "gateway": Room(),
    "gateway.__main__": Room(("gateway.cli",)),
    "gateway.errors": Room(pure=True),
    "gateway.core": Room(("gateway.core",), pure=True),
    "gateway.core.estimate": Room(("gateway.core",), ("numpy",), pure=True),
    "gateway.ports": Room(("gateway.core", "gateway.errors"), pure=True),
    "gateway.deliver": Room(VALUES),
    "gateway.mirror": Room(VALUES),
    "gateway.pipeline": Room(VALUES),
    "gateway.replay": Room(VALUES, ("numpy",)),
    "gateway.settings": Room(("gateway.core", "gateway.errors"), ("pydantic",)),
    # The rows of the JSON interface are the command line's: one place makes both.
    "gateway.web": Room(
        (*VALUES, "gateway.web.pages", "gateway.show.documents"),
        ("argon2", "fastapi", "jinja2", "starlette", "uvicorn"),
    ),
    "gateway.web.pages": Room(VALUES, pure=True),
    "gateway.show": Room(VALUES, ("rich",)),
    "gateway.edges": Room(VALUES),
    "gateway.edges.mqtt": Room(VALUES, ("paho",)),
    "gateway.edges.sqlite": Room(VALUES, ("sqlite3",)),
    "gateway.edges.influx": Room(VALUES, ("influxdb_client", "urllib3")),
    "gateway.edges.phone": Room(VALUES, ("cryptography", "requests")),
    "gateway.edges.timer": Room(VALUES, ("apscheduler",)),
    "gateway.live": Room(("gateway",)),
    "gateway.cli": Room((*VALUES, "gateway.live", "gateway.replay", "gateway.settings", "gateway.show")),
    "simulators": Room(("simulators",), pure=False),
    "simulators.run": Room(("simulators",), ("paho",)),
    "simulators.picture": Room(("simulators",), ("matplotlib",)),
} | {
    # The physics and the instrument are seeded and have no clock; chance comes from a given generator.
    f"simulators.{name}": Room(("simulators",), ("random",), pure=True)
    for name in (
        "air airing bed doings encode grain kiln kilning load mishaps probe room solve weather"
    ).split()
}
# Libraries of the standard one that belong to a room like a foreign one; and import by a string,
# which this test could not see. (importlib.resources and importlib.metadata remain.)
OWNED = ("sqlite3",)
HIDDEN = ("importlib.import_module", "importlib.util", "importlib.machinery", "runpy")


def _starts(name: str, prefix: str) -> bool:
    """Whether the dotted name is the prefix or lies under it."""
    return name == prefix or name.startswith(prefix + ".")


def room_of(module: str) -> tuple[str, Room]:
    """The nearest room: `gateway.edges.mqtt_queue` belongs to `gateway.edges.mqtt`, `x.y.z` to `x.y`."""
    near = [key for key in ROOMS if _starts(module, key) or module.startswith(key + "_")]
    key = max(near, key=len)
    return key, ROOMS[key]


def _self(module: str, key: str) -> tuple[str, ...]:
    """The names that are a module's own room; each edge is a room of its own, even without a library."""
    if key == "gateway":
        return (module,)
    if key == "gateway.edges":
        return (".".join(module.split(".")[:3]).split("_")[0],)
    return (key,)


def imports(source: str, module: str) -> Iterator[tuple[int, str]]:
    """(line, dotted name) of everything the source imports, wherever it stands in it."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            parents = module.split(".")
            base = ".".join(parents[: len(parents) - node.level]) if node.level else ""
            start = ".".join(part for part in (base, node.module) if part)
            yield from ((node.lineno, f"{start}.{alias.name}") for alias in node.names)
        elif isinstance(node, ast.Name) and node.id == "__import__":
            yield node.lineno, "importlib.import_module"


def why_not(module: str, name: str) -> str | None:
    """Why that module may not import that name; None if it may."""
    key, room = room_of(module)
    root = name.split(".", maxsplit=1)[0]
    if name == "gateway.__version__":
        return "the core does not know its version" if _starts(module, "gateway.core") else None
    if root in PACKAGES:
        allowed = (*room.inside, *_self(module, key))
        known = any(_starts(name, one) or name.startswith(one + "_") for one in allowed)
        return None if known else f"{key} may import of ours only {', '.join(allowed)}"
    if root in room.libraries:
        return None
    if name == "importlib" or any(_starts(name, hidden) for hidden in HIDDEN):
        return "an import by a string hides from this test"
    if root not in sys.stdlib_module_names or root in OWNED:
        return f"{root} belongs to another room than {key}"
    return f"{root} is not pure, and {key} is" if room.pure and root not in PURE else None


def breaches(source: str, module: str) -> list[str]:
    """One line for each import the table does not allow."""
    found = ((line, name, why_not(module, name)) for line, name in imports(source, module))
    return [f"{module}:{line} imports {name}: {why}" for line, name, why in found if why]


def modules() -> list[tuple[str, Path]]:
    """(dotted name, file) of every module of ours; a package counts by the name of its folder."""
    files = sorted(file for package in PACKAGES for file in (ROOT / package).rglob("*.py"))
    return [(".".join(_parts(file)), file) for file in files]


def _parts(file: Path) -> tuple[str, ...]:
    parts = file.relative_to(ROOT).with_suffix("").parts
    return parts[:-1] if parts[-1] == "__init__" else parts


def test_the_tree_keeps_the_table() -> None:
    tree = modules()
    assert tree, "no module found: is this the repository?"
    found = [one for name, file in tree for one in breaches(file.read_text(), _for_relative(name, file))]
    assert not found, "\n" + "\n".join(found)


def _for_relative(name: str, file: Path) -> str:
    """A package's own relative imports start at itself, a module's at its parent."""
    return f"{name}.__init__" if file.name == "__init__.py" else name


BREACHES = [
    ("gateway.core.alarm", "import socket", "not pure"),
    ("gateway.core.alarm", "import threading", "not pure"),
    ("gateway.core.alarm", "import logging", "not pure"),
    ("gateway.core.alarm", "from random import random", "not pure"),
    ("gateway.core.alarm", "import time", "not pure"),
    ("gateway.core.alarm", "from pathlib import Path", "not pure"),
    ("gateway.core.alarm", "import numpy", "numpy belongs"),
    ("gateway.core.alarm", "from gateway.errors import StoreFault", "may import of ours only"),
    ("gateway.core.alarm", "from gateway import ports", "may import of ours only"),
    ("gateway.core.alarm", "from gateway import __version__", "does not know its version"),
    ("gateway.core.rules.kiln", "def f() -> None:\n    import gateway.pipeline", "may import of ours only"),
    ("gateway.core.rules.kiln", "from ...edges import sqlite", "may import of ours only"),
    ("gateway.core.estimate.heat", "import scipy", "scipy belongs"),
    ("gateway.core.wire.json", "__import__('socket')", "hides"),
    ("gateway.ports", "from gateway.pipeline import intake", "may import of ours only"),
    ("gateway.pipeline", "from gateway.edges.sqlite import Store", "may import of ours only"),
    ("gateway.pipeline", "import sqlite3", "sqlite3 belongs"),
    ("gateway.replay", "from gateway import live", "may import of ours only"),
    ("gateway.edges.mqtt", "from gateway.edges.sqlite import Store", "may import of ours only"),
    ("gateway.edges.mqtt", "import requests", "requests belongs"),
    ("gateway.edges.control", "from gateway.edges import door", "may import of ours only"),
    ("gateway.edges.clock", "from gateway.edges import control", "may import of ours only"),
    ("gateway.edges.door", "from paho.mqtt import client", "paho belongs"),
    ("gateway.edges.phone.webhook", "import importlib\nimportlib.import_module", "hides"),
    ("gateway.web.app", "from gateway.edges.sqlite import Reader", "may import of ours only"),
    ("gateway.settings.read", "from gateway.live import run", "may import of ours only"),
    ("gateway.show.beds", "import pydantic", "pydantic belongs"),
    ("gateway.cli", "from gateway.edges.sqlite import Reader", "may import of ours only"),
    ("gateway.cli", "import rich", "rich belongs"),
    ("gateway.live", "import simulators.bed", "may import of ours only"),
    ("gateway.live", "import paho.mqtt.client", "paho belongs"),
    ("simulators.encode", "from gateway.core.wire import json", "may import of ours only"),
    ("simulators.run", "import gateway", "may import of ours only"),
    ("simulators.bed", "import time", "not pure"),
    ("simulators.site", "import paho", "paho belongs"),
]


@pytest.mark.parametrize(("module", "source", "why"), BREACHES)
def test_a_breach_is_found(module: str, source: str, why: str) -> None:
    found = breaches(source, module)
    assert len(found) >= 1
    assert why in found[-1]
    assert found[-1].startswith(f"{module}:")


ALLOWED = [
    ("gateway.core.rules.kiln", "import math\nfrom gateway.core import alarm\nfrom ..window import Window"),
    ("gateway.core.rules.__init__", "from . import kiln"),
    ("gateway.core.estimate.heat", "import numpy as np"),
    ("gateway.edges.mqtt.client", "import paho.mqtt.client\nfrom gateway.edges.mqtt import queue"),
    ("gateway.edges.mqtt_queue", "from gateway.edges.mqtt_client import Client\nimport threading"),
    ("gateway.edges.sqlite.writer", "import sqlite3\nfrom gateway.ports import Journal"),
    ("gateway.edges.phone.webhook", "import requests\nfrom gateway.edges.phone.sign import sign"),
    ("gateway.edges.door", "import http.server\nfrom gateway.errors import GatewayError"),
    ("gateway.edges.control_words", "from gateway.edges.control import Control"),
    ("gateway.live", "from gateway.edges import clock, control\nfrom gateway import __version__"),
    ("gateway.cli", "from gateway import live, replay, settings\nfrom gateway.show import beds"),
    ("gateway.show.beds", "from rich.table import Table\nfrom importlib.resources import files"),
    ("gateway.__main__", "from gateway.cli.main import main"),
    ("simulators.bed", "import random\nfrom simulators.probe import Probe"),
    ("simulators.run", "import paho.mqtt.client\nimport time"),
]


@pytest.mark.parametrize(("module", "source"), ALLOWED)
def test_what_the_table_allows_passes(module: str, source: str) -> None:
    assert breaches(source, module) == []


def test_each_library_has_one_owner_on_each_side() -> None:
    for package in PACKAGES:
        owned = [name for key, room in ROOMS.items() if _starts(key, package) for name in room.libraries]
        foreign = [name for name in owned if name not in ("numpy", "random")]
        assert sorted(foreign) == sorted(set(foreign))
