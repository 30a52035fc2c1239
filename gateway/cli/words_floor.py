"""The words for what is done to a piece, from the steep to the store, and for putting an entry right."""

from __future__ import annotations

from gateway.cli.word import BED, JSON, KILN, PEOPLE, WHY, Add, Word, argument, both, number, whole, write
from gateway.core.asked import KILN_WORK, STANDS

_STEEP = argument("steep", metavar="STEEP", help="the steep's id in the site file")
_ENTRY = argument("entry", metavar="N", type=whole, help="the entry's journal number, as `piece` shows it")


def _number(name: str, what: str, unit: str = "M") -> Add:
    return argument(name, type=number, metavar=unit, help=what)


_STRETCH = both(
    _number("--from-m", "from this metre of the floor"), _number("--to-m", "to this metre of the floor")
)
_ONTO = both(
    _number("--onto-from-m", "where it lies since: from this metre"),
    _number("--onto-to-m", "and to this metre"),
)
_DEPTH = _number("--depth-cm", "how deep it is now", "CM")
_LOT = both(
    argument("--lot", metavar="LOT", help="the barley's lot"),
    argument("--variety", metavar="NAME", help="the barley's variety"),
    argument(
        "--moisture",
        dest="moisture_wb",
        type=number,
        metavar="PCT",
        help="its moisture, per cent of the wet weight",
    ),
    argument("--weight-t", type=number, metavar="T", help="its weight in tonnes"),
    argument("--recipe", metavar="NAME", help="the site file's recipe; its first if left out"),
)


def _share(what: str) -> Add:
    return argument("--share", dest="share_pct", type=number, metavar="PCT", help=what)


def _of_bed(line: str, more: str, example: str, *parts: Add) -> Word:
    return write(line, more, example, BED, *parts, PEOPLE)


