"""What is kept comes back exactly, and a value kept briefly leaves out only what stands at its default."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.core import codec
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
