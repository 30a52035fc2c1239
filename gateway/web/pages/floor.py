"""The floor: each growing floor as a strip from the steep's door to the kiln's, and the walk below it."""

from __future__ import annotations

from typing import Any

from gateway.core import night, views
from gateway.core.alarm import State as Alarmed
from gateway.core.alarm import is_true
from gateway.core.follow import air_people
from gateway.core.piece import Lying, Part, day_figure, hours_since_cast, in_couch
from gateway.core.rules import due as dues
from gateway.core.rules import heat, place_air
from gateway.core.rules.air_entry import entry_state
from gateway.core.rules.limits import level_of
from gateway.core.rules.reach import AHEAD, Forecast
from gateway.core.site import Place
from gateway.core.state import State
from gateway.core.wording import start as wording_start

Row = dict[str, Any]
_HOUR_MS = 3_600_000
#: Steps in which furrows fade between a turn and the time the next is overdue.
FADES = 8
#: Floor without grain shorter than this is not drawn (ours).
_LEAST_M = 0.05


def floor(state: State, ahead: Forecast = AHEAD) -> Row:
    """All that the first page needs of the judge: strips, tonight's walk, what stands, what to ask."""
    rows = {row["bed"]: row for row in views.beds(state, ahead)}
    walk = sorted(views.tonight(state, ahead), key=lambda row: row["start_at"] or row["due_at"])
    for row in [*walk, *rows.values()]:
        row["out"] = row["entry"] in wording_start.KEEP_OUT
    # What can be done now goes before what nobody may go in to do.
    doable = [job for job in walk if not job["out"]]
    turn_of = {job["bed"]: number for number, job in enumerate(doable, 1)}
    for row in [*walk, *rows.values()]:
        row["nth"] = turn_of.get(row["bed"])
    air = rooms(state)
    floors = [
        _floor(state, one.id, one.length_m, rows, ahead)
        | {"rooms": [row for row in air if row["floor"] == one.id and row["kind"] == "room"]}
        for one in state.site.floors
    ]
    loose = [
        _stretch(state, place, rows[place.id], ahead)
        for place in night.walk(state)
        if place.floor not in {one.id for one in state.site.floors}
    ]
    first = next(iter([*doable, *walk]), None)
    drawn = [bed for one in floors for bed in one["stretches"] if bed["bed"]]
    return {
        "floors": [one for one in floors if one["stretches"]],
        "loose": loose,
        "walk": walk,
        "next": first,
        "besides": besides([*drawn, *loose], first["bed"] if first else None),
        "then": doable[1:],
        "late": sum(not job["fits"] for job in walk),
        "unrecorded": not state.pieces.beds and any(one not in state.pieces.empty for one in rows),
        "keepout": keepout(state),
        "rooms": air,
        "at_ms": state.at_ms,
    }


def besides(beds: list[Row], first: str | None) -> list[Row]:
    """What calls somebody to beds other than the first in the walk: a row for each thing that is wrong now,
    with its beds, the gravest first. A turn that is overdue stands in the walk."""
    found: dict[tuple[str, str], Row] = {}
    for bed in beds:
        for one in bed["alarms"]:
            apart = one["priority"] == "low" or one["kind"] == "turn_overdue" or gone(one)
            if bed["bed"] != first and not apart:
                same = found.setdefault((one["kind"], one["level"]), one | {"beds": []})
                same["beds"].append({"bed": bed["bed"], "out": bed["out"]})
    return sorted(found.values(), key=lambda row: -PRIORITIES.index(row["priority"]))


def _floor(state: State, floor_id: str, length_m: float, rows: dict[str, Row], ahead: Forecast) -> Row:
    beds = [place for place in night.walk(state) if place.floor == floor_id]
    stretches, upto = [], 0.0
    for place in beds:
        from_m, to_m = place.from_m or 0.0, place.to_m or length_m
        if from_m - upto > _LEAST_M:
            stretches.append(_bare(upto, from_m, length_m))
        stretches.append(_stretch(state, place, rows[place.id], ahead, length_m))
        upto = max(upto, to_m)
    if beds and length_m - upto > _LEAST_M:
        stretches.append(_bare(upto, length_m, length_m))
    shares = [one["grow"] for one in stretches if one["bed"]]
    small = min(shares, default=100)
    return {
        "id": floor_id,
        "length_m": length_m,
        "stretches": stretches,
        "pace": "long" if small < 15 else "middle" if small < 20 else "short" if small < 40 else "few",
    }


