"""A piece from steep to store, typed by somebody who has read the help; then its story, and what to ask."""

from pathlib import Path

from tests.cli.house import Said, schema, type_in

MONDAY, TUESDAY, WEDNESDAY = "2024-11-04", "2024-11-05", "2024-11-06"


def _typed(store: Path, *words: object, on: str = TUESDAY, at: str = "") -> int:
    when = ("--at", f"{on}T{at}:00Z") if at else ()
    said = type_in("--store", store, *words, *when)
    assert said.code == 0, said.err
    return int(said.json["journal"])


def _read(store: Path, *words: object) -> Said:
    return type_in("--store", store, *words)


def test_a_piece_is_told_from_the_steep_to_the_store(store: Path) -> None:
    _typed(
        store,
        "steeped",
        "steep-1",
        "--lot",
        "24-117",
        "--moisture",
        12,
        "--weight-t",
        8,
        on=MONDAY,
        at="03:00",
    )
    _typed(store, "steep-stand", "Steep 1", "dry", on=MONDAY, at="11:00")
    _typed(store, "cast", "bed-d", "--piece", "21", "--by", "Ada", at="03:10")
    _typed(store, "couch-broken", "bed-d", at="20:00")
    _typed(store, "thinned", "bed-d", "--depth-cm", 14, at="20:05")
    turn = _typed(store, "turned", "bed-d", "--from-m", 30, "--to-m", 35, "--by", "Ben", at="22:00")
    _typed(store, "correct", turn, "--at", f"{TUESDAY}T23:00:00Z", "--done-by", "Cleo", "--by", "Ben")
    _typed(store, "ploughed", "bed-d", on=WEDNESDAY, at="02:00")
    _typed(
        store,
        "hand",
        "bed-d",
        "--c",
        16.2,
        "--at-m",
        33,
        "--height-cm",
        6,
        "--by",
        "Ada",
        on=WEDNESDAY,
        at="03:00",
    )
    for word in (
        ("chit", "bed-d", "--share", 96),
        ("spire", "bed-d", "--share", 40),
        ("smell", "bed-d", "apples"),
    ):
        _typed(store, *word, on=WEDNESDAY, at="04:00")
    _typed(store, "sprinkled", "bed-d", "--litres", 90, on=WEDNESDAY, at="05:00")
    _typed(store, "withering", "bed-d", on=WEDNESDAY, at="06:00")
    _typed(store, "loaded", "bed-d", on=WEDNESDAY, at="08:00")
    for what, at in (("lit", "09:00"), ("stripped", "20:00"), ("to-store", "21:00")):
        _typed(store, "kiln", what, on=WEDNESDAY, at=at)
    document = _read(store, "piece", "21", "--json")
    schema("piece").validate(document.json)
    [piece] = document.json["rows"]

    assert (piece["lot"], piece["weight_t"], piece["depth_cm"], piece["stage"]) == ("24-117", 8, 14, "store")
    assert [stay["place"] for stay in piece["way"]] == ["steep-1", "bed-d", "kiln", "kiln"]
    assert [entry["what"] for entry in piece["story"]] == [
        "steeped", "steep-stand", "cast", "couch-broken", "thinned", "turned", "ploughed", "hand", "chit",
        "spire", "smell", "sprinkled", "withering", "loaded", "kiln", "kiln", "kiln",
    ]  # fmt: skip
    [mended] = [entry for entry in piece["story"] if entry["entry"] == turn]
    assert (mended["at"], mended["by"], mended["put_right"]) == (f"{TUESDAY}T23:00:00.000Z", "cleo", 1)
    table = _read(store, "piece", "21").out
    assert "thinned to 14 cm" in table
    assert "Steep 1, steeped, 8 t, 12 % moisture, lot 24-117" in " ".join(table.split())


def test_what_cannot_be_is_asked_and_answered_by_void_and_keep(store: Path) -> None:
    early = _typed(store, "turned", "bed-d", "--by", "Ben", at="01:00")
    other = _typed(store, "loaded", "bed-b", at="01:30")
    _typed(store, "cast", "bed-d", "--piece", "21", at="02:00")
    asked = {row["entry"]: row["text"] for row in _read(store, "questions", "--json").json["rows"]}

    assert asked[early] == "Bed D: turned before piece 21 was cast"
    assert asked[other] == "Bed B: loaded, but nothing is recorded as lying there"
    _typed(store, "void", early, "--why", "that was bed C")
    _typed(store, "keep", other, "--why", "the last of an old piece")
    left = {row["entry"] for row in _read(store, "questions", "--json").json["rows"]}
    assert not {early, other} & left


def test_what_lay_where_can_be_asked_for_any_time(store: Path) -> None:
    _typed(store, "moved", "bed-c", "--to", "bed-d", "--from-m", 25, "--to-m", 30, at="02:30")

    def lay(at: str) -> list[tuple[str, str]]:
        said = _read(store, "lay", "--at", f"{TUESDAY}T{at}:00Z", "--json")
        schema("lay").validate(said.json)
        return [(row["place"], row["piece"]) for row in said.json["rows"]]

    assert lay("02:00") == [("bed-a", "15"), ("bed-c", "14")]
    assert lay("02:40") == [("bed-a", "15"), ("bed-c", "14"), ("bed-d", "14")]
    said = _read(store, "lay", "--at", "24:30")
    assert said.code == 2
    assert "--at: got '24:30': no day has an hour 24; expected HH:MM such as 04:50" in said.err


def test_an_order_needs_an_end_that_is_ahead_and_a_reason(store: Path) -> None:
    assert _read(store, "order", "bed-c", "--until", "04:00").code == 2
    past = _read(store, "order", "bed-c", "--until", "2024-11-01T04:00:00Z", "--why", "warm")
    assert (past.code, "not within the next 48 h" in past.err) == (2, True)
    assert _read(store, "order", "bed-c", "--until", "04:00", "--why", "warm").code == 0
