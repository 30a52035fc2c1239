"""`deploy/install`: from the built wheel to the first test call by the runbook's commands, and away again."""

import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.deploy.board import ROOT, SOON_S, until
from tests.deploy.installed import Board, InstalledBroker, Phone, Service, build_wheel, install

UNITS = ("malting-gateway.service", "malting-gateway-backup.service")
SECTION = re.compile(r"^## On a real board in ten minutes\n(.*?)^## ", re.MULTILINE | re.DOTALL)


@pytest.fixture(scope="session")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Built once from this tree."""
    return build_wheel(ROOT, tmp_path_factory.mktemp("wheel"))


@pytest.fixture(scope="session")
def board(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Board:
    """Installed by the runbook's first line. Installing takes long, so the last test here takes it away."""
    one = Board(tmp_path_factory.mktemp("board") / "prefix")
    assert commands()[0] == "sudo deploy/install"
    done = one.run(one.as_here(commands()[0], wheel), cwd=wheel.parent)
    assert done.returncode == 0, done.stdout + done.stderr
    return one


@pytest.fixture
def phone() -> Iterator[Phone]:
    one = Phone()
    yield one
    one.close()


def tree(folder: Path) -> dict[str, tuple[int, int, int]]:
    """Every file with its mode, size and time of change."""
    return {
        str(path): (stat.st_mode, stat.st_size, stat.st_mtime_ns)
        for path in folder.rglob("*")
        if "__pycache__" not in str(path)
        for stat in [path.lstat()]
    }


def commands(page: str = "deploy/README.md") -> list[str]:
    """The lines of the ten minutes on that page."""
    found = SECTION.search((ROOT / page).read_text())
    assert found
    blocks = re.findall(r"^```sh\n(.*?)^```", found[1], re.MULTILINE | re.DOTALL)
    return [line for block in blocks for line in block.splitlines()]


def test_both_pages_tell_the_same_ten_minutes() -> None:
    assert commands("README.md") == commands()


def test_a_dry_run_tells_and_changes_nothing(wheel: Path, tmp_path: Path) -> None:
    done = install("--dry-run", "--prefix", tmp_path / "new", "--wheel", wheel)
    assert done.returncode == 0, done.stderr
    for word in ("would: make a Python environment", "site.toml", "malting-gateway.service"):
        assert word in done.stdout
    assert "nothing was changed" in done.stdout
    assert list(tmp_path.iterdir()) == []


def test_a_dry_run_for_the_whole_machine_needs_no_root(wheel: Path) -> None:
    places = [Path("/opt/malting-gateway"), Path("/etc/malting-gateway"), Path("/var/lib/malting-gateway")]
    before = [place.exists() for place in places]
    done = install("--dry-run", "--wheel", wheel)
    assert done.returncode == 0, done.stderr
    if not any(before):
        for word in ("useradd --system", "/opt/malting-gateway/releases/", "systemctl enable"):
            assert word in done.stdout
    assert [place.exists() for place in places] == before


def test_twice_changes_nothing(board: Board, wheel: Path) -> None:
    before = tree(board.prefix)
    done = install("--prefix", board.prefix, "--wheel", wheel)
    assert done.stdout.startswith("nothing to do"), done.stdout
    assert tree(board.prefix) == before


def test_modes(board: Board) -> None:
    found = {path: path.stat().st_mode & 0o777 for path in (board.etc, board.etc / "secrets", board.state)}
    assert list(found.values()) == [0o750, 0o750, 0o700]
    assert (board.etc / "site.toml").stat().st_mode & 0o777 == 0o640


def test_what_was_changed_is_put_right_and_the_site_file_is_left_alone(board: Board, wheel: Path) -> None:
    unit, site = board.prefix / "systemd" / UNITS[0], board.etc / "site.toml"
    text, own = unit.read_text(), site.read_text()
    unit.write_text("[Unit]\n")
    site.write_text(own + "# mine\n")
    board.state.chmod(0o755)
    done = install("--prefix", board.prefix, "--wheel", wheel)
    assert "done: 2 changes" in done.stdout, done.stdout
    assert unit.read_text() == text
    assert site.read_text() == own + "# mine\n"
    assert board.state.stat().st_mode & 0o777 == 0o700
    site.write_text(own)