def _bare(from_m: float, to_m: float, length_m: float) -> Row:
    return {"bed": None, "from_m": from_m, "to_m": to_m, "grow": _grow(from_m, to_m, length_m)}


def _grow(from_m: float, to_m: float, length_m: float) -> int:
    """The stretch as whole per cent of the floor, at least 1."""
    return min(100, max(1, round(100 * (to_m - from_m) / length_m))) if length_m > 0 else 1


def _stretch(state: State, place: Place, row: Row, ahead: Forecast, length_m: float | None = None) -> Row:
    lying = state.pieces.beds.get(place.id)
    from_m, to_m = place.from_m or 0.0, place.to_m or (length_m or 0.0)
    due = dues.due(state, place, ahead)
    clock = due.clock
    return row | {
        "from_m": from_m,
        "to_m": to_m,
        "grow": _grow(from_m, to_m, length_m or 100.0),
        "couch": lying is not None and in_couch(lying, state.at_ms),
        "known_empty": place.id in state.pieces.empty,
        "withering": lying.withering if lying else False,
        "parts": _parts(state, place, lying, clock.overdue_ms if clock else None),
        "since_turn_ms": _since(state, lying),
        "by": _last_by(lying),
        "levels": levels(state, place),
        "soon": _soon(state, place, row, ahead),
        "chilled": due.chilled,
        "alarms": standing(state, place.id),
        "order": {"until": due.order.until_ms, "why": due.order.why, "by": due.order.by}
        if due.order
        else None,
    }


def _since(state: State, lying: Lying | None) -> int | None:
    if lying is None:
        return None
    return state.at_ms - min(part.turned_ms for part in lying.parts)


def _last_by(lying: Lying | None) -> str | None:
    return min(lying.parts, key=lambda part: part.turned_ms).by if lying else None


def _parts(state: State, place: Place, lying: Lying | None, overdue_ms: int | None) -> list[Row]:
    """The turned stretches of a bed from the steep's end, with how far their furrows have faded."""
    if lying is None:
        return []
    oldest = min(part.turned_ms for part in lying.parts)
    lasts_ms = max(_HOUR_MS, overdue_ms - oldest) if overdue_ms is not None else 12 * _HOUR_MS
    from_m = place.from_m or 0.0
    to_m = place.to_m or max(part.to_m for part in lying.parts)
    found: list[Row] = []
    upto = from_m
    for part in _merged(sorted(lying.parts, key=lambda part: part.from_m)):
        if part.from_m - upto > _LEAST_M:
            found.append(_no_grain(upto, part.from_m, to_m - from_m))
        upto = max(upto, part.to_m)
        gone = (state.at_ms - part.turned_ms) / lasts_ms
        found.append(
            {
                "piece": part.piece or lying.piece,
                "from_m": part.from_m,
                "to_m": part.to_m,
                "grow": _grow(part.from_m, part.to_m, to_m - from_m),
                "fade": min(FADES, max(0, int(gone * FADES))) if part.turned else FADES,
            }
        )
    if to_m - upto > _LEAST_M:
        found.append(_no_grain(upto, to_m, to_m - from_m))
    return found


def _no_grain(from_m: float, to_m: float, length_m: float) -> Row:
    return {"piece": None, "from_m": from_m, "to_m": to_m, "grow": _grow(from_m, to_m, length_m), "fade": 0}


def _merged(parts: list[Part]) -> list[Part]:
    """Neighbours of the same piece and age as one."""
    found: list[Part] = []
    for part in parts:
        last = found[-1] if found else None
        if last and last.turned_ms == part.turned_ms and last.piece == part.piece:
            found[-1] = Part(
                last.from_m,
                part.to_m,
                last.turned_ms,
                last.by,
                last.turned,
                last.ploughed_ms,
                last.piece,
                last.ground,
            )
        else:
            found.append(part)
    return found


