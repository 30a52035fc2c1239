"""The same night through a bad link ends in the same alarms; what came twice or too late is kept once."""

from collections import Counter
from collections.abc import Callable
from itertools import pairwise

import pytest

from simulators.mishaps import Mishaps, Timed
from tests.scenarios.floor import HOUR, MINUTE, Night, spoilt
from tests.scenarios.gate import Alarm, Gate
from tests.scenarios.story import replayed, same, show, story

#: max(2 min, 3 intervals of 60 s).
WITHIN_MS = 3 * MINUTE
BAD = Mishaps(drop=0.05, double=0.08, delay=0.15, delay_s=150.0, reorder=0.08)


@pytest.mark.parametrize("seed", [3, 14, 159])
def test_a_bad_link_ends_in_the_same_alarms(
    full_night: Night, undisturbed: list[Alarm], gates: Callable[..., Gate], seed: int
) -> None:
    messages, happened = spoilt(full_night, BAD, seed)
    gate = gates(full_night.start_ms)
    told = story(gate, full_night, messages)
    told.until(full_night.start_ms + 8 * HOUR)
    by_link = _silenced_by_the_link(gate, messages)
    known = {one.name for one in undisturbed}
    found = [one for one in gate.alarms() if one.name in known or one.name not in by_link]
    apart_ms = same(found, undisturbed, WITHIN_MS)
    compared = replayed(gate)
    show(f"seed {seed}: {happened}, {len(messages)} of {len(full_night.messages)} messages came, "
         f"{len(undisturbed)} alarms compared, at most {apart_ms / 1000:.0f} s apart; "
         f"{gate.counts()}; {compared} effects live = replay")  # fmt: skip
    _each_message_is_accounted_for(gate, [(one.topic, one.payload) for one in told.brought])


def _silenced_by_the_link(gate: Gate, messages: list[Timed]) -> set[tuple[str, str | None, str | None, int]]:
    """A link so bad that nothing came of a probe for its whole allowance: then its silence is true,
    and where it watches the air, nothing is known of that."""
    silenced: set[tuple[str, str | None, str | None, int]] = set()
    for probe in gate.settings.site.probes:
        came = sorted(one.at_s for one in messages if one.topic == probe.topic)
        gaps = sum(after - before >= probe.silent_after_s for before, after in pairwise(came))
        kinds = ["probe_silent"] + ["air_unknown"] * (probe.quantity in ("co2", "co"))
        silenced |= {(kind, probe.place, probe.id, n) for kind in kinds for n in range(1, gaps + 1)}
    return silenced


def _each_message_is_accounted_for(gate: Gate, came: list[tuple[str, bytes]]) -> None:
    """A copy of a message with its own time is a duplicate; of one without, another reading."""
    timeless = {probe.topic for probe in gate.settings.site.probes if probe.payload == "number"}
    copies = Counter(one for one in came if one[0] not in timeless)
    counts = gate.counts()
    assert counts["received"] == len(came)
    assert counts["duplicates"] == sum(count - 1 for count in copies.values())
    assert counts["kept"] == len(came) - counts["duplicates"]
    assert "refused" not in counts
    assert len(gate.bench.settled) == len(came)
    assert not gate.bench.waiting


@pytest.mark.long
@pytest.mark.parametrize("seed", range(20, 50))
def test_thirty_more_bad_links(
    full_night: Night, undisturbed: list[Alarm], gates: Callable[..., Gate], seed: int
) -> None:
    test_a_bad_link_ends_in_the_same_alarms(full_night, undisturbed, gates, seed)


def test_garbage_is_kept_aside_with_its_reason_and_only_its_probes_are_doubted(
    full_night: Night, undisturbed: list[Alarm], gates: Callable[..., Gate]
) -> None:
    messages, happened = spoilt(full_night, Mishaps(garbage=0.05), 26)
    gate = gates(full_night.start_ms)
    told = story(gate, full_night, messages)
    told.until(full_night.start_ms + 8 * HOUR)
    assert gate.reader is not None
    reasons = Counter({one.reason: 0 for one in gate.reader.rejected_counts()})
    for one in gate.reader.rejected_counts():
        reasons[one.reason] += one.times
    show(f"seed 26: {happened}, refused {dict(reasons)}")
    counts = gate.counts()
    assert counts["received"] == len(told.brought) == counts["kept"] + counts["refused"]
    assert counts["refused"] == sum(reasons.values()) == len(gate.reader.rejected(20_000))
    # Some garbage is a good number of a probe that sends bare ones; none may pass for a document.
    assert happened["garbage"] * 0.9 <= counts["refused"] <= happened["garbage"]
    # -9999 again and again, or half of a bare number, is said of the probe that sends it, of nothing else.
    said = [one for one in gate.alarms() if one.kind in ("probe_sentinel", "probe_jumps")]
    show(f"doubted for garbage: {Counter((one.kind, one.probe) for one in said)}")
    same([one for one in gate.alarms() if one not in said], undisturbed, WITHIN_MS)
    replayed(gate)
