"""What is kept comes back exactly, and a value kept briefly leaves out only what stands at its default."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.core import codec, engine
from gateway.core.estimate.bed_heat.state import Promise
from gateway.core.rules.limits import Mark
from gateway.core.window import Window

_NUMBER = st.floats(allow_nan=False, allow_infinity=False)
_WINDOWS = st.builds(
    Window,
    value=st.none() | _NUMBER,
    measured_ms=st.integers(0, 2**45),
    flags=st.integers(0, 255),
    silent=st.booleans(),
    refused=st.text(max_size=5),
    times=st.lists(st.integers(0, 3_000_000), max_size=4),
    values=st.lists(_NUMBER, max_size=4),
)
_MARKS = st.builds(Mark, over_since_ms=st.integers(0, 5), peak=_NUMBER, told=st.booleans())


@given(_WINDOWS | _MARKS)
def test_what_is_kept_comes_back_bit_by_bit(what: Window | Mark) -> None:
    kept = json.loads(json.dumps(codec.plain(what)))

    assert repr(codec.restore(type(what), kept)) == repr(what)


def test_a_row_is_a_list_of_its_fields_and_its_older_form_is_still_read() -> None:
    promise = Promise(1_772_577_000_000, 17.273, 0.4611, 1_772_558_400_000)
    kept = json.loads(json.dumps(codec.plain(promise)))

    assert kept == [1_772_577_000_000, 17.273, 0.4611, 1_772_558_400_000]
    assert codec.restore(Promise, kept) == promise
    older = {"due_ms": kept[0], "value_c": kept[1], "sd_k": kept[2], "began_ms": kept[3]}
    assert codec.restore(Promise, older) == promise
    with pytest.raises(ValueError, match="Promise: expected at most 4 values, got 5"):
        codec.restore(Promise, [*kept, 0])


def test_only_defaults_are_left_out_of_a_brief_value() -> None:
    assert codec.plain(Mark()) == {}
    assert codec.plain(Mark(over_n=1, peak=-0.0)) == {"over_n": 1, "peak": -0.0}
    assert codec.restore(Mark, {"over_n": 1}) == Mark(over_n=1)


#: What the last version with the names below kept: a bed, a kiln drying, four hours of readings.
BEFORE = Path(__file__).with_name("state_of_the_version_before.json")
RETIRED = {"watched_min", "balanced", "broken_ms", "sprinkled_ms"}


def _without(kept: Any, names: set[str]) -> Any:
    if isinstance(kept, dict):
        return {key: _without(item, names) for key, item in kept.items() if key not in names}
    return [_without(item, names) for item in kept] if isinstance(kept, list) else kept


def _lost(kept: Any, now: Any, at: str = "") -> list[str]:
    """Where something of `kept` is not in `now`; what has come since is no loss."""
    if isinstance(kept, dict) and isinstance(now, dict):
        found = [f"{at}/{key}" for key in kept.keys() - now.keys()]
        return found + [
            one for key in kept.keys() & now.keys() for one in _lost(kept[key], now[key], f"{at}/{key}")
        ]
    if isinstance(kept, list) and isinstance(now, list) and len(kept) <= len(now):
        return [one for i, item in enumerate(kept) for one in _lost(item, now[i], f"{at}/{i}")]
    return [] if kept == now and type(kept) is type(now) else [at]


def test_a_state_of_the_version_before_is_read_and_loses_only_what_is_gone() -> None:
    before = json.loads(BEFORE.read_bytes())
    kilning = before["kilns"]["now"]["kiln"]
    assert kilning["watched_min"] > 0.0
    assert kilning["load"]["balanced"] is True
    assert {"broken_ms", "sprinkled_ms"} <= before["pieces"]["now"]["pieces"]["14"].keys()

    kept = engine.dump(engine.load(BEFORE.read_bytes()))

    assert _lost(_without(before, RETIRED), json.loads(kept)) == []
    assert not [name for name in RETIRED if f'"{name}"'.encode() in kept]


def test_what_is_neither_a_field_nor_gone_is_refused() -> None:
    before = json.loads(BEFORE.read_bytes())
    before["kilns"]["now"]["kiln"]["watched_h"] = 3.9

    with pytest.raises(
        ValueError, match=r"not a state of this version: Kilning: unknown keys \['watched_h'\]"
    ):
        engine.load(json.dumps(before).encode())


@dataclass
class _RowBefore:
    ROW: ClassVar[bool] = True

    turn: int
    sway: float
    bed: str = ""


@dataclass
class _RowNow:
    ROW: ClassVar[bool] = True
    GONE: ClassVar[dict[str, int]] = {"sway": 1}

    turn: int
    bed: str = ""
    took_s: int = 60


@pytest.mark.parametrize("old", [_RowBefore(7, -0.5, "bed-a"), _RowBefore(7, 1.0)])
def test_a_row_with_a_field_gone_keeps_its_places_and_reads_every_older_one(old: _RowBefore) -> None:
    kept = codec.plain(old)
    assert codec.restore(_RowNow, kept) == _RowNow(7, old.bed)
    assert codec.restore(_RowNow, kept[:2]) == _RowNow(7)
    assert codec.restore(_RowNow, {"turn": 7, "sway": -0.5, "bed": old.bed}) == _RowNow(7, old.bed)

    now = codec.plain(_RowNow(7, "bed-a", 90))
    assert now == [7, 0, "bed-a", 90]
    assert codec.restore(_RowNow, now) == _RowNow(7, "bed-a", 90)
    with pytest.raises(ValueError, match="_RowNow: expected at most 4 values, got 5"):
        codec.restore(_RowNow, [*now, 0])


def test_a_row_whose_last_field_is_gone_may_get_another() -> None:
    @dataclass
    class Ended:
        ROW: ClassVar[bool] = True
        GONE: ClassVar[dict[str, int]] = {"b": 1, "c": 2}

        a: int
        d: int = 0

    assert codec.plain(Ended(1, 4)) == [1, 0, 0, 4]
    assert [codec.restore(Ended, kept) for kept in ([1], [1, 2], [1, 2, 3], [1, 2, 3, 4])] == [
        Ended(1), Ended(1), Ended(1), Ended(1, 4),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("gone", "fault"),
    [
        ({"turn": 1}, "a name is not taken again"),
        ({"b": 3}, "cannot have stood"),
        (("b",), "the place of each"),
    ],
)
def test_what_is_gone_in_a_way_that_cannot_be_is_refused_before_anything_is_read(
    gone: Any, fault: str
) -> None:
    @dataclass
    class Odd:
        ROW: ClassVar[bool] = True
        GONE: ClassVar[Any] = gone

        turn: int

    with pytest.raises(TypeError, match=fault):
        codec.restore(Odd, [1])
