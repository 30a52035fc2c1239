"""Every fault the site file can have is named: file, line, key, value, what was expected; all at once."""

from pathlib import Path

import pytest

from gateway.errors import SettingsFault
from gateway.settings import Fault, SiteFault, check, load
from tests.settings.cases import CASES, WARNINGS
from tests.settings.sites import SITE, changed, faults_of, line_of, write

PROBE = '[[probe]]\nid = "{}"\nplace = "bed-a"\nquantity = "temperature"\n'


def test_the_good_site_has_no_fault_and_no_warning(tmp_path: Path) -> None:
    assert check(write(tmp_path), {}) == ([], [])


@pytest.mark.parametrize("name", CASES)
def test_each_fault_is_named(name: str, tmp_path: Path) -> None:
    change, needle, key, value, expected = CASES[name]
    text = changed(change)

    found = [fault for fault in faults_of(tmp_path, text) if fault.key == key]

    assert len(found) == 1
    file, line = str(tmp_path / "site.toml"), line_of(text, needle)
    assert found[0] == Fault(file, line, key, value, found[0].expected)
    assert expected in found[0].expected
    where = f"{file}:{line}: {key}"
    shown = f"{where} is missing" if value is None else f"{where} = {value}"
    assert str(found[0]) == f"{shown}: expected {found[0].expected}"


@pytest.mark.parametrize("name", CASES)
def test_one_fault_brings_few_others(name: str, tmp_path: Path) -> None:
    """What follows from a fault (an id that is not there) may be said too, but no flood of it."""
    assert 1 <= len(faults_of(tmp_path, changed(CASES[name][0]))) <= 6


def test_all_faults_at_once(tmp_path: Path) -> None:
    text = changed(
        ("Europe/London", "Europe/Quern"),
        ("port = 18883", "port = 0"),
        ("to_m = 20", "to_m = 30"),
        ('kind = "room"', 'kind = "attic"'),
        ('place = "bed-b"', 'place = "bed-x"'),
        ("range = [-20, 60]", "range = [0, 15]"),
        ("every_s = 60", "every_s = 0"),
        ('unit = "ppm"', 'unit = "Pa"'),
        ('people = ["ada"]', 'people = ["eve"]'),
        ("http://127.0.0.1:8471/ada", "gopher://x"),
        ("high_c = 21", "high_c = 10"),
        ("from_h = 20", "from_h = 0"),
    )
    with pytest.raises(SiteFault) as caught:
        load(write(tmp_path, text), {})

    keys = [fault.key for fault in caught.value.faults]
    assert keys == [
        "site.time_zone",
        "broker.port",
        "place[1].to_m",
        "place[2].kind",
        "probe[0].every_s",
        "probe[1].place",
        "probe[2].unit",
        "phone[0].url",
        "shift[0].people[0]",
        "programme.slow.day[0].high_c",
        "programme.hot.stage[1].from_h",
    ]
    assert str(caught.value).splitlines() == [str(fault) for fault in caught.value.faults]
    assert isinstance(caught.value, SettingsFault)


def test_two_faults_of_one_table_are_both_named(tmp_path: Path) -> None:
    """A probe with a wrong number is still looked up: its unit and its place."""
    text = changed(
        ('unit = "ppm"', 'unit = "Pa"\ngain = 0'),
        ('place = "lower-room"', 'place = "upper-room"'),
        ('id = "room-co2"', 'id = "bed-a-mid"'),
    )
    keys = {fault.key for fault in faults_of(tmp_path, text)}
    assert keys == {"probe[2].gain", "probe[2].unit", "probe[2].place", "probe[2].id"}


@pytest.mark.parametrize(
    ("shift", "gap"),
    [
        ('from = "06:00"\nto = "22:00"', "nobody mon 00:00 to mon 06:00"),
        ('from = "06:00"\nto = "05:59"', "nobody mon 05:59 to mon 06:00"),
    ],
)
def test_an_hour_with_nobody_on_shift_is_named_but_the_gateway_runs(
    shift: str, gap: str, tmp_path: Path
) -> None:
    text = changed(('from = "00:00"\nto = "24:00"', shift))
    faults, warnings = check(write(tmp_path, text), {})

    assert faults == [], "check warns of it (contract C9); the file can be used"
    assert [(one.key, one.value, one.line, one.blocks) for one in warnings] == [
        ("shift", gap, line_of(text, "[[shift]]"), False)
    ]
    assert "Europe/London" in warnings[0].expected
    assert load(tmp_path / "site.toml", {}).warnings == tuple(warnings)


def test_no_shift_at_all_is_named(tmp_path: Path) -> None:
    text = SITE[: SITE.index("[[shift]]")] + SITE[SITE.index("[programme.slow]") :]
    faults, warnings = check(write(tmp_path, text), {})
    assert faults == []
    assert [(one.key, one.value, one.line) for one in warnings] == [
        ("shift", "nobody mon 00:00 to sun 24:00", None)
    ]


@pytest.mark.parametrize(
    ("data", "line", "words"),
    [
        (b"a = 1\n[site\nid = 2", 2, "TOML"),
        (b"a = 1\nb = [1,\n", 3, "TOML"),
        (b"[site]\n[site]\n", 2, "TOML"),
        (b"a = 1\nb = 'caf\xe9'\n", 2, "text in UTF-8"),
        (b"a = " + b"[" * 5000, None, "TOML"),
        (b"a = " + b"9" * 5000, None, "TOML"),
        (b"# a\na" + b".'a'. a" * 20_000, 2, "keys of at most 32 parts"),
        (b"#" * 1_000_001, None, "a file that can be read (more than 1,000,000 bytes)"),
    ],
)
def test_what_is_no_toml_is_one_fault(data: bytes, line: int | None, words: str, tmp_path: Path) -> None:
    path = tmp_path / "site.toml"
    path.write_bytes(data)
    faults, warnings = check(path, {})

    assert [(one.file, one.line, one.key, one.value) for one in faults] == [(str(path), line, "", None)]
    assert words in faults[0].expected
    assert warnings == []
    with pytest.raises(SiteFault) as caught:
        load(path, {})
    assert list(caught.value.faults) == faults


@pytest.mark.parametrize(("name", "why"), [("no.toml", "no such file"), (".", "a directory")])
def test_a_file_that_is_not_there_is_a_fault(name: str, why: str, tmp_path: Path) -> None:
    faults, _ = check(tmp_path / name, {})
    assert [str(one) for one in faults] == [f"{tmp_path / name}: expected a file that can be read ({why})"]


def test_very_many_faults_are_cut_and_counted(tmp_path: Path) -> None:
    rows = "".join(PROBE.format(f"p{i}").replace("bed-a", "bed-x") for i in range(1000))
    faults = faults_of(tmp_path, SITE + rows)

    assert len(faults) == 201
    assert faults[-1].expected.startswith("800 more faults")


def test_very_many_tables_are_one_fault(tmp_path: Path) -> None:
    faults = faults_of(tmp_path, SITE + "[[floor]]\n" * 5001)
    found = [one for one in faults if one.key == "floor"]
    assert [(one.value, one.expected) for one in found] == [("5002 tables", "at most 5000 of them")]


@pytest.mark.parametrize("name", WARNINGS)
def test_what_works_and_is_better_mended_is_a_warning(name: str, tmp_path: Path) -> None:
    change, key, expected = WARNINGS[name]
    path = write(tmp_path, changed(change))
    faults, warnings = check(path, {})

    assert faults == []
    assert [one.key for one in warnings] == [key]
    assert expected in warnings[0].expected
    assert load(path, {}).warnings == tuple(warnings)
