"""The sheet of each alarm: cause, consequence, what to do, how soon, how grave, whose it is.

Times to act are common practice, no source, unless the trade's programme says otherwise.
"""

from __future__ import annotations

from gateway.core.wording.sheet_form import Sheet
from gateway.core.wording.sheet_kiln import KILN
from gateway.core.wording.sheet_probes import PROBES

__all__ = ["SHEETS", "Sheet", "sheet"]

_GATEWAY_OWNER = "whoever keeps the gateway"
SHEETS: dict[str, Sheet] = {
    "bed_hot": Sheet(
        "The bed makes more heat than it loses: too deep, too long since the turn, room too warm.",
        "Growth runs away, rootlets mat, the malt is uneven; past the urgent limit grain is damaged.",
        "Check room air before going in, open shutters, turn; where the room is warm, thin the bed.",
        "high: 1 hour; urgent: 20 minutes",
        "medium; urgent: high",
        "maltster",
    ),
    "bed_low": Sheet(
        "Cold air on the bed, a bed too thin, or a turn too many.",
        "Growth is checked; some corns stay behind for good.",
        "Close shutters, thicken the bed; plough rather than turn while air and rootlets allow.",
        "by the morning",
        "low",
        "maltster",
    ),
    "bed_unwatched": Sheet(
        "Every probe of the bed is silent, out of service, or not in the grain. Or the one where it is "
        "hottest is silent, out of service, stuck or reads low, and by its heat it is at its limit there.",
        "A hot bed would call nobody.",
        "Take a hand thermometer, write the reading down, put a probe back into the grain.",
        "30 minutes",
        "high",
        "maltster",
    ),
    "turn_overdue": Sheet(
        "No turn of this stretch, recorded or seen by the probes, for longer than the programme allows.",
        "The bed heats and mats, and its carbon dioxide stays in it.",
        "Air the room, look at the bed, turn; record the turn, or record it late with its real time.",
        "2 hours",
        "medium",
        "maltster",
    ),
    "steep_drain": Sheet(
        "Nobody has recorded that this steep was drained, for longer than its recipe allows.",
        "Grain under water too long drowns: it chits unevenly or not at all.",
        "Drain it; record the stand, late with its real time if need be. Hand meter before anybody goes in.",
        "30 minutes",
        "high",
        "maltster",
    ),
    "steep_fill": Sheet(
        "Nobody has recorded that this steep was filled again, for longer than its recipe allows.",
        "The grain takes up no more water and warms where it lies.",
        "Fill it; record the stand, or record it late with its real time.",
        "2 hours",
        "medium",
        "maltster",
    ),
    "probe_silent": Sheet(
        "Flat battery, wet grain on the aerial, probe or repeater unplugged.",
        "One pair of eyes fewer on this place.",
        "Look at battery and cable, put the probe back where it belongs.",
        "by the morning",
        "low",
        "maintenance",
    ),
    "probe_clock": Sheet(
        "The probe sent two values for one time, or one ahead of time: a wrong clock, or two share a name.",
        "Its readings may belong to another time or place.",
        "Compare with a hand thermometer; check the probe's clock and name.",
        "by the morning",
        "low",
        "maintenance",
    ),
    **KILN,
    **PROBES,
    "gas_high": Sheet(
        "Carbon dioxide from growing grain gathers low down: shutters shut, fans off, bed just turned. "
        "Carbon monoxide: a fire that burns badly, or its fumes come back with the draught.",
        "People who go in lose their senses within minutes, and those who go in to help after them.",
        "Stay out. Find out who is inside. Ring the emergency number if there is no answer. Air the room "
        "from outside. Local codes and licensed practice come first; this is not a certified gas alarm.",
        "at once",
        "highest",
        "safety officer",
    ),
    "gas_over_range": Sheet(
        "There is more gas than the probe can show.",
        "It is at least the end of the range, and nobody knows how much more.",
        "Stay out, as for any gas call; a probe with a longer range where this happens again.",
        "at once",
        "highest",
        "safety officer",
    ),
    "air_unknown": Sheet(
        "The last gas probe of the place is not heard, or was taken out of service.",
        "Bad air there would call nobody.",
        "Nobody in without a hand meter. Put a probe back, or hang another; look at battery and cable.",
        "30 minutes",
        "high",
        "safety officer",
    ),
    "checkout_missed": Sheet(
        "Somebody checked in for a round or an entry and did not check out in time.",
        "They may have forgotten, or lie there.",
        "Ring them. No answer: two people, with a hand meter, or the emergency number where the air is bad "
        "or unknown.",
        "5 minutes",
        "high",
        "whoever is called",
    ),
    "gateway_broker": Sheet(
        "The broker is down, its power or the network between is gone, or it refuses the gateway.",
        "No reading arrives; nothing on the floor is watched.",
        "Go round with a hand thermometer and meter; bring broker and network back.",
        "30 minutes",
        "medium",
        _GATEWAY_OWNER,
    ),
    "gateway_session_lost": Sheet(
        "The broker no longer knew the gateway's session when it came back.",
        "Readings sent in between may be missing.",
        "Look through the beds once by hand; see that the broker keeps sessions over a restart.",
        "1 hour",
        "medium",
        _GATEWAY_OWNER,
    ),
    "gateway_dropped": Sheet(
        "The broker threw messages away: a queue of one of its clients is full, perhaps the gateway's.",
        "Readings of the last minutes may be missing.",
        "Look through the beds once by hand; give the broker longer queues (max_queued_messages).",
        "1 hour",
        "medium",
        _GATEWAY_OWNER,
    ),
    "gateway_disk": Sheet(
        "The disk of the gateway is full.",
        "New readings wait at the broker and are not judged.",
        "Make room on the disk.",
        "30 minutes",
        "medium",
        _GATEWAY_OWNER,
    ),
    "gateway_mirror": Sheet(
        "The site's time-series server is away, refuses the gateway's token, or has no such bucket.",
        "Its pictures stand still. The gateway keeps everything and sends it later, oldest first.",
        "Look at health: it says what the server answered, and which lines it would not take.",
        "by day",
        "medium",
        _GATEWAY_OWNER,
    ),
    "gateway_clock": Sheet(
        "The gateway's clock was never set, or jumped.",
        "Times in messages, and who is on shift, may be wrong.",
        "Set the clock, see that it is kept by the network.",
        "1 hour",
        "medium",
        _GATEWAY_OWNER,
    ),
    "gateway_twin": Sheet(
        "Another program uses this gateway's client id.",
        "Each throws the other out; readings come late.",
        "Find the other one and switch it off or give it its own id.",
        "1 hour",
        "medium",
        _GATEWAY_OWNER,
    ),
    "gateway_phone": Sheet(
        "A phone's address refuses messages, or nothing has reached it three times in a row.",
        "Somebody who is on the list would not hear a call.",
        "Make a test call; mend the phone's entry, or put somebody else on shift.",
        "1 hour",
        "medium",
        _GATEWAY_OWNER,
    ),
}


def sheet(kind: str) -> Sheet:
    """The sheet of a kind of alarm; raises KeyError for a kind without one."""
    return SHEETS[kind]