def test_nothing_of_the_source_is_needed(board: Board, tmp_path: Path) -> None:
    python = board.prefix / "opt" / "current" / "bin" / "python"
    said = board.run(f"{python} -c 'import gateway; print(gateway.__file__)'", cwd=tmp_path).stdout
    assert Path(said.strip()).is_relative_to(board.prefix)
    for file in (board.prefix / "bin").iterdir():
        assert str(ROOT) not in file.read_text()
    assert not list((board.prefix / "opt").rglob("*.pth")) or not any(
        str(ROOT) in path.read_text() for path in (board.prefix / "opt").rglob("*.pth")
    )
    share = board.prefix / "opt" / "current" / "share" / "malting-gateway"
    kept = {str(path.relative_to(share)) for path in share.rglob("*") if path.is_file()}
    assert kept >= {"config/quern-hill.toml", "deploy/README.md", "deploy/install", "requirements-run.lock"}


@pytest.mark.systemd
@pytest.mark.parametrize("unit", UNITS)
def test_the_sandbox_leaves_little_exposed(board: Board, tmp_path: Path, unit: str) -> None:
    """systemd-analyze(1): --threshold is in tenths, and exceeding it is exit 1. Here: at most 1.5 of 10."""
    text = (board.prefix / "systemd" / unit).read_text()
    # Below a prefix a unit has the user who installed it, who may be root; on a board it never is.
    shipped = re.sub(r"^(User|Group)=.*$", r"\1=malting-gateway", text, flags=re.MULTILINE)
    assert _exposure_is_low(tmp_path / unit, shipped)
    assert not _exposure_is_low(tmp_path / unit, "[Service]\nExecStart=/bin/true\n")


def _exposure_is_low(file: Path, text: str) -> bool:
    file.write_text(text)
    words = ["systemd-analyze", "security", "--offline=true", "--no-pager", "--threshold=15", str(file)]
    done = subprocess.run(words, check=False, capture_output=True, text=True, timeout=SOON_S)
    assert "Overall exposure level" in done.stdout, done.stderr
    return done.returncode == 0


@pytest.mark.systemd
def test_the_units_can_be_loaded(board: Board) -> None:
    """systemd-analyze verify: what systemd would complain of when it loads them."""
    units = [str(board.prefix / "systemd" / name) for name in (*UNITS, "malting-gateway-backup.timer")]
    done = subprocess.run(
        ["systemd-analyze", "verify", "--recursive-errors=no", "--man=no", *units],
        check=False, capture_output=True, text=True, timeout=SOON_S,
    )  # fmt: skip
    about_ours = [line for line in done.stderr.splitlines() if "malting" in line]
    assert about_ours == []


@pytest.mark.long
def test_another_wheel_is_another_release_and_a_broken_one_is_made_again(wheel: Path, tmp_path: Path) -> None:
    source = tmp_path / "source"
    leave = shutil.ignore_patterns(".git", ".venv*", "tests", "simulators", ".*_cache", "__pycache__")
    shutil.copytree(ROOT, source, ignore=leave)
    init = source / "gateway" / "__init__.py"
    init.write_text(re.sub(r'"[0-9.]+"', '"99.1.0"', init.read_text()))
    newer = build_wheel(source, tmp_path)
    board = Board(tmp_path / "board")
    assert install("--prefix", board.prefix, "--wheel", wheel).returncode == 0
    first = (board.prefix / "opt" / "current").readlink()
    (board.prefix / "opt" / "current" / "complete").unlink()
    shutil.rmtree(board.prefix / "opt" / "current" / "lib")
    assert install("--prefix", board.prefix, "--wheel", wheel).returncode == 0
    assert (board.prefix / "opt" / "current").readlink() == first
    done = install("--prefix", board.prefix, "--wheel", newer)
    assert done.returncode == 0, done.stderr
    assert board.run("malting-gateway --version", cwd=tmp_path).stdout == "99.1.0\n"
    assert len(list((board.prefix / "opt" / "releases").iterdir())) == 2, "the one before stays to go back to"


