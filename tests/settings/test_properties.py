"""Whatever is written in a site file: faults or settings, never anything else, and never without bound."""

import json
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.core import codec
from gateway.core.site import Site
from gateway.settings import Fault, SiteFault, check_text, load
from gateway.settings.fault import MOST_FAULTS
from gateway.settings.forms import DayForm, ProbeForm
from gateway.settings.load import ARRAYS, TABLES
from gateway.settings.locate import Lines
from gateway.settings.read import parse
from gateway.settings.words import keys_of
from tests.settings.sites import SITE, write

WORDS = [
    "bed-a",
    "bed-b",
    "lower",
    "ada",
    "temperature",
    "co2",
    "Cel",
    "bed",
    "kiln",
    "slow",
    "hot",
    "daily",
    "06:00",
]
SCALARS = st.one_of(
    st.sampled_from(WORDS),
    st.text(max_size=8),
    st.booleans(),
    st.integers(-(10**30), 10**30),
    st.integers(-5, 50),
    st.floats(),
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["id", "day", "x"]), inner, max_size=2)
    ),
    max_leaves=4,
)


def toml(value: Any) -> str:
    """A value as TOML on one line."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(value.replace("\x7f", ""))
    if isinstance(value, list):
        return "[" + ", ".join(toml(item) for item in value) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(key)} = {toml(item)}" for key, item in value.items()) + "}"
    return repr(value)


def tables(name: str, form: type, double: bool) -> st.SearchStrategy[str]:
    """A table of that form, each of its keys with any value, as TOML."""
    keys = st.dictionaries(st.sampled_from([*keys_of(form), "zzz"]), VALUES, max_size=8)
    header = f"[[{name}]]" if double else f"[{name}]"
    return keys.map(
        lambda row: "\n".join([header, *(f"{key} = {toml(item)}" for key, item in row.items())]) + "\n"
    )


SINGLE = [tables(name, form, False) for name, form in TABLES.items()]
DOUBLE = [tables(name, form, True) for name, form in ARRAYS.items()]
PROGRAMMES = [tables("programme.hot.day", DayForm, True), tables("programme.hot.stage", ProbeForm, True)]
SITES = st.tuples(
    st.tuples(*[st.just("") | table for table in SINGLE]),
    st.lists(st.one_of(*DOUBLE), max_size=8),
    st.just("") | st.one_of(*PROGRAMMES),
).map(lambda parts: "".join([*parts[0], *parts[1], parts[2]]))


def sane(faults: list[Fault]) -> None:
    """Every fault has a reason, and there are not too many, nor too long ones."""
    assert len(faults) <= MOST_FAULTS + 1
    for fault in faults:
        assert fault.expected
        assert len(str(fault)) < 2000
        assert "\n" not in str(fault)


@given(text=SITES)
@settings(max_examples=300, deadline=None)
def test_any_table_with_any_values_is_judged(text: str) -> None:
    faults, warnings = check_text(text)
    sane(faults + warnings)


@given(text=st.text(max_size=400))
@settings(max_examples=200, deadline=None)
def test_any_text_is_judged(text: str) -> None:
    faults, _ = check_text(text)
    sane(faults)
    assert faults


@given(data=st.binary(max_size=300))
@settings(max_examples=200, deadline=None)
def test_any_bytes_are_read_or_one_fault(data: bytes) -> None:
    faults: list[Fault] | None
    try:
        faults = [] if isinstance(parse(data, "x").data, dict) else None
    except SiteFault as caught:
        faults = list(caught.faults)
    assert faults is not None
    assert len(faults) <= 1


@given(at=st.integers(0, len(SITE) - 1), length=st.integers(0, 30), new=st.text(max_size=12))
@settings(max_examples=400, deadline=None)
def test_a_good_site_with_a_slip_of_the_pen_is_judged(at: int, length: int, new: str) -> None:
    text = SITE[:at] + new + SITE[at + length :]
    faults, warnings = check_text(text)
    sane(faults + warnings)
    lines = text.count("\n") + 1
    assert all(fault.line is None or 1 <= fault.line <= lines for fault in faults)


@given(text=SITES)
@settings(max_examples=200, deadline=None)
def test_each_key_is_found_on_the_line_it_was_written(text: str) -> None:
    counts: dict[str, int] = {}
    table: tuple[str | int, ...] = ()
    lines = Lines(text)
    for number, line in enumerate(text.splitlines() if "\r" not in text else [], start=1):
        if line.startswith("[["):
            name = line.strip("[]")
            counts[name] = counts.get(name, -1) + 1
            table = (*name.split("."), counts[name])
        elif line.startswith("["):
            table = tuple(line.strip("[]").split("."))
        else:
            assert lines.find((*table, line.partition(" = ")[0])) == number


def test_a_large_site_is_read_in_bounded_time(tmp_path: Path) -> None:
    """The largest file that is taken, nearly all of it rows; the test would hang if this were quadratic."""
    rows = "".join(
        f'[[probe]]\nid = "p{i}"\nplace = "lower-room"\nquantity = "temperature"\nevery_s = {i + 1}\n'
        for i in range(4900)
    )
    site = load(write(tmp_path, SITE + rows), {}).site
    assert len(site.probes) == 4904
    assert codec.restore(Site, codec.plain(site)) == site
