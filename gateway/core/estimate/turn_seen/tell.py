"""From what is thought of a walk to what is told: once; mended, or taken back where it proves to be none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from gateway.core.estimate.turn_seen.bed import TEMPERATURE, Bed, TurnSeen
from gateway.core.estimate.turn_seen.passage import LEAST_MOVE
from gateway.core.estimate.turn_seen.ring import Ring
from gateway.core.estimate.turn_seen.state import BedTurns, Told, Turns
from gateway.core.estimate.turn_seen.usual import learn
from gateway.core.estimate.turn_seen.verdict import TURNED, Denied, Verdict

#: What was not told by then is not told: the memory of the time before it fades, and half a story misleads.
_TELL_MOST_MS = 2_700_000
#: Two accounts this near are of one turn; moves this near are the same moves.
_SAME_MS, _NEAR_MS = 1_200_000, 300_000
#: An account is mended so long after the turn, and for no less than these changes.
_MEND_MS, _MENDED_MS, _MENDED_SURENESS = 4_800_000, 120_000, 0.1
#: So long after it was first told a turn may still come by another thermometer; CO2 is let go at once.
_WALKS_ON_MS = 2_400_000
_TOLD_MOST = 4
#: One less sure than this must show in two looks, one after the other.
_SURE_AT_ONCE = 0.75
#: The whole site moved together: the others began within this of this bed, and fell by at least this.
_ALIKE_MS, _ALIKE_FALL = 150_000, LEAST_MOVE * 2 // 3
#: Air that falls by this share of what a turn is said to have cooled the grain by explains it.
_ALL_BUT = 0.75
#: Probes of one bed that begin within this began at once: clocks and lags differ.
_AT_ONCE_MS = 240_000


def tell(
    turns: Turns, bed: Bed, lying: BedTurns, verdict: Verdict, before: Sequence[int], now_ms: int
) -> list[TurnSeen]:
    """The turn as it is told now, if it is new or says more than before; else nothing."""
    if now_ms < verdict.tell_ms:
        return []
    told = next((one for one in lying.told if _same(one.seen, verdict)), None)
    if told is not None:
        mended = _mend(bed, told, verdict, now_ms)
        if mended and verdict.kind == TURNED:
            learn(turns, bed, told.seen.turn, verdict.walk)
        return mended
    if _too_late(verdict, now_ms) or (not verdict.vented and _all_fell(turns, bed, verdict)):
        return []
    out_ms = _middle(verdict.outs_ms)
    lying.thought.append(out_ms)
    if verdict.sureness < _SURE_AT_ONCE and not any(abs(out_ms - one) <= _ALIKE_MS for one in before):
        # What a single look shows, the next may not.
        return []
    turns.number += 1
    seen = _seen(bed, verdict, turns.number, now_ms)
    lying.told = [*lying.told, Told(seen, out_ms, verdict.sure, verdict.back)][-_TOLD_MOST:]
    if verdict.kind == TURNED:
        learn(turns, bed, seen.turn, verdict.walk)
    return [seen]


def _too_late(verdict: Verdict, now_ms: int) -> bool:
    return now_ms - verdict.last_ms > _TELL_MOST_MS


def take_back(turns: Turns, bed: Bed, lying: BedTurns, denied: Denied, now_ms: int) -> list[TurnSeen]:
    """The told turn that these probes deny, withdrawn; nothing if they were not most of its witnesses."""
    for told in lying.told:
        seen = told.seen
        apart_ms = max(denied.from_ms - seen.ended_ms, seen.began_ms - denied.to_ms)
        if 3 * len(set(seen.probes) & set(denied.probes)) < 2 * len(seen.probes):
            continue
        if apart_ms <= _NEAR_MS and seen.state == "seen" and now_ms - denied.to_ms <= _SAME_MS:
            told.seen = replace(seen, state="withdrawn", sureness=0.0)
            told.out_ms = denied.from_ms
            learn(turns, bed, seen.turn, None)
            return [told.seen]
    return []


def _mend(bed: Bed, told: Told, verdict: Verdict, now_ms: int) -> list[TurnSeen]:
    """Tell it again where that says more: another kind, a new witness, or the same moves gone further."""
    old = told.seen
    new = _seen(bed, verdict, old.turn, old.known_ms)
    out_ms = _middle(verdict.outs_ms)
    if now_ms - old.ended_ms > _MEND_MS:
        return []
    if old.state == "seen" and (old.kind == TURNED or new.kind != TURNED):
        after = new.ended_ms - old.ended_ms >= _MENDED_MS
        later = after and abs(out_ms - told.out_ms) <= _ALIKE_MS
        surer = new.sureness - old.sureness >= _MENDED_SURENESS
        more = len(new.probes) > len(old.probes)
        grain = {wire.id for wire in bed.probes if wire.quantity == TEMPERATURE}
        walks_on = len(set(new.probes) & grain) > len(set(old.probes) & grain)
        late = told.sure and now_ms - old.known_ms > (_WALKS_ON_MS if walks_on else _SAME_MS)
        # Told of probes that might hang in the air; this is of none that can.
        firm = verdict.sure and not told.sure and abs(new.ended_ms - old.ended_ms) >= _MENDED_MS
        told_more = more or firm or (surer and set(new.probes) >= set(old.probes))
        # Another turn has shown meanwhile how long they take here.
        moved = abs(new.ended_ms - old.ended_ms) >= _MENDED_MS and abs(out_ms - told.out_ms) <= _ALIKE_MS
        reckoned = moved and new.probes == old.probes and not verdict.walk.weight
        # What was taken for grain hung in the air, and has come back from it.
        came_back = after and verdict.back and not told.back and set(new.probes) >= set(old.probes)
        if new.kind != old.kind or not (told_more or reckoned or came_back or (later and not late)):
            return []
        known_ms = now_ms if came_back else old.known_ms
        new = replace(new, sureness=max(old.sureness, new.sureness), known_ms=known_ms)
        if late and not (reckoned or came_back):
            # A witness that was stuck or silent bears it out, but does not know when.
            new = replace(new, began_ms=old.began_ms, ended_ms=old.ended_ms)
            out_ms = told.out_ms
    elif new.kind != TURNED:
        return []
    elif old.state != "seen" and (abs(out_ms - told.out_ms) <= _ALIKE_MS or _too_late(verdict, now_ms)):
        # What was taken back is not told again for the same moves.
        return []
    told.seen, told.out_ms, told.sure, told.back = new, out_ms, verdict.sure, verdict.back
    return [new]


def _seen(bed: Bed, verdict: Verdict, turn: int, known_ms: int) -> TurnSeen:
    took = verdict.walk
    return TurnSeen(
        bed.id, turn, verdict.kind, "seen", took.began_ms, took.ended_ms, known_ms,
        round(took.from_m, 2), round(took.to_m, 2), verdict.sureness,
        _kelvin(verdict.fall), _kelvin(verdict.spread_before), _kelvin(verdict.spread_after), verdict.probes,
    )  # fmt: skip


def _kelvin(hundredths: float | None) -> float | None:
    return None if hundredths is None else round(hundredths / 100.0, 2)


def _same(seen: TurnSeen, verdict: Verdict) -> bool:
    took = verdict.walk
    return took.began_ms <= seen.ended_ms + _SAME_MS and took.ended_ms >= seen.began_ms - _SAME_MS


def _middle(values: Sequence[int]) -> int:
    return sorted(values)[len(values) // 2]


def _all_fell(turns: Turns, bed: Bed, verdict: Verdict) -> bool:
    """Whether the site moved in the same moments as this bed: the air over it, or half of the other beds.

    Beds that are turned at one time in different places are no such thing where the air stood still, nor
    where layers far apart came together; what is common to all is the same everywhere.
    """
    outs, middle = verdict.outs_ms, _middle(verdict.outs_ms)
    # What is common to all shows in each of them, by more than weather does.
    least = max(_ALIKE_FALL, int(0.4 * (verdict.fall or 0.0)))
    near = [out for out in outs if abs(out - middle) <= _AT_ONCE_MS]
    if 4 * len(near) < 3 * len(outs):
        return False
    air = [turns.air[wire.id] for wire in bed.air if wire.id in turns.air]
    air = [ring for ring in air if ring.heard_ms() >= middle]
    if air:
        # As they came out; or later, by so much that little is left for a turn, unless layers tell of one.
        until_ms = middle if verdict.strongly else verdict.last_ms + _NEAR_MS
        rest = max(least, int(_ALL_BUT * (verdict.fall or 0.0)))
        return any(
            _fell(ring, middle) >= least
            or any(_fell(ring, at_ms) >= rest for at_ms in range(middle, until_ms, ring.bin_ms))
            for ring in air
        )
    rings = [ring for name, other in turns.beds.items() if name != bed.id for ring in other.rings.values()]
    rings = [ring for ring in rings if not ring.gas and ring.heard_ms() >= middle]
    falls = [_fell(ring, middle) for ring in rings]
    alike = sum(fall >= least for fall in falls)
    same = sum(abs(fall - (verdict.fall or 0.0)) <= least for fall in falls)
    return bool(rings) and 2 * alike >= len(rings) and (not verdict.strongly or 4 * same >= 3 * len(rings))


def _fell(ring: Ring, at_ms: int) -> int:
    """By how much a thermometer fell within the time that counts as the same moment."""
    place = len(ring.values) - 1 - (ring.last - at_ms // ring.bin_ms)
    apart = max(1, _ALIKE_MS // ring.bin_ms)
    before = [v for v in ring.values[max(0, place - apart - 4) : max(0, place - apart)] if v is not None]
    after = [v for v in ring.values[max(0, place + apart) : place + apart + 4] if v is not None]
    return _middle(before) - _middle(after) if len(before) > 1 and len(after) > 1 else 0
