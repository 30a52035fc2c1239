"""A bed in figures: temperatures by height, CO2, levels, turns, alarms and hand readings over its hours."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from gateway.core.effects import TurnKnown
from gateway.core.piece import day_figure
from gateway.core.site import Place, Probe, Programme
from gateway.ports import AlarmLine, Minute
from gateway.web.pages import chart, letters
from gateway.web.pages.chart import Column, Frame
from gateway.web.pages.say import Say

Row = dict[str, Any]
_HOUR_MS = 3_600_000
#: What may be asked for: its word, and how many hours back; None: since the last turn.
SPANS: dict[str, tuple[str, float | None]] = {
    "day": ("A day", 24.0),
    "shift": ("A shift", 8.0),
    "turned": ("Since turned", None),
    "week": ("A week", 168.0),
}
LAYERS = 4
#: A drawing of more than a day and what is to come after it says below its times which day they are of.
_ONE_DAY_MS = 30 * _HOUR_MS


def window(word: str, now_ms: int, turned_ms: int | None, cast_ms: int | None) -> tuple[int, int]:
    """From when to when a bed is shown (Unix ms); never from before its casting."""
    hours = SPANS.get(word, SPANS["day"])[1]
    from_ms = (turned_ms or now_ms - 12 * _HOUR_MS) if hours is None else now_ms - round(hours * _HOUR_MS)
    if cast_ms is not None:
        from_ms = max(from_ms, cast_ms)
    return min(from_ms, now_ms - _HOUR_MS // 2), now_ms


def layers(probes: Sequence[Probe]) -> dict[str, int]:
    """Each thermometer's layer, from the floor up: what hangs at one height is drawn alike."""
    heights = sorted({probe.height_cm or 0.0 for probe in probes})
    return {probe.id: min(LAYERS - 1, heights.index(probe.height_cm or 0.0)) for probe in probes}


def calibrated(probe: Probe, minutes: Sequence[Minute], from_ms: int, to_ms: int) -> list[Column]:
    """A probe's minutes as columns, calibrated as the judge does."""
    as_is = (probe.gain, probe.offset) == (1.0, 0.0)
    fixed = None if as_is else lambda value: probe.gain * value + probe.offset
    return chart.columns(minutes, from_ms, to_ms, fixed, every_ms=round(probe.every_s * 1000))


def drawing(
    say: Say,
    probes: Sequence[Probe],
    series: Mapping[str, list[Column]],
    span: tuple[int, int],
    zero_ms: int,
    levels: Sequence[Row] = (),
    ahead: Sequence[Row] = (),
    hands: Sequence[Row] = (),
) -> Row:
    """The temperatures as a drawing: lines by probe, the levels, what is to come, readings by hand."""
    to_ms = max([span[1], *(one["at"] for one in ahead)])
    extra = [c for one in levels for _, c in one["points"]] + [one["c"] for one in hands]
    # What is to come may run off the drawing: a bed that is left is turned long before.
    most = max([c for one in levels for _, c in one["points"]], default=60.0) + 2.0
    told = [one[key] for one in ahead for key in ("low_c", "high_c") if one.get(key) is not None]
    extra += [min(c, most) for c in told]
    low, high = chart.bounds([series.get(probe.id, []) for probe in probes], extra)
    frame = Frame(span[0], to_ms, low, high)
    layer, places = layers(probes), list(dict.fromkeys(probe.place for probe in probes))
    return _axes(say, frame, zero_ms, say.scaled) | {
        "lines": [
            {
                "probe": probe.id,
                "layer": layer[probe.id],
                # A piece may lie in two beds: the second's lines are the thicker ones.
                "bed": min(1, places.index(probe.place)),
                **_paths(frame, series[probe.id]),
                "height": probe.height_cm,
                "at_m": probe.at_m,
            }
            for probe in probes
            if series.get(probe.id)
        ],
        "levels": _levels(frame, levels),
        "hands": [
            {"x": round(frame.x(one["at"]), 1), "y": round(frame.y(one["c"]), 1)}
            for one in hands
            if span[0] <= one["at"] <= to_ms
        ],
        **_ahead(frame, ahead),
    }


def _paths(frame: Frame, found: Sequence[Column]) -> Row:
    line, area = chart.paths(frame, found)
    return {"path": line, "reach": area}


