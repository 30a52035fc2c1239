"""Forty batches of a vacuum dryer, whose condensate tells when the free liquid was gone: a break with a
truth.

Data: batch-dryer-71 (PyPI process-improve 2.2.0, dryer.csv; after García-Muñoz, PhD thesis, McMaster 2004),
batches 1 to 40. Not a kiln, but the same physics: a plateau while liquid evaporates, then a climb towards
the heat. It names no time step. Here a sample is taken for a quarter of an hour, so that a batch is about as
long as a kilning.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from statistics import median

from gateway.core.estimate.kiln_break import ANNOUNCED, BreakSeen, BreakSettings, BreakWatch, take
from tests.estimate.kiln_worlds import CONFIG

DATA = Path(__file__).resolve().parents[3] / "shared" / "data" / "batch-dryer-71" / "dryer_1_40.csv"
SETTINGS = BreakSettings(**CONFIG["kiln_break"])
SAMPLE_MS = 900_000
NEAR = 10


@dataclass(frozen=True)
class Batch:
    """One batch: product and jacket in C; the samples of the knee and of the naive rule; its kind."""

    number: int
    product_c: tuple[float, ...]
    jacket_c: tuple[float, ...]
    knee: int
    naive: int
    straight: bool


def batches() -> list[Batch]:
    """All batches of the file."""
    rows: dict[int, list[tuple[float, float, float]]] = {}
    with DATA.open() as file:
        for row in csv.DictReader(file):
            told = (row["DryerTemp"], row["JacketTemperature"], row["CollectorTankLevel"])
            product, jacket, tank = (float(cell) for cell in told)
            rows.setdefault(int(float(row["batch_id"])), []).append((product, jacket, tank))
    found = []
    for number, samples in rows.items():
        product_c, jacket_c, level = (tuple(one[i] for one in samples) for i in range(3))
        naive = _naive(product_c)
        found.append(Batch(number, product_c, jacket_c, _knee(level), naive, _straight(product_c, naive)))
    return found


def broke(batch: Batch, settings: BreakSettings = SETTINGS) -> list[BreakSeen]:
    """What is told of the batch, the jacket taken for air-on, no weather; a sample is SAMPLE_MS."""
    watch, told = BreakWatch(), []
    for i, (product_c, jacket_c) in enumerate(zip(batch.product_c, batch.jacket_c, strict=True)):
        told += take(watch, settings, (i + 1) * SAMPLE_MS, product_c, jacket_c, 0.0, weather=False)
    return told


def stands_at(told: list[BreakSeen]) -> float | None:
    """The sample of the announcement that stands at the end; None if none does."""
    if not told or told[-1].state != ANNOUNCED or told[-1].at_ms is None:
        return None
    return told[-1].at_ms / SAMPLE_MS - 1


def near(batch: Batch, at: float | None) -> bool:
    """Whether that is within ten samples of the knee."""
    return at is not None and abs(at - batch.knee) <= NEAR


def hits(of: Iterable[Batch], settings: BreakSettings = SETTINGS) -> int:
    """How many of the batches are told within ten samples of the knee."""
    return sum(near(batch, stands_at(broke(batch, settings))) for batch in of)


GRID = tuple(
    (creep_h, share) for creep_h in (1.0, 1.5, 2.0, 2.5, 3.0) for share in (0.05, 0.06, 0.08, 0.1, 0.12)
)


def left_out(all_batches: list[Batch], folds: int = 10) -> tuple[int, int]:
    """Cross-validation of the two numbers that matter: hits among batches that did not choose them."""
    table = {
        (pair, batch.number): hits([batch], replace(SETTINGS, creep_h=pair[0], warm_share=pair[1]))
        for pair in GRID
        for batch in all_batches
    }
    found = 0
    for fold in range(folds):
        chose = [batch.number for i, batch in enumerate(all_batches) if i % folds != fold]
        best = max(GRID, key=lambda pair: sum(table[pair, number] for number in chose))
        found += sum(table[best, batch.number] for i, batch in enumerate(all_batches) if i % folds == fold)
    return found, len(all_batches)


def _knee(level: tuple[float, ...]) -> int:
    """The first sample, once it runs, with the collection under a quarter of the fast rate for 5 samples."""
    rates = [after - before for before, after in pairwise(level)]
    fast = sorted(rates)[int(0.9 * len(rates))]
    runs = next(i for i, rate in enumerate(rates) if rate >= 0.5 * fast)
    return next(i for i in range(runs, len(rates)) if all(r < 0.25 * fast for r in rates[i : i + 5]))


def _naive(product_c: tuple[float, ...]) -> int:
    """The rule to beat: 5 over the median of all samples since the 5th."""
    return next(i for i in range(12, len(product_c)) if product_c[i] > median(product_c[5:i]) + 5.0)


def _straight(product_c: tuple[float, ...], naive: int) -> bool:
    """No pause of 8 samples rising under 0.5 each, from there on and before 75."""
    run = longest = 0
    for before, after in zip(product_c[naive:], product_c[naive + 1 :], strict=False):
        if before >= 75.0:
            break
        run = run + 1 if after - before < 0.5 else 0
        longest = max(longest, run)
    return longest < 8