FLOOR: dict[str, Word] = {
    "steeped": write(
        "a barley lot went into a steep", "Its first wet stand begins, and the recipe's reminders with it.",
        "malting-gateway steeped steep-1 --lot 24-117 --variety Maris --moisture 12 --weight-t 8 --by Ben",
        _STEEP, _LOT,
        argument("--piece", metavar="NAME", help="the piece's number, if it has one already"), PEOPLE,
    ),
    "steep-stand": write(
        "a steep was filled or drained", "Begins the next stand of the recipe.",
        "malting-gateway steep-stand steep-1 dry --at 02:10",
        _STEEP, argument("stand", metavar="wet|dry", choices=STANDS, help="wet: filled; dry: drained"),
        _number("--water-c", "the water's temperature", "C"), PEOPLE,
    ),
    "cast": _of_bed(
        "a new piece lies on a bed", "Starts the piece's days on the floor and its programme.",
        "malting-gateway cast bed-c --piece 14 --by Ada",
        argument("--piece", metavar="NAME", help="the piece's number or name; the next number if left out"),
        argument("--steep", metavar="STEEP", help="out of which steep; the only full one if left out"),
        _STRETCH,
    ),
    "couch-broken": _of_bed(
        "the couch was broken and spread", "The turn clock begins.",
        "malting-gateway couch-broken bed-c --at 14:30",
    ),
    "turned": _of_bed(
        "a bed, or a part of it, was turned",
        "Restarts the turn clock of that stretch and holds the bed's heat calls for a while; a heat alarm "
        "itself ends when the grain is cool.",
        "malting-gateway turned bed-c --from-m 20 --to-m 25 --at 04:50 --by Ada", _STRETCH, _ONTO,
    ),
    "not-turned": _of_bed(
        "what the probes took for a turn was none",
        "The turn clock of that stretch is what it was before. Without --turn, the one nearest to --at that "
        "nobody recorded.",
        'malting-gateway not-turned bed-c --at 02:40 --why "probes were out" --by Ada',
        argument("--turn", metavar="N", type=whole, help="the turn's number, as `turns` shows it"),
    ),
    "ploughed": _of_bed(
        "a bed, or a part of it, was ploughed", "Puts the turn clock off for a while; the heat's runs on.",
        "malting-gateway ploughed bed-c --by Ada", _STRETCH,
    ),
    "thinned": _of_bed(
        "a bed was spread thinner", "Keeps its depth.", "malting-gateway thinned bed-c --depth-cm 10", _DEPTH,
    ),
    "thickened": _of_bed(
        "a bed was gathered thicker", "Keeps its depth.",
        "malting-gateway thickened bed-c --depth-cm 18 --by Ada", _DEPTH,
    ),
    "sprinkled": _of_bed(
        "a bed was sprinkled", "Kept on the piece.", "malting-gateway sprinkled bed-c --litres 120",
        _number("--litres", "how much water", "L"),
    ),
    "withering": _of_bed(
        "a piece is left to wither", "From here on it is turned as a withering piece is.",
        "malting-gateway withering bed-a",
    ),
    "hand": _of_bed(
        "a bed was measured by hand", "Kept on the piece, to be held against the probe nearest to it.",
        "malting-gateway hand bed-c --c 17.4 --at-m 24 --height-cm 8 --by Ada",
        argument("--c", type=number, metavar="C", required=True, help="what the thermometer said"),
        _number("--at-m", "at this metre of the floor"), _number("--height-cm", "so high above it", "CM"),
    ),
    "chit": _of_bed(
        "corns show their chit", "Kept on the piece.", "malting-gateway chit bed-c --share 95",
        _share("of the corns, in per cent"),
    ),
    "spire": _of_bed(
        "how far the spire has grown", "Kept on the piece.", "malting-gateway spire bed-c --share 75",
        _share("of the corn's length, in per cent"),
    ),
    "smell": _of_bed(
        "what a bed smells of", "Kept on the piece.", "malting-gateway smell bed-c apples --by Ada",
        argument("what", metavar="WORDS", help="of what"),
    ),
    "moved": _of_bed(
        "a piece, or a part of it, went to another bed", "The piece keeps its age and its turns.",
        "malting-gateway moved bed-c --to bed-d --from-m 20 --to-m 25",
        argument("--to", metavar="BED", required=True, help="the bed where it lies now"), _STRETCH, _ONTO,
    ),
    "joined": write(
        "two pieces are one from here on", "As old as the older.",
        "malting-gateway joined 13 --with 14 --name 13+14",
        argument("piece", metavar="PIECE", help="the one"),
        argument("--with", dest="other", metavar="PIECE", required=True, help="the other"),
        argument("--name", metavar="NAME", help="what it is called now; the first one's name if left out"),
        PEOPLE,
    ),
    "split": _of_bed(
        "a stretch of a bed is a piece of its own", "It keeps its age and its turns.",
        "malting-gateway split bed-c --from-m 25 --to-m 30 --piece 14b",
        argument("--from-m", type=number, metavar="M", required=True, help="from this metre of the floor"),
        argument("--to-m", type=number, metavar="M", required=True, help="to this metre of the floor"),
        argument("--piece", metavar="NAME", required=True, help="what it is called"),
    ),
    "loaded": _of_bed(
        "a piece, or a part of it, went into the kiln", "Nothing lies there from here on.",
        "malting-gateway loaded bed-a", KILN, _STRETCH,
    ),
    "kiln": write(
        "something was done at the kiln; without a word, how far each load is",
        "`lit` starts the kiln's programme; `hand-dry` lets it go on after the kiln break; `moisture` is a "
        "sample's. Alone it shows stage, kiln break, moisture left and heat damage (index), with exit 1 if "
        "a kiln is at a limit.",
        "malting-gateway kiln lit --at 06:15 --by Ben",
        argument("what", choices=KILN_WORK, nargs="?", help="what was done; left out, it shows"),
        argument("--moisture-wb", type=number, metavar="PCT", help="moisture: %% of the wet weight"),
        KILN, PEOPLE, JSON,
    ),
    "order": write(
        "the maltster's order: leave a bed until then",
        "Moves when it is due and overdue; no limit of heat or gas asks for it.",
        'malting-gateway order bed-c --until 04:00 --why "I want it warm" --by Cleo',
        BED,
        argument("--until", metavar="TIME", required=True, help="04:00 (the next one), or in full"),
        WHY,
    ),
    "correct": write(
        "an entry was wrong: what is given here holds instead",
        "The old entry stays in the journal. --at is when it really happened.",
        'malting-gateway correct 8812 --at 04:10 --why "wrong hour written down" --by Ada',
        _ENTRY, argument("--bed", metavar="BED", help="another bed"),
        argument("--to", metavar="BED", help="another target"),
        argument("--steep", metavar="STEEP", help="another steep"),
        argument("--piece", metavar="NAME", help="another piece"), KILN, _STRETCH, _ONTO, _DEPTH,
        argument("--c", type=number, metavar="C", help="another reading"),
        _number("--at-m", "taken at this metre"), _number("--height-cm", "so high up", "CM"),
        _number("--water-c", "another temperature of the water", "C"),
        _number("--litres", "as much water", "L"), _share("another share"), _LOT,
        argument("--done-by", metavar="NAME", help="who really did it"),
        argument("--at", dest="when", metavar="TIME", help="when it really happened; left out, that stays"),
        argument("--by", metavar="NAME", help="who puts it right"),
        argument("--why", metavar="TEXT", help="why, in a few words"),
    ),
    "void": write(
        "an entry never happened", "Voiding the void brings it back.",
        'malting-gateway void 8812 --why "that was bed D" --by Ada', _ENTRY, WHY,
    ),
    "keep": write(
        "an entry that seemed not to fit is right as it stands", "It leaves the list of questions.",
        'malting-gateway keep 8812 --why "turned early, yes" --by Cleo', _ENTRY, WHY,
    ),
}  # fmt: skip