def _levels(frame: Frame, levels: Sequence[Row]) -> list[Row]:
    begins, ends = (
        letters.spread([frame.y(one["points"][end][1]) for one in levels], frame.bottom) for end in (0, -1)
    )
    return [
        {
            "name": one["name"],
            "path": "M" + "L".join(f"{frame.x(at):.1f} {frame.y(c):.1f}" for at, c in one["points"]),
            # On a phone the name stands in the drawing, over the oldest of it; on a desk beside the newest.
            "begins_y": begin,
            "ends_y": end,
        }
        for one, begin, end in zip(levels, begins, ends, strict=True)
    ]


def _ahead(frame: Frame, ahead: Sequence[Row]) -> Row:
    banded = [one for one in ahead if one.get("low_c") is not None and one.get("high_c") is not None]
    up = [f"{frame.x(one['at']):.1f} {frame.y(one['high_c']):.1f}" for one in banded]
    down = [f"{frame.x(one['at']):.1f} {frame.y(one['low_c']):.1f}" for one in reversed(banded)]
    middle = [f"{frame.x(one['at']):.1f} {frame.y(one['c']):.1f}" for one in ahead]
    return {
        "band": "M" + "L".join(up + down) + "Z" if len(banded) > 1 else "",
        "middle": "M" + "L".join(middle) if len(middle) > 1 else "",
        "now_x": round(frame.x(ahead[0]["at"]), 1) if ahead else None,
    }


def _axes(say: Say, frame: Frame, zero_ms: int, scaled: Callable[[float], float]) -> Row:
    values = [(round(frame.y(at), 1), f"{scaled(at):g}") for at in _marks(say, frame, scaled)]
    far = letters.far([text for _, text in values])
    times = chart.hours(frame.from_ms, frame.to_ms, zero_ms)
    across = [frame.x(at) for at, _, _ in times]
    widths = letters.shown_at([x / frame.right for x in across], [turn for _, _, turn in times], far)
    return {
        "frame": frame,
        "high": frame.bottom / letters.UNITS,
        "values": [{"y": y, "text": text} for y, text in values],
        "far": far,
        "days": frame.to_ms - frame.from_ms > _ONE_DAY_MS,
        "hours": [
            {
                "x": round(x, 1),
                "text": f"{h} h",
                "clock": say.wall(at).strftime("%H:%M"),
                "day": say.weekday(at),
                "widths": wide,
            }
            for x, wide, (at, h, _) in zip(across, widths, times, strict=True)
        ],
    }


def _marks(say: Say, frame: Frame, scaled: Callable[[float], float]) -> list[float]:
    """Round figures in the reader's own unit, as values of the drawing."""
    low, high = scaled(frame.low), scaled(frame.high)
    return [
        (one - 32) / 1.8 if say.fahrenheit and scaled is not _as_is else one
        for one in chart.marks(low, high, letters.wanted(frame.bottom - frame.top))
    ]


def _as_is(value: float) -> float:
    return value


def gas(
    say: Say, probes: Sequence[Probe], series: Mapping[str, list[Column]], span: tuple[int, int], zero_ms: int
) -> Row | None:
    """CO2 in the grain as a low drawing below, in per cent; None where nothing was measured."""
    found = {
        probe.id: [
            Column(c.at_ms, c.low / 1e4, c.mean / 1e4, c.high / 1e4, c.begins) for c in series[probe.id]
        ]
        for probe in probes
        if series.get(probe.id)
    }
    if not found:
        return None
    _, high = chart.bounds(list(found.values()), [1.0])
    frame = Frame(span[0], span[1], 0.0, high, bottom=90.0)
    lines = [{"probe": name, **_paths(frame, one)} for name, one in found.items()]
    return _axes(say, frame, zero_ms, _as_is) | {"lines": lines}


def plain(
    say: Say, probes: Sequence[Probe], series: Mapping[str, list[Column]], span: tuple[int, int]
) -> Row:
    """Any quantity in its own unit as a low drawing."""
    low, high = chart.bounds([series[probe.id] for probe in probes])
    frame = Frame(span[0], span[1], low, high, bottom=120.0)
    lines = [{"probe": one.id, **_paths(frame, series[one.id])} for one in probes]
    return _axes(say, frame, span[0], _as_is) | {"lines": lines}


