"""The dryer's batches before the whole judge, as a site that has air-on and air-off alone would tell them.

No weather, no humidity, no flow: the shipped figures, whatever a sample is taken for.
"""

from __future__ import annotations

import pytest

from gateway.core import engine
from gateway.core.effects import BreakKnown, Effect
from gateway.core.inputs import Entry, Input, KilnWorked, SiteChanged, Started
from gateway.core.reading import OWN_TIME, Reading
from gateway.core.site import Place, Probe, Site
from gateway.settings.kiln import shipped as figures
from gateway.settings.programmes import shipped as programmes
from tests.estimate import kiln_dryer
from tests.estimate.kiln_dryer import Batch, near
from tests.scenarios.kilns import MINUTE, START


def _site(every_s: float) -> Site:
    def probe(name: str, height_cm: float) -> Probe:
        return Probe(
            name, "kiln", "temperature", "Cel", f"qh/kiln/{name}", every_s,
            height_cm=height_cm, silent_after_s=max(900.0, 1.5 * every_s),
        )  # fmt: skip

    return Site(
        "quern-hill", "Quern Hill Maltings", "UTC",
        places=(Place("kiln", "kiln", "Kiln", programme="kiln"),),
        probes=(probe("on", -50.0), probe("off", 150.0)),
        programmes=tuple(programmes().values()),
        kiln=figures(),
    )  # fmt: skip


def _judged(
    batch: Batch, minutes: int, order: tuple[str, ...] = ("on", "off"), every_s: float | None = None
) -> float | None:
    """The sample of the break that stands at the end, a sample taken for so many minutes.

    `order`: of the readings of a moment. `every_s`: how often the site file says they come.
    """
    state, effects, n = engine.new(), list[Effect](), 0

    def lay(at_ms: int, *what: Input) -> None:
        nonlocal n
        entries = [Entry(n + i, at_ms, at_ms, one) for i, one in enumerate(what, 1)]
        n += len(what)
        effects.extend(engine.advance(state, entries, at_ms))

    lay(START, Started("dryer"), SiteChanged(_site(every_s or minutes * 60.0)), KilnWorked("lit", "kiln"))
    for i, (off_c, on_c) in enumerate(zip(batch.product_c, batch.jacket_c, strict=True), 1):
        at_ms = START + i * minutes * MINUTE
        value = {"on": on_c, "off": off_c}
        lay(at_ms, *(Reading(probe, at_ms, value[probe], OWN_TIME) for probe in order))
    known = [one for one in effects if isinstance(one, BreakKnown)]
    if not known or known[-1].state != "announced" or known[-1].at_ms is None:
        return None
    return (known[-1].at_ms - START) / (minutes * MINUTE) - 1


@pytest.mark.data
@pytest.mark.parametrize("minutes", [1, 15])
def test_the_break_is_told_before_the_whole_judge_too(minutes: int) -> None:
    """Every other batch; `naive` is the +5 rule, told of the same ones."""
    told = [(batch, _judged(batch, minutes)) for batch in kiln_dryer.batches()[::2]]
    assert [batch.number for batch, at in told if at is None] == []
    for straight, more in ((True, 0), (False, 1)):
        of = [(batch, at) for batch, at in told if batch.straight == straight]
        naive = sum(near(batch, batch.naive) for batch, _ in of)
        assert sum(near(batch, at) for batch, at in of) >= naive + more


@pytest.mark.data
def test_air_off_that_comes_before_its_air_on_is_judged_with_it() -> None:
    """Every 15 minutes, from probes that are said to tell each minute: the air-on before is too old."""
    for batch in kiln_dryer.batches()[:3]:
        first, after = (_judged(batch, 15, order, 60.0) for order in (("on", "off"), ("off", "on")))
        assert first is not None
        assert after == first