@pytest.mark.parametrize(
    ("words", "fault"),
    [
        (["--prefix"], "--prefix wants a value"),
        (["fly"], "fly is not known"),
        (["broker"], "broker wants the folder"),
        (["--prefix", "PREFIX", "broker", "/nowhere"], "expected what `malting-gateway credentials` made"),
        (["--prefix", "PREFIX", "--wheel", "/nowhere.whl"], "no such file"),
        (["--prefix", "/a b"], "expected letters"),
        (["--port", "x", "broker", "."], "expected a number"),
    ],
)
def test_what_cannot_be_is_told(tmp_path: Path, words: list[str], fault: str) -> None:
    done = install("--dry-run", *(word.replace("PREFIX", str(tmp_path)) for word in words))
    assert done.returncode == 1
    assert fault in done.stderr


class Walk:
    """Does the lines one by one; what a person or systemd would do between them is done here."""

    def __init__(self, folder: Path, phone: Phone) -> None:
        self._folder, self._phone = folder, phone
        self._broker: InstalledBroker | None = None
        self.service: Service | None = None
        self.said: dict[str, str] = {}

    def do(self, board: Board, line: str, wheel: Path) -> None:
        """One line."""
        if line.startswith("sudo nano "):
            self._edit(board, Path(board.as_here(line, wheel).split()[-1]))
        elif line == "sudo systemctl start malting-gateway":
            self.service = Service(board, self._folder)
            self.service.wait_for("READY=1")
            self.service.wait_for("WATCHDOG=1")
            until(lambda: board.run("malting-gateway health", cwd=self._folder).stdout.count("connected, "))
        else:
            self._type(board, line, wheel)

    def _edit(self, board: Board, site: Path) -> None:
        text = site.read_text()
        for old, new in (
            ("port = 8883", f"port = {board.broker_port}"),
            ("127.0.0.1:8470", f"127.0.0.1:{board.door_port}"),
            ("127.0.0.1:8471", f"127.0.0.1:{self._phone.port}"),
        ):
            assert old in text
            text = text.replace(old, new)
        site.write_text(text)

    def _type(self, board: Board, line: str, wheel: Path) -> None:
        done = board.run(board.as_here(line, wheel), cwd=self._folder)
        bad_news = any(f"malting-gateway {word}" in line for word in ("health", "probes", "beds"))
        assert done.returncode in ((0, 1) if bad_news else (0,)), f"{line}\n{done.stdout}{done.stderr}"
        assert "Traceback" not in done.stderr
        self.said[line] = done.stdout
        if "-setup broker" in line:
            (self._folder / "broker").mkdir()
            self._broker = InstalledBroker(self._folder / "broker", board)
            self._broker.start()
        if "mosquitto_pub" in line:
            until(lambda: "17.5" in board.run("malting-gateway probes", cwd=self._folder).stdout)
        if "test-call" in line:
            call = self._phone.hears((board.etc / "secrets" / "ada.key").read_text())
            assert (call["type"], call["text"][:4]) == ("test", "TEST")
            until(
                lambda: '"delivered"' in board.run("malting-gateway notices --json", cwd=self._folder).stdout
            )

    def after(self, board: Board) -> None:
        """What the lines said, and that what they made is left when the program goes."""
        said = "\n".join(self.said.values())
        assert "no faults" in said
        assert "17.5" in said
        assert said.rstrip().endswith("whole")
        [copy] = (board.state / "backup").glob("*.db")
        assert self.service is not None
        assert self.service.stop() == 0, self.service.log.read_text()
        done = board.run("malting-gateway-setup uninstall", cwd=self._folder)
        assert done.returncode == 0, done.stderr
        assert not (board.prefix / "opt").exists()
        assert not list(board.bin.iterdir())
        assert not list((board.prefix / "systemd").iterdir())
        assert copy.exists()
        assert (board.state / "store" / "journal.db").exists()
        assert (board.etc / "site.toml").exists()
        assert (board.etc / "secrets" / "ada.key").exists()

    def discard(self) -> None:
        """Leave nothing running."""
        for one in (self.service, self._broker):
            if one is not None:
                one.discard()


@pytest.mark.broker
def test_the_ten_minutes(board: Board, wheel: Path, tmp_path: Path, phone: Phone) -> None:
    """Every command of the runbook's ten minutes, in order, from another folder than the source's."""
    walk = Walk(tmp_path, phone)
    try:
        for line in commands()[1:]:
            walk.do(board, line, wheel)
        walk.after(board)
    finally:
        walk.discard()
