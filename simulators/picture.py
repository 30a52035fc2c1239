"""Draws a history: what each bed's probes stood in, its turns true, recorded and seen, forecasts, alarms.

    python -m simulators picture --truth T.jsonl [--effects E.jsonl] [--forecasts F.jsonl] [--out week.png]

`truth` is what `run --truth` writes; `effects` what a judge made of the history, in lines with `kind` turn or
alarm; `forecasts` lines with `bed`, `made_at` and `points`. Needs matplotlib (the extra `picture`).
"""

import argparse
import json
import sys
from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

Line = Mapping[str, Any]
FORECAST_EVERY_S = 4 * 3600.0
_INK, _TRUE, _SEEN, _RECORDED = "#333333", "#1b6e6e", "#b3541e", "#5b4b8a"


def moment(text: str) -> datetime:
    """A time of a line."""
    return datetime.fromisoformat(text)


def read_lines(path: Path | None) -> list[Line]:
    """The lines of a file; none where there is no file. Raises ValueError naming the line that is no JSON."""
    if path is None:
        return []
    found: list[Line] = []
    for number, text in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
        try:
            found.append(json.loads(text))
        except ValueError as fault:
            raise ValueError(f"{path}:{number}: expected one JSON object: {fault}") from None
    return found


class Bed:
    """What is drawn of one bed."""

    def __init__(self) -> None:
        self.at: list[datetime] = []
        self.low_c: list[float] = []
        self.high_c: list[float] = []
        self.true: list[tuple[datetime, datetime]] = []
        self.known: dict[int, Line] = {}
        self.alarms: list[Line] = []
        self.forecasts: list[Line] = []

    def warm(self, at: datetime, value_c: float) -> None:
        """A probe's place is so warm at a time; times come in order."""
        if self.at and self.at[-1] == at:
            self.low_c[-1] = min(self.low_c[-1], value_c)
            self.high_c[-1] = max(self.high_c[-1], value_c)
            return
        self.at.append(at)
        self.low_c.append(value_c)
        self.high_c.append(value_c)


def beds(truth: Iterable[Line], effects: Iterable[Line], forecasts: Iterable[Line]) -> dict[str, Bed]:
    """Everything by bed."""
    found: dict[str, Bed] = defaultdict(Bed)
    places = set()
    for line in truth:
        if line["kind"] == "bed":
            places.add(line["bed"])
        elif line["kind"] == "temperature" and line["place"] in places:
            found[line["place"]].warm(moment(line["at"]), line["value_c"])
        elif line["kind"] == "turn" and line["ended_at"]:
            found[line["bed"]].true.append((moment(line["began_at"]), moment(line["ended_at"])))
    for line in effects:
        if line["kind"] == "turn" and line["bed"] in places:
            found[line["bed"]].known[line.get("turn", line.get("number", 0))] = line
        elif line["kind"] == "alarm" and line.get("place") in places:
            found[line["place"]].alarms.append(line)
    for line in forecasts:
        if line["bed"] in places and line["points"]:
            found[line["bed"]].forecasts.append(line)
    return dict(found)


def draw(found: Mapping[str, Bed], out: Path) -> None:
    """The picture, one strip a bed."""
    import matplotlib as mpl

    mpl.use("Agg")
    from matplotlib import pyplot

    figure, strips = pyplot.subplots(
        len(found), 1, figsize=(18, 3.0 * len(found)), sharex=True, squeeze=False, layout="constrained"
    )
    for axes, (name, bed) in zip(strips[:, 0], found.items(), strict=True):
        _strip(axes, name, bed)
    strips[0, 0].legend(loc="upper left", ncols=6, fontsize=8, frameon=False)
    figure.savefig(out, dpi=80)
    pyplot.close(figure)


