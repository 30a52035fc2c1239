"""By which reckoning a layer of the kiln's load is judged."""

import pytest

from gateway.core.estimate.kiln_break import ANNOUNCED, NOT_SEEN, WITHDRAWN, BreakSeen
from gateway.core.estimate.moisture import Load, Member
from gateway.core.estimate.moisture_layers import Stack
from gateway.core.follow import kiln_load
from gateway.core.follow.kiln_state import Kilning

#: Dry bases of the driest, the middle and the wettest reckoning; the first and last as shares of the whole.
DRIES_DB, DRIEST_WB, WETTEST_WB = (0.05, 0.25, 0.6), 0.05 / 1.05, 0.6 / 1.6


def _load() -> Load:
    load = Load(4000.0, 5.0)
    for sway, db in zip((-1.0, 0.0, 1.0), DRIES_DB, strict=True):
        load.members.append(Member(sway, Stack([db] * 4, [45.0] * 4, 1000.0), db))
    return load


@pytest.mark.parametrize(
    ("state", "wb"), [(NOT_SEEN, DRIEST_WB), (ANNOUNCED, DRIEST_WB), (WITHDRAWN, WETTEST_WB)]
)
def test_a_break_taken_back_proves_the_driest_reckoning_wrong(state: str, wb: float) -> None:
    kilning = Kilning(load=_load())
    kilning.watch.seen = BreakSeen(state)

    assert kiln_load.layer_wb(kilning, 10.0, 30.0) == pytest.approx(wb)