def limits(programme: Programme, cast_ms: int | None, span: tuple[int, int]) -> list[Row]:
    """The programme's levels over the time shown: they ramp with the hours since casting."""
    names = (("low", "low_c"), ("turn_at", "turn_at_c"), ("high", "high_c"), ("urgent", "urgent_c"))
    if not programme.days or cast_ms is None:
        strict = (("high", programme.strict_high_c), ("urgent", programme.strict_urgent_c))
        return [{"name": name, "points": [(span[0], c), (span[1], c)]} for name, c in strict]
    times = [span[0], *range(span[0] - span[0] % _HOUR_MS + _HOUR_MS, span[1], 6 * _HOUR_MS), span[1]]
    return [
        {
            "name": name,
            "points": [(at, day_figure(programme, max(0.0, (at - cast_ms) / _HOUR_MS), key)) for at in times],
        }
        for name, key in names
    ]


def ahead(told: Row | None, span: tuple[int, int]) -> list[Row]:
    """What is to come, from now on, as far as a third of what is shown and six hours at most."""
    until_ms = span[1] + min(6 * _HOUR_MS, (span[1] - span[0]) // 3)
    points = told["points"] if told and told["not_yet"] is None else []
    return [one for one in points if span[1] - _HOUR_MS <= one["at"] <= until_ms and one["c"] is not None]


def turns(known: Sequence[TurnKnown], bed: str, span: tuple[int, int]) -> list[Row]:
    """The bed's turns in the time shown, oldest first; those that were taken back are left out."""
    return [
        {
            "at": (one.began_at_ms + one.ended_at_ms) // 2,
            "began": one.began_at_ms,
            "ended": one.ended_at_ms,
            "source": one.source,
            "seen": one.source != "recorded",
            "by": one.by,
            "from_m": one.from_m,
            "to_m": one.to_m,
            "fall_k": one.fall_k,
            "sureness": one.sureness,
            "state": one.state,
        }
        for one in known
        if one.bed == bed
        and one.state not in ("withdrawn", "void")
        and span[0] <= one.ended_at_ms
        and one.began_at_ms <= span[1]
    ]


def alarm_spans(lines: Sequence[AlarmLine], place: str, span: tuple[int, int]) -> list[Row]:
    """When alarms of the bed stood, within the time shown."""
    return [
        {
            "number": one.alarm.number,
            "kind": one.alarm.kind,
            "level": one.alarm.level,
            "priority": one.alarm.priority,
            "from": max(span[0], one.alarm.raised_at_ms),
            "to": min(span[1], one.alarm.cleared_at_ms or span[1]),
            "over": one.alarm.cleared_at_ms is not None,
        }
        for one in lines
        if one.alarm.place == place
        and one.alarm.priority != "low"
        and one.alarm.raised_at_ms <= span[1]
        and (one.alarm.cleared_at_ms or span[1]) >= span[0]
    ]


def table(
    probes: Sequence[Probe], series: Mapping[str, list[Column]], span: tuple[int, int], rows: int = 49
) -> list[Row]:
    """The same figures as a table: at most so many rows, each probe's newest mean by that time."""
    step = max(600_000, -(-(span[1] - span[0]) // (rows - 1) // 600_000) * 600_000)
    first = -(-span[0] // step) * step
    found = []
    for at in range(first, span[1] + 1, step):
        cells = {probe.id: _by(series.get(probe.id, []), at, step) for probe in probes}
        if any(value is not None for value in cells.values()):
            found.append({"at": at, "cells": [cells[probe.id] for probe in probes]})
    return found


def _by(found: Sequence[Column], at_ms: int, step_ms: int) -> float | None:
    near = bisect_right(found, at_ms, key=_at) - 1
    return found[near].mean if near >= 0 and found[near].at_ms > at_ms - step_ms else None


def _at(one: Column) -> int:
    return one.at_ms


def place_words(place: Place) -> str:
    """Where a bed lies: 20 to 30 m of the lower floor."""
    if place.from_m is None or place.to_m is None:
        return ""
    return f"{place.from_m:g} to {place.to_m:g}\u00a0m{f' of the {place.floor} floor' if place.floor else ''}"
