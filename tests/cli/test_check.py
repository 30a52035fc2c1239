"""`check`: nothing to say about a good site file, all faults at once about a bad one."""

from pathlib import Path

from tests.cli.house import schema, site_file, type_in


def test_a_good_site_file_is_exit_0(site: Path) -> None:
    said = type_in("--site", site, "check")
    assert (said.code, said.out) == (0, "no faults\n")
    assert type_in("check", MALTING_SITE=str(site)).code == 0


def test_all_faults_are_named_at_once_with_file_and_line(tmp_path: Path) -> None:
    path = site_file(tmp_path)
    text = path.read_text().replace('place = "bed-c"', 'place = "bed-z"', 1)
    text = text.replace("port = 1 ", "port = 0 ")
    path.write_text(text)
    said = type_in("--site", path, "check")
    assert said.code == 2
    assert f"{path}:" in said.out
    assert "bed-z" in said.out
    assert "broker.port" in said.out
    document = type_in("--site", path, "check", "--json")
    assert document.code == 2
    schema("check").validate(document.json)
    found = {row["key"]: row for row in document.json["rows"] if row["kind"] == "fault"}
    lines = text.splitlines()
    assert "port = 0" in lines[found["broker.port"]["line"] - 1]
    assert any("bed-z" in str(row["value"]) for row in found.values())


def test_an_hour_with_nobody_on_shift_is_warned_of_and_the_file_can_be_used(tmp_path: Path) -> None:
    path = site_file(tmp_path)
    path.write_text(path.read_text().replace('from = "22:00"', 'from = "23:00"'))
    said = type_in("--site", path, "check")
    assert said.code == 0
    assert said.out.startswith("warning: ")
    assert "nobody mon 22:00 to mon 23:00" in said.out
    assert "everybody is called" in said.out


def test_the_same_faults_stop_a_run_before_it_begins(tmp_path: Path) -> None:
    path = site_file(tmp_path)
    path.write_text(path.read_text().replace('place = "bed-c"', 'place = "bed-z"', 1))
    said = type_in("--site", path, "--store", tmp_path / "store", "run")
    assert said.code == 2
    assert "bed-z" in said.err
    assert not (tmp_path / "store").exists()


def test_no_site_file_is_exit_2(tmp_path: Path) -> None:
    assert type_in("--site", tmp_path / "none.toml", "check").code == 2
    said = type_in("check")
    assert said.code == 2
    assert "MALTING_SITE" in said.err
