"""Pieces and questions as rows: where each piece is and has been, its story, and what to ask in daylight.

Rows are dicts of plain values; times are Unix ms under their keys, to be printed at the edge.
"""

from __future__ import annotations

from typing import Any

from gateway.core.follow import honest_count, turns_asked
from gateway.core.journey import told
from gateway.core.journey.ground import Piece
from gateway.core.journey.record import Record
from gateway.core.piece import in_couch
from gateway.core.rules import heat
from gateway.core.state import State

_HOUR_MS = 3_600_000
_FACTS = ("lot", "variety", "moisture_wb", "weight_t", "recipe", "depth_cm")
#: Pieces without a cast here that still are somebody's concern.
_LIVE = ("steeping", "couch", "working", "withering", "kiln")


def pieces(state: State, name: str | None = None) -> list[dict[str, Any]]:
    """One row a piece that is on its way, or the one asked for, with its story; none if there is no such."""
    found = [] if name else [_steeping(state, steep) for steep in state.pieces.now.steeps]
    for piece in state.pieces.now.pieces.values():
        stage = told.stage(state.pieces.now, piece, state.at_ms)
        if name == piece.name or (name is None and stage in _LIVE):
            found.append(_piece(state, piece, stage))
    if name and not found:
        found = [
            _steeping(state, steep)
            for steep, one in state.pieces.now.steeps.items()
            if name in (one.piece, one.lot)
        ]
    return found


def _piece(state: State, piece: Piece, stage: str) -> dict[str, Any]:
    warmth = state.warmth.get(piece.name)
    cast_ms = piece.cast_ms
    hours = None if cast_ms is None else round(max(0.0, (_off_floor(state, piece) - cast_ms) / _HOUR_MS), 2)
    way = told.series(state.pieces, state.site, piece.name)
    stays = [
        {"kind": s.kind, "place": s.place, "from_m": s.from_m, "to_m": s.to_m, "from": s.from_ms,
         "until": s.until_ms}
        for s in way
    ]  # fmt: skip
    return {
        "piece": piece.name,
        "stage": stage,
        **{key: getattr(piece, key) for key in _FACTS},
        "steeped_at": piece.steeped_ms,
        "cast_at": cast_ms,
        "floor_h": hours,
        "day": None if hours is None else int(hours // 24),
        "thermal_kh": None if warmth is None else round(warmth.kh, 2),
        "thermal_base_c": None if warmth is None else warmth.base_c,
        "thermal_watched_h": None if warmth is None else round(warmth.watched_ms / _HOUR_MS, 2),
        "beds": [bed for bed, lying in state.pieces.beds.items() if piece.name in lying.pieces],
        "stretches": _stretches(state, piece),
        "way": stays,
        "by_hand": [
            {"at": h.at_ms, "c": h.c, "bed": h.bed, "at_m": h.at_m, "height_cm": h.height_cm, "by": h.by}
            for h in piece.hand
        ],
        "story": _story(state, piece.name),
    }


def _off_floor(state: State, piece: Piece) -> int:
    """Hours since casting are counted until the piece left the floor."""
    here = any(part.piece == piece.name for part in state.pieces.now.parts)
    return state.at_ms if here or piece.loaded_ms is None else piece.loaded_ms


def _stretches(state: State, piece: Piece) -> list[dict[str, Any]]:
    """The turn clock of each stretch: when it was last turned, and by whom."""
    return [
        {
            "bed": bed, "from_m": part.from_m, "to_m": part.to_m, "by": part.by,
            "turned_at": part.turned_ms if part.turned else None, "ploughed_at": part.ploughed_ms or None,
        }
        for bed, lying in state.pieces.beds.items()
        for part in lying.parts
        if part.piece == piece.name
    ]  # fmt: skip


def _story(state: State, name: str) -> list[dict[str, Any]]:
    return [_line(state, one.record, one.place) for one in told.story(state.pieces, state.site, name)]


def _line(state: State, record: Record, place: str | None) -> dict[str, Any]:
    return {
        "entry": record.n if record.n > 0 else None,
        "at": record.when_ms,
        "known_at": record.known_ms,
        "what": record.word,
        "place": place,
        "by": record.body.get("by"),
        "why": record.body.get("why"),
        "text": told.say(state.site, record),
        "odd": record.odd or None,
        "taken_back": bool(record.void_n),
        "put_right": len(record.mended),
    }


def _steeping(state: State, steep: str) -> dict[str, Any]:
    one = state.pieces.now.steeps[steep]
    name = one.piece or one.lot or "?"
    return {
        "piece": name, "stage": "steeping", "lot": one.lot, "variety": one.variety,
        "moisture_wb": one.moisture_wb, "weight_t": one.weight_t, "recipe": one.recipe, "depth_cm": None,
        "steeped_at": one.began_ms, "cast_at": None, "floor_h": None, "day": None, "thermal_kh": None,
        "thermal_base_c": None, "thermal_watched_h": None, "beds": [], "stretches": [],
        "way": [
            {"kind": f"{stand.kind} stand", "place": steep, "from_m": None, "to_m": None,
             "from": stand.began_ms, "until": after.began_ms if after else None}
            for stand, after in zip(one.stands, [*one.stands[1:], None], strict=True)
        ],
        "by_hand": [], "story": _story(state, one.piece) if one.piece else [],
    }  # fmt: skip


def lay(state: State, at_ms: int) -> list[dict[str, Any]]:
    """What lay where at a moment, one row a stretch, steeps first, then in walking order."""
    return [
        {
            "piece": s.piece, "kind": s.kind, "place": s.place, "from_m": s.from_m, "to_m": s.to_m,
            "from": s.from_ms, "until": s.until_ms,
        }
        for s in told.lay_where(state.pieces, state.site, at_ms)
    ]  # fmt: skip


def questions(state: State) -> list[dict[str, Any]]:
    """What does not fit, and what nobody has recorded: to be asked in daylight, oldest first."""
    found = [
        {
            "entry": record.n,
            "at": record.when_ms,
            "place": record.body.get("bed") or record.body.get("steep") or record.body.get("kiln"),
            "by": record.body.get("by"),
            "text": record.odd,
            "perhaps": False,
            "turn": record.turn or None,
        }
        for record in state.pieces.odd()
    ]
    found += turns_asked.questions(state) + honest_count.questions(state)
    return found + [question for place in state.site.places for question in _unrecorded(state, place.id)]


def _unrecorded(state: State, place_id: str) -> list[dict[str, Any]]:
    place = state.site.place[place_id]
    lying = state.pieces.beds.get(place_id)
    text, since_ms = "", None
    if place.kind == "bed" and lying is None and place_id not in state.pieces.empty:
        best = heat.extreme(state, place_id, 1)
        if best is not None and best[1].value is not None:
            said = f"{best[1].value:.1f} C at {best[0].id}, and nobody recorded what lies there"
            text, since_ms = f"{place.name}: {said}; the strictest limits hold", best[1].measured_ms
    elif lying is not None and lying.couch_ends_ms is not None and not in_couch(lying, state.at_ms):
        text = f"{place.name}: nobody recorded that piece {lying.piece}'s couch was broken"
        since_ms = lying.couch_ends_ms
    if not text:
        return []
    asked = {"entry": None, "at": since_ms, "place": place_id, "by": None, "text": text}
    return [asked | {"perhaps": False, "turn": None}]
