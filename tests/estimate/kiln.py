"""Prints how well the kiln is judged: `python -m tests.estimate.kiln [made-up kilnings, 120 if not said]`."""

from __future__ import annotations

import sys

from tests.estimate import kiln_dryer
from tests.estimate.kiln_dryer import broke, near, stands_at
from tests.estimate.kiln_moist import reckon
from tests.estimate.kiln_told import kilnings


def _say(line: str) -> None:
    sys.stdout.write(line + "\n")


def _dryer() -> None:
    if not kiln_dryer.DATA.is_file():
        _say("batch-dryer-71 is not beside this clone: left out")
        return
    batches = kiln_dryer.batches()
    told = {batch.number: broke(batch) for batch in batches}
    announced = sum(stands_at(one) is not None for one in told.values())
    _say(f"batch-dryer-71, batches 1 to 40: announced in {announced} of {len(batches)}")
    _say(f"  more than one account: {sum(len(one) > 1 for one in told.values())}")
    for name, of in (
        ("straight", [batch for batch in batches if batch.straight]),
        ("with a second plateau", [batch for batch in batches if not batch.straight]),
    ):
        naive = sum(near(batch, batch.naive) for batch in of)
        ours = kiln_dryer.hits(of)
        _say(
            f"  {name}: within 10 samples of the knee {ours} of {len(of)}; naive +5 rule {naive} of {len(of)}"
        )
    at = {batch.number: stands_at(told[batch.number]) for batch in batches}
    missed = [(one.number, at[one.number], one.knee) for one in batches if not near(one, at[one.number])]
    _say(f"  missed (batch, told, knee): {missed}")
    found, of_all = kiln_dryer.left_out(batches)
    _say(f"  ten-fold cross-validation of creep_h and warm_share: {found} of {of_all} left-out batches")


def _made_up(count: int) -> None:
    all_told = list(kilnings(range(8000, 8000 + count)))
    errors = [one.error_min for one in all_told]
    good = sum(error is not None and abs(error) <= 45.0 for error in errors)
    after = sorted(one.known_after_min for one in all_told if one.known_after_min is not None)
    withdrawn = sum(seen.state == "withdrawn" for one in all_told for seen in one.told)
    _say(f"made-up kilnings: within 45 min of the truth in {good} of {count}; withdrawn {withdrawn} times")
    middle, late = (after[int(share * len(after))] for share in (0.5, 0.95))
    _say(f"  known {middle:.0f} min after the truth (median), {late:.0f} (95 %)")
    for one, error in zip(all_told, errors, strict=True):
        if error is None or abs(error) > 45.0:
            events = [(round(h, 1), round(long, 1), what) for h, long, what, _ in one.kilning.events]
            what = "not told" if error is None else f"{error:+.0f} min"
            _say(f"  seed {one.kilning.seed}: {what} {events}")


def _moisture() -> None:
    for name, metered in (("air flow metered (12 % out)", True), ("air flow guessed", False)):
        told = [one for seed in range(400, 420) for one in reckon(seed, metered)]
        _say(
            f"moisture left in 20 made-up kilnings, {name}: hour, truth in the band, mean error in points wb"
        )
        for hour in sorted({one.hour for one in told}):
            of = [one for one in told if one.hour == hour]
            held = sum(one.left.wb.low - 0.003 <= one.true_wb <= one.left.wb.high + 0.003 for one in of)
            off = sum(abs(one.left.wb.mean - one.true_wb) for one in of) / len(of)
            width = sum(one.left.wb.high - one.left.wb.low for one in of) / len(of)
            _say(f"  {hour:2d} h: {held} of {len(of)}, {100 * off:.1f} points, band {100 * width:.0f} wide")


if __name__ == "__main__":
    _dryer()
    _moisture()
    _made_up(int(sys.argv[1]) if len(sys.argv) > 1 else 120)
