"""`malting-gateway credentials`: made once, closed to others, never overwritten, as the site file says."""

import os
import subprocess
from pathlib import Path

import pytest

from gateway.edges.credentials import fits, scrambled
from gateway.errors import SettingsFault
from gateway.live import credentials as live_credentials
from tests.deploy.board import ROOT, Site, make_site, site_text


def again(site: Site, *names: str, certificates: bool = False) -> list[str]:
    """The command once more; what it said."""
    return live_credentials.make(site.file, {}, site.credentials, names, certificates=certificates)


def contents(folder: Path) -> dict[str, bytes]:
    """Every file below a folder."""
    return {str(file): file.read_bytes() for file in folder.rglob("*") if file.is_file()}


def test_only_their_owner_can_read_them(site: Site) -> None:
    files = list(site.credentials.rglob("*"))
    assert len(files) > 15
    for path in (site.credentials, *files):
        assert path.stat().st_mode & 0o777 == (0o700 if path.is_dir() else 0o600), path


def test_nothing_is_secret_in_two_places_or_weak(site: Site) -> None:
    words = [file.read_text().strip() for file in site.credentials.rglob("*.password")]
    assert len(words) == 3
    assert len(set(words)) == 3
    assert all(len(word) >= 32 for word in words)
    kept = (site.credentials / "broker" / "passwords").read_text()
    assert not any(word in kept for word in words)


def test_a_second_time_makes_and_changes_nothing(site: Site) -> None:
    before = contents(site.credentials)
    assert again(site, certificates=True) == []
    assert contents(site.credentials) == before


def test_a_probe_more_and_a_probe_less(tmp_path: Path) -> None:
    site = make_site(tmp_path, probes=("a-low", "a-mid"))
    before = contents(site.credentials)
    kept = (site.credentials / "broker" / "passwords").read_text().splitlines()
    site.file.write_text(site_text(port=8883, probes=("a-low", "a-top")))
    said = "\n".join(again(site))
    assert "made" in said
    assert "a-top.password" in said
    assert "account a-mid is not in the site file any more" in said
    after = contents(site.credentials)
    changed = {Path(name).name for name, data in before.items() if after[name] != data}
    assert changed == {"passwords", "access"}
    lines = (site.credentials / "broker" / "passwords").read_text().splitlines()
    assert [line.split(":")[0] for line in lines] == ["gateway", "a-low", "a-top"]
    assert lines[:2] == kept[:2]
    assert "user a-mid" not in (site.credentials / "broker" / "access").read_text()


def test_what_an_interruption_left_is_completed(tmp_path: Path) -> None:
    site = make_site(tmp_path)
    server = site.credentials / "broker" / "server.pem"
    key = server.with_suffix(".key").read_bytes()
    server.unlink()
    (site.credentials / "broker" / "passwords").unlink()
    assert len(again(site)) == 2
    assert server.with_suffix(".key").read_bytes() == key
    words = ["openssl", "verify", "-CAfile", str(site.ca), str(server)]
    assert subprocess.run(words, capture_output=True, check=False).returncode == 0


def test_a_name_the_certificate_lacks_is_told_and_nothing_overwritten(tmp_path: Path) -> None:
    site = make_site(tmp_path, names=("malt.example", "192.0.2.7"))
    before = contents(site.credentials)
    assert again(site, "malt.example", "192.0.2.7") == []
    [said] = again(site, "other.example", "192.0.2.8")
    assert "does not name other.example, 192.0.2.8" in said
    assert contents(site.credentials) == before


@pytest.mark.parametrize("name", ["", "a b", "x,DNS:evil.example", "*.example", "-x", "a\nb"])
def test_a_name_that_is_none_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(SettingsFault, match="expected a host name"):
        make_site(tmp_path, names=(name,))


def test_an_access_list_written_by_hand_is_left_alone(tmp_path: Path) -> None:
    site = make_site(tmp_path)
    own = site.credentials / "broker" / "access"
    own.write_text("user a-low\ntopic readwrite #\n")
    with pytest.raises(SettingsFault, match="not written here"):
        again(site)
    assert own.read_text() == "user a-low\ntopic readwrite #\n"


def test_a_probe_may_not_be_called_as_the_gateway(tmp_path: Path) -> None:
    with pytest.raises(SettingsFault, match="probe gateway: expected another id"):
        make_site(tmp_path, probes=("gateway",))


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    site = make_site(tmp_path)
    in_the_way = tmp_path / "file"
    in_the_way.touch()
    with pytest.raises(SettingsFault, match="file"):
        live_credentials.make(site.file, {}, in_the_way / "folder", (), certificates=False)


def test_passwords_are_kept_as_mosquitto_keeps_them(tmp_path: Path) -> None:
    """mosquitto_passwd (mosquitto 2.0.11, Debian 12) is the other writer of the form."""
    file = tmp_path / "passwords"
    tool = subprocess.run(
        ["mosquitto_passwd", "-b", "-c", str(file), "a-low", "some password"],
        capture_output=True, check=False, env={**os.environ, "PATH": f"{os.environ['PATH']}:/usr/sbin"},
    )  # fmt: skip
    if tool.returncode:
        pytest.skip("mosquitto_passwd does not work here")
    line = file.read_text().strip().removeprefix("a-low:")
    assert fits(b"some password", line)
    assert not fits(b"another password", line)
    assert line.rsplit("$", 2)[0] == scrambled(b"x").rsplit("$", 2)[0]
    for odd in ("", "$7$x$y$z", "$6$abc$def", "$7$101$!$!", line[:-4]):
        assert not fits(b"some password", odd)


def test_from_a_clone_it_is_one_script(tmp_path: Path) -> None:
    script = ROOT / "deploy" / "make-credentials"
    if not (ROOT / ".venv" / "made-from").exists():
        pytest.skip("this clone has no .venv of its own, and making one takes minutes")
    (tmp_path / "site.toml").write_text(site_text(port=8883))
    words = [str(script), "site.toml", "made", "--name", "malt.example"]
    done = subprocess.run(words, cwd=tmp_path, check=False, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "made" / "broker" / "access").read_text().count("user ") == 3
    again_done = subprocess.run(words, cwd=tmp_path, check=False, capture_output=True, text=True, timeout=120)
    assert again_done.stdout == "made: everything is there already\n"
    alone = subprocess.run([str(script)], check=False, capture_output=True, text=True, timeout=120)
    assert (alone.returncode, "SITE.toml FOLDER" in alone.stderr) == (2, True)