def _strip(axes: Any, name: str, bed: Bed) -> None:
    label = "true, coldest to hottest probe's place"
    axes.fill_between(bed.at, bed.low_c, bed.high_c, color="#9db8b0", linewidth=0, label=label)
    for limit in (22.0, 25.0):
        axes.axhline(limit, color="#aa3333", linewidth=0.7, linestyle=":")
    for i, (began, ended) in enumerate(bed.true):
        axes.axvspan(began, ended, color=_TRUE, alpha=0.25, linewidth=0, label=None if i else "turned, true")
    floor_c = min(bed.low_c, default=10.0)
    for source, mark, colour, low in (("recorded", "|", _RECORDED, 0.3), ("seen", "x", _SEEN, 0.9)):
        at = [moment(one["ended_at"]) for one in bed.known.values() if one["source"] in (source, "both")]
        axes.plot(at, [floor_c - low] * len(at), mark, color=colour, label=f"turn {source}")
    _forecasts(axes, bed)
    _alarms(axes, bed, floor_c)
    axes.set_ylabel(f"{name}, C")


def _alarms(axes: Any, bed: Bed, floor_c: float) -> None:
    """The bed's own by name, those of its probes as marks: a name beside each would hide the others."""
    raised = [
        (moment(line["raised_at"]), str(line.get("alarm_kind", "")))
        for line in bed.alarms
        if (line.get("history") or [line.get("change", {})])[-1].get("signal") == "raise"
    ]
    probes = [at for at, kind in raised if kind.startswith("probe_")]
    axes.plot(probes, [floor_c - 2.1] * len(probes), "^", color="#999999", markersize=4, label="probe alarm")
    for i, (at, kind) in enumerate(sorted(one for one in raised if not one[1].startswith("probe_"))):
        at_c = floor_c - 1.5
        axes.plot([at], [at_c], "^", color="#aa3333", markersize=5)
        axes.annotate(
            kind, (at, at_c), (0, -9 - 7 * (i % 2)), textcoords="offset points", fontsize=6, color=_INK
        )


def _forecasts(axes: Any, bed: Bed) -> None:
    """Each up to the next turn: a forecast says what comes if nobody turns."""
    last = None
    for line in bed.forecasts:
        made = moment(line["made_at"])
        if last is not None and (made - last).total_seconds() < FORECAST_EVERY_S:
            continue
        label = "forecast, 9 in 10" if last is None else None
        last = made
        turned = min((began for began, _ in bed.true if began > made), default=None)
        points = [
            point
            for point in line["points"]
            if point["low_c"] is not None and (turned is None or moment(point["at"]) <= turned)
        ]
        at = [moment(point["at"]) for point in points]
        axes.fill_between(
            at, [point["low_c"] for point in points], [point["high_c"] for point in points],
            color="#d9a441", alpha=0.35, linewidth=0, label=label,
        )  # fmt: skip
        axes.plot(at, [point["c"] for point in points], color="#8a6414", linewidth=0.7)


def main(words: list[str] | None = None) -> int:
    """`python -m simulators picture`; 2 for input that cannot be drawn."""
    parser = argparse.ArgumentParser(prog="python -m simulators picture", description=__doc__)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("--truth", type=Path, required=True)
    parser.add_argument("--effects", type=Path)
    parser.add_argument("--forecasts", type=Path)
    parser.add_argument("--out", type=Path, default=Path("week.png"))
    typed = parser.parse_args(words)
    try:
        found = beds(read_lines(typed.truth), read_lines(typed.effects), read_lines(typed.forecasts))
    except (OSError, ValueError, KeyError) as fault:
        sys.stderr.write(f"picture: {fault}\n")
        return 2
    if not found:
        sys.stderr.write(f"picture: {typed.truth}: expected lines of beds and temperatures\n")
        return 2
    try:
        draw(found, typed.out)
    except ImportError:
        sys.stderr.write("picture: needs matplotlib: .venv/bin/pip install matplotlib\n")
        return 2
    sys.stderr.write(f"{typed.out}: {len(found)} beds\n")
    return 0