def levels(state: State, place: Place) -> list[Row]:
    """The bed's marks now, coldest first: low, aim, turn at, high, urgent, in degrees Celsius."""
    low = level_of(heat.ladder_for(state, place, "bed_low", state.at_ms), 1)
    found = [{"name": "low", "c": low.limit}] if low else []
    lying, programme = state.pieces.beds.get(place.id), state.programme(place)
    if lying and programme.days and not in_couch(lying, state.at_ms):
        aim_c = day_figure(programme, hours_since_cast(lying, state.at_ms), "aim_c")
        found.append({"name": "aim", "c": aim_c})
    found += [
        {"name": one.name, "c": one.limit}
        for one in heat.ladder_for(state, place, "bed_hot", state.at_ms).levels
    ]
    return found


def _soon(state: State, place: Place, row: Row, ahead: Forecast) -> Row | None:
    """For a bed over its high limit: the next one up, and between when and when it will be met."""
    if row["level"] != "high" or row["hottest_c"] is None:
        return None
    above = [
        one
        for one in heat.ladder_for(state, place, "bed_hot", state.at_ms).levels
        if one.limit > row["hottest_c"]
    ]
    reach = ahead.reach(state, place, above[0].limit) if above else None
    if reach is None:
        return None
    return {"c": above[0].limit, "early": reach.early_ms or reach.at_ms, "late": reach.late_ms or reach.at_ms}


def standing(state: State, place: str | None) -> list[Row]:
    """The alarms that stand at a place, the gravest first."""
    found = [
        {
            "number": one.number,
            "place": place,
            "kind": one.finding.subject.kind,
            "priority": one.priority,
            "probe": one.finding.subject.probe,
            "level": one.finding.level,
            "state": str(one.state),
            "raised_at": one.raised_at_ms,
            "answered_by": one.answered_by,
            "answer": one.answer,
            "quiet_until": one.quiet_at_ms,
            "value": one.finding.value,
            "unit": one.finding.unit,
            "limit": one.finding.limit,
            "wants_answer": one.calls,
            "all_out_by": one.all_out_by,
            "all_out_at": one.all_out_at_ms if is_true(one.state) else None,
        }
        for one in state.board.standing.values()
        if one.finding.subject.place == place
    ]
    return sorted(found, key=urgency)


PRIORITIES = ("low", "medium", "high", "highest")


def urgency(row: Row) -> tuple[bool, int, int]:
    """By what alarms are put in order: what went off by itself waits for an answer alone and comes after
    what still is so, then by priority, then by age."""
    return gone(row), -PRIORITIES.index(row["priority"]), row["raised_at"]


def gone(row: Row) -> bool:
    """Whether it went off by itself and only nobody has answered."""
    return bool(row["state"] == Alarmed.RETURNED)


def keepout(state: State) -> list[Row]:
    """Every place nobody goes into now: why, who is in there, and the alarm to answer."""
    found = []
    for place in state.site.places:
        if place.kind not in place_air.ENTERED:
            continue
        entry = entry_state(state, place.id)
        if entry.state not in wording_start.KEEP_OUT:
            continue
        gas = [row for row in standing(state, place.id) if row["kind"].startswith("gas_")]
        said = [row for row in gas if row["all_out_at"] is not None]
        found.append(
            {
                "place": place.id,
                "leave": entry.state == "leave",
                "why": entry.why,
                "alarms": gas,
                "inside": [
                    {"person": who, "since": one.since_ms, "until": one.until_ms, "missed": one.missed}
                    for who in air_people.inside(state, place.id)
                    for one in (state.air.inside[who],)
                ],
                "all_out": max(said, key=lambda row: row["all_out_at"], default=None),
            }
        )
    return found


def _rooms(state: State) -> list[Place]:
    return [place for place in state.site.places if place.kind in ("room", "steep")]


def rooms(state: State) -> list[Row]:
    """Each room's air as it is measured now; None where it is not measured."""
    found = []
    for place in _rooms(state):
        gas = [w.value for _, w in state.good(place.id, "co2") if w.value is not None]
        warm = [w.value for _, w in state.good(place.id, "temperature") if w.value is not None]
        limit = place.co2_high_ppm or state.site.air.high_ppm
        found.append(
            {
                "place": place.id,
                "kind": place.kind,
                "floor": place.floor,
                "co2_ppm": max(gas, default=None),
                "watched": bool(gas),
                "has_probe": any(p.quantity == "co2" for p in state.site.probes_of[place.id]),
                "limit_ppm": limit,
                "entry": entry_state(state, place.id).state,
                "c": max(warm, default=None),
            }
        )
    return found
