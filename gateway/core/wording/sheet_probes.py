"""The sheets of doubted probes: none of these is ever a reason not to judge what a probe says."""

from __future__ import annotations

from gateway.core.wording.sheet_form import Sheet

PROBES: dict[str, Sheet] = {
    "probe_not_back": Sheet(
        "After a turn it still reads like the room's air and does not rise: it hangs on its hook.",
        "It is in good order and watches nothing; the bed may heat unseen.",
        "Check room air before going in; put the probe back into the grain at its height.",
        "at the next round",
        "low",
        "maltster",
    ),
    "probe_high": Sheet(
        "The bed is recorded less deep than the height at which the probe hangs.",
        "It reads the air over the bed and watches nothing.",
        "Lower it into the grain and change its height in the site file, or record the bed's true depth.",
        "at the next round",
        "low",
        "maltster",
    ),
    "probe_stuck": Sheet(
        "One value for far longer than this probe ever stood before: frozen electronics, a stuck cell.",
        "It would not show the bed heating.",
        "Take a hand thermometer to it; cut its power and see whether it moves, else change it.",
        "by the morning",
        "low",
        "maintenance",
    ),
    "probe_noisy": Sheet(
        "A loose contact, wet connector or failing cell: far more unrest than in its days before.",
        "Its single readings mean little; it may call for nothing, and hide a slow rise.",
        "Look at connector and cable, dry them; change the probe if it goes on.",
        "by the morning",
        "low",
        "maintenance",
    ),
    "probe_jumps": Sheet(
        "A leap between two readings that neither grain nor air can make: contact, power, a hand.",
        "A false high, or a true one: each reading is judged all the same.",
        "Look at the bed first, by hand thermometer; then at connector and cable.",
        "by the morning",
        "low",
        "maintenance",
    ),
    "probe_drifts": Sheet(
        "After turn after turn, when all grain is mixed alike, it reads apart from the others.",
        "Its limits are off by as much: too early or too late.",
        "Compare in ice water or with a hand thermometer; set its offset in the site file, or change it.",
        "within the week",
        "low",
        "maintenance",
    ),
    "probe_low": Sheet(
        "CO2 less than outdoor air has: automatic self-baseline that never saw fresh air, or age.",
        "Gas is under-read: it calls too late, and people go in.",
        "Hand meter before anybody goes in. Self-baseline off, calibrate it in fresh air, bump-test it.",
        "before the next entry",
        "low",
        "maintenance",
    ),
    "probe_sentinel": Sheet(
        "It sends values that stand for a fault: -9999, all zero, the value after a power cut.",
        "It measures nothing meanwhile; what it sent is refused or doubted, never taken as heat that was.",
        "Look at its power, cable and settings.",
        "by the morning",
        "low",
        "maintenance",
    ),
    "probe_hand": Sheet(
        "A thermometer put in by hand beside it read 1 K (setting) or more apart.",
        "One of the two is off, and with it every limit judged by it.",
        "Compare both in ice water; set the offset in the site file, or change the probe.",
        "within the week",
        "low",
        "maintenance",
    ),
    "probe_calibration_due": Sheet(
        "More days since its last calibration, or since gas was last tried on it, than the site file allows.",
        "It may under-read, and nobody would know: gas probes age.",
        "Hand meter till then. Calibrate it, try it with gas as its maker says, note both dates.",
        "within the week",
        "low",
        "maintenance",
    ),
}
