"""README.md and DEVELOPERS.md held to the programs they speak of: commands, keys, tables, paths, links."""

import json
import os
import re
import shlex
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from deploy.demonstration.__main__ import options as demo_options
from deploy.demonstration.act import act

from gateway import settings
from gateway.cli.words import COMMANDS, parser
from gateway.core.alarm import markdown
from gateway.core.site import Callout
from gateway.core.wording.alarm import TITLE_MOST
from gateway.core.wording.gsm import septets
from gateway.core.wording.sheet import SHEETS
from gateway.settings.forms import (
    BreathingForm,
    CouchForm,
    DayForm,
    Form,
    HeatForm,
    ProgrammeForm,
    RecipeForm,
    StageForm,
    StandForm,
)
from gateway.settings.forms_air import InstantForm, LimitForm, RoomForm
from gateway.settings.honest import shipped as shipped_honest
from gateway.settings.load import ARRAYS, TABLES
from gateway.settings.quantities import silent_after_s
from gateway.settings.words import keys_of
from simulators.phone import screen
from tests import docs
from tests.bench.__main__ import BENCHES
from tests.broker import Broker, free_port
from tests.cli.house import SOON_S, Daemon, run_program
from tests.docs import blocks, codes, prose, rows, typed

ROOT = Path(__file__).resolve().parent.parent
PAGES = {name: (ROOT / name).read_text() for name in ("README.md", "DEVELOPERS.md")}
README = PAGES["README.md"]
_PAUSE = threading.Event()


def section(heading: str) -> str:
    """README's text from that heading to the next one of any depth."""
    found = re.search(rf"^#+ {re.escape(heading)}\n(.*?)(?=^#+ |\Z)", README, re.MULTILINE | re.DOTALL)
    assert found, f"README has no heading {heading!r}"
    return found[1]


# ---- Commands ----

GATEWAY_LINES = sorted(
    {
        shlex.join(words[1:])
        for page in PAGES.values()
        for words in [*typed(page), *(code.split() if code.count('"') % 2 else shlex.split(code)
                      for code in codes(page) if code.startswith("malting-gateway "))]
        if words[0] == "malting-gateway"
    }
)  # fmt: skip


@pytest.mark.parametrize("line", GATEWAY_LINES)
def test_each_command_shown_can_be_typed(line: str) -> None:
    *words, last = shlex.split(line)
    if last == "--help":
        assert words[0] in COMMANDS
        return
    assert parser().parse_args([*words, last]).command in COMMANDS


@pytest.mark.parametrize("name", COMMANDS)
def test_each_command_is_in_the_readme(name: str) -> None:
    shown = {shlex.split(line)[0] for line in GATEWAY_LINES}
    assert name in shown, f"README shows no `malting-gateway {name}`"


def test_a_command_that_is_none_would_be_found() -> None:
    with pytest.raises(SystemExit):
        parser().parse_args(["answer", "412", "perhaps"])
    assert typed("```sh\nrun --x 'a b'  # why\n\n```\n") == [["run", "--x", "a b"]]
    assert codes("a `b c` and\n```sh\n`not this`\n```\n") == ["b c"]


def test_each_option_named_is_one_of_some_command() -> None:
    known = {
        option
        for words in (["--help"], *([name, "--help"] for name in COMMANDS))
        for option in re.findall(r"--[a-z][a-z-]*", _help(words))
    }
    known |= set(re.findall(r"--[a-z][a-z-]*", demo_options().format_help()))
    known |= set(re.findall(r"--[a-z][a-z-]*", (ROOT / "deploy" / "install").read_text()))
    named = {found for code in codes(README) for found in re.findall(r"(?<![\w-])--[a-z][a-z-]*", code)}
    assert named - known == set()


def _help(words: list[str]) -> str:
    top = parser()
    chosen = top._subparsers._group_actions[0].choices  # type: ignore[union-attr]
    return (chosen or {})[words[0]].format_help() if len(words) > 1 else top.format_help()  # type: ignore[index]


def _demo_line(words: list[str]) -> None:
    if words and not words[0].startswith("-"):
        # Without a demonstration every word is answered the same way; with one in a folder that has no
        # broker, what makes no sense is told apart (2) from what could not be done.
        assert act(ROOT / "no-such-folder", words).code == 3
        return
    demo_options().parse_args(words)


def _tests_line(words: list[str]) -> None:
    assert all((ROOT / word).exists() for word in words if "/" in word)


def _python_line(words: list[str]) -> None:
    assert words[0] == "-m"
    if words[1] == "tests.bench":
        assert words[2] in BENCHES or words[2] == "--help"
        return
    assert (ROOT / f"{words[1].replace('.', '/')}.py").is_file()
    said = subprocess.run(
        [sys.executable, "-m", words[1], "--help"], cwd=ROOT, capture_output=True, text=True, check=False
    ).stdout if words[2:] else ""  # fmt: skip
    assert [word for word in words[2:] if word.startswith("--") and word not in said] == []


OURS: dict[str, Callable[[list[str]], None]] = {
    "deploy/demo": _demo_line,
    "tests/run": _tests_line,
    "deploy/lock": _tests_line,
    "deploy/install": _tests_line,
    "malting-gateway-setup": lambda words: None,  # tests/deploy runs the board's lines as they stand
    ".venv/bin/python": _python_line,
    "malting-gateway": lambda words: None,  # above
}
#: Programs of a Debian machine; the walk-through below, and tests/deploy, run these lines.
DEBIAN = ("mosquitto_pub", "mkdir", "printf", "chmod", "export", ".", "nano", "sh", "systemctl")


@pytest.mark.parametrize(
    "line", sorted({shlex.join(words) for page in PAGES.values() for words in typed(page)})
)
def test_each_shell_line_starts_something_that_is_there(line: str) -> None:
    program, *words = shlex.split(line)
    if program in DEBIAN:
        return
    assert program in OURS, f"{program}: neither ours nor in the list of Debian's"
    if program.startswith(("deploy/", "tests/")):
        assert os.access(ROOT / program, os.X_OK)
        assert subprocess.run(["bash", "-n", ROOT / program], check=False).returncode == 0
    OURS[program](words)


def test_what_the_readme_says_of_the_demonstration_is_in_its_help() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "deploy.demonstration", "--help"],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0
    said = ("101 go", "turn bed-c", "silent bed-c-mid", "--seconds", "--speed", "(60)")
    for words in (*said, "Gas is watched on the lower floor only; not a certified gas alarm"):
        assert words in done.stdout
    assert demo_options().parse_args([]).speed == 60


def test_what_the_readme_says_that_the_tests_fetch_is_what_they_fetch() -> None:
    script = (ROOT / "tests" / "run").read_text()
    asked = re.findall(r"^.*has .*\|\| need (?:\"[^\"]*\"|\S+) \S+ (.*)$", script, re.MULTILINE)
    packages = {word for line in asked for word in line.split()}
    assert "mosquitto-clients" in packages
    said = section("Two commands").replace("mosquitto and its clients", "mosquitto, mosquitto-clients")
    assert [word for word in packages if word not in said] == []


def test_words_that_mean_nothing_to_a_running_demonstration_are_told_so(tmp_path: Path) -> None:
    (tmp_path / "running.json").write_text('{"root": "quern-hill", "port": 1, "pid": 1}')
    assert act(tmp_path, ["fly", "bed-c"]).code == 2
    assert act(tmp_path, ["101", "perhaps"]).code == 2
    assert act(tmp_path, ["draught", "wide"]).code == 2
    assert act(tmp_path, ["silent", "bed-d-top"]).code == 3
    assert act(tmp_path, ["help"]).code == 0


# ---- The site file ----

FORMS: dict[str, type[Form]] = {
    **{f"`[{name}]`": form for name, form in TABLES.items()},
    **{f"`[[{name}]]`": form for name, form in ARRAYS.items()},
    "`[programme.NAME]`": ProgrammeForm,
    "`[[programme.NAME.day]]`": DayForm,
    "`[programme.NAME.couch]`": CouchForm,
    "`[[programme.NAME.stage]]`": StageForm,
    "`[programme.NAME.heat]`": HeatForm,
    "`[programme.NAME.breathing]`": BreathingForm,
    "`[recipe.NAME]`": RecipeForm,
    "`[[recipe.NAME.stand]]`": StandForm,
    "`[[limit]]`": LimitForm,
    "`[[instant]]`": InstantForm,
    "`[shut_room]`": RoomForm,
}


@pytest.mark.parametrize("heading", FORMS)
def test_each_table_of_keys_is_the_form(heading: str) -> None:
    form = FORMS[heading]
    told = {cells[0].strip("`"): cells[1] for cells in rows(section(heading))}
    assert sorted(told) == sorted(keys_of(form))
    for name, field in form.model_fields.items():
        key = field.alias or name
        default = _default(heading, name, None if field.is_required() else field.default)
        if field.is_required():
            assert told[key] == "required", key
        elif default is not None:
            assert told[key] == default, key
        else:
            assert told[key] != "required", key


def test_every_form_has_its_table() -> None:
    def below(form: type[Form]) -> set[type[Form]]:
        return {form}.union(*(below(one) for one in form.__subclasses__()))

    # A form without keys of its own is there to be built upon.
    assert {form for form in below(Form) if form.model_fields} - set(FORMS.values()) == set()


def _default(heading: str, name: str, value: Any) -> str | None:
    """As it stands in the table; None where there is none to hold the table to."""
    if heading == "`[honest]`":
        value = getattr(shipped_honest(), name)
    if heading == "`[callout]`":
        minutes = getattr(Callout(), f"{name}_min", None)
        if minutes is not None:
            return f'`"{minutes // 60:02}:{minutes % 60:02}"`'
        value = getattr(Callout(), name)
    if value is None:
        return None
    if isinstance(value, str | list):
        return f"`{json.dumps(value)}`"
    return f"{value:g}" if value < 1e5 else str(value)


def test_what_the_tables_say_of_limits_is_so() -> None:
    site = settings.load(ROOT / "config" / "quern-hill.toml", with_secrets=False).site
    room = site.place["lower-room"]
    assert f"{room.co2_high_ppm:,.0f} ppm unless" in README
    assert f"{site.programme['floor'].strict_high_c:g} °C high, " in README
    assert f"{site.programme['floor'].strict_urgent_c:g} °C urgent" in README
    assert f"holds the calls for {Callout().going_hold_s / 60:g} minutes" in README
    assert f"*heard* for {Callout().heard_hold_s / 60:g};" in README
    assert f"again each {Callout().high_repeat_s / 60:g} minutes" in README
    assert f"one person more each {Callout().high_next_s / 60:g}." in README
    assert f"again each {Callout().medium_repeat_s / 60:g} minutes, at night too" in README


WHOLE, *FRAGMENTS = blocks(README, "toml")


def test_what_is_told_of_air_is_so_where_a_site_says_nothing_of_it(tmp_path: Path) -> None:
    air = settings.load(_lay_out(tmp_path, WHOLE), with_secrets=False).site.air
    ours = {"co2_no_entry_ppm": "high_ppm", "co2_leave_ppm": "leave_ppm", "co2_deadband_ppm": "deadband_ppm"}
    table = {cells[0].strip("`"): cells[1].strip('`"') for cells in rows(section("`[air]`"))}
    told = {key: float(text) for key, text in table.items() if re.fullmatch(r"\d+", text)}
    assert len(told) == 10
    assert told == {key: float(getattr(air, ours.get(key, key))) for key in told}
    cautions = " ".join(section("Cautions").split())
    assert (
        f"({air.high_ppm:,.0f} ppm unless its place says another: nobody in without a hand meter; "
        in cautions
    )
    assert f"{air.leave_ppm:,.0f}: leave)" in cautions
    assert f"({air.co_leave_ppm:g}: leave; {air.co_evacuate_ppm:g}: everybody out of the" in cautions
    # A full low floor, shut.
    assert "32 t of barley in 1,120 m3 reach 5,000 ppm in half an hour" in cautions
    hours = (5000.0 - air.room.outdoor_ppm) / air.room.shut_ppm_h(1120.0, 32.0)
    assert hours == pytest.approx(0.5, abs=0.05)


def test_how_long_a_probe_may_be_silent_is_as_told() -> None:
    told = {cells[0].strip("`"): cells[1] for cells in rows(section("`[[probe]]`"))}["silent_after_s"]
    bed, gas = silent_after_s("co2", "bed", 60.0), silent_after_s("co", "kiln", 60.0)
    kiln, other = silent_after_s("temperature", "kiln", 60.0), silent_after_s("humidity", "room", 60.0)
    times = silent_after_s("temperature", "room", 7200.0) / 7200.0
    assert told == (
        f"{bed:g} in a bed, {gas:g} for gas elsewhere, {kiln:g} in a kiln, else {other:g}; "
        f"at least {times:g} `every_s`"
    )


def _lay_out(folder: Path, text: str) -> Path:
    """The walk-through's folder as its own shell lines make it, with this site file in it."""
    lines = blocks(section("1. A folder, and a secret for the phone"), "sh")[0].splitlines()
    done = subprocess.run(
        ["bash", "-euc", "\n".join(line for line in lines if not line.startswith(". "))],
        cwd=folder, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    site = folder / "mine" / "site.toml"
    site.write_text(text)
    return site


def test_the_whole_site_file_has_no_fault_and_no_warning(tmp_path: Path) -> None:
    assert settings.check(_lay_out(tmp_path, WHOLE), {}) == ([], [])
    key = tmp_path / "mine" / "secrets" / "ada.key"
    assert key.stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize("fragment", FRAGMENTS)
def test_a_fragment_fits_into_it(fragment: str, tmp_path: Path) -> None:
    wanted = re.search(r"subscribe = \[.*?\]", fragment)
    assert wanted
    whole = WHOLE.replace("[broker]\n", f"[broker]\n{wanted[0]}\n") + fragment
    assert settings.check(_lay_out(tmp_path, whole), {}) == ([], [])
    faults, _ = settings.check(_lay_out(tmp_path, WHOLE + fragment), {})
    assert len(faults) == 1, "without the filter the topic is not subscribed to, as the remark says"


@pytest.mark.broker
def test_the_walk_through_with_a_real_broker(broker: Broker, tmp_path: Path) -> None:
    phone = free_port()
    text = WHOLE.replace("port = 1883", f"port = {broker.port}").replace(":8471/", f":{phone}/")
    site = _lay_out(tmp_path, text.replace(":8470", f":{free_port()}"))
    where = {"MALTING_SITE": str(site), "MALTING_STORE": str(tmp_path / "mine" / "store")}
    assert run_program("check", **where).code == 0
    daemon = Daemon(site, Path(where["MALTING_STORE"]), "--trust-clock")
    stand_in = _stand_in(phone, tmp_path)
    try:
        daemon.wait_for("connected to")
        _publish(broker.port)
        _until(lambda: {row["value"] for row in _rows("probes", where)} == {17.4, 12.5})
        assert _rows("rejected", where) == []
        for line in blocks(section("6. Tell it what lies where"), "sh")[0].splitlines():
            assert run_program(*shlex.split(line)[1:], **where).code == 0, line
        assert run_program("test-call", "ada", **where).code == 0
        _until(lambda: any(row["delivered_at"] for row in _rows("notices", where)))
    finally:
        daemon.end()
        stand_in.terminate()
        said = stand_in.communicate(timeout=SOON_S)[0]
    assert "TEST" in said


def _stand_in(port: int, folder: Path) -> subprocess.Popen[str]:
    """The README's own line, on this port and from its folder."""
    [line] = blocks(section("5. The first test call"), "sh")[0].splitlines()
    words = shlex.split(line.replace("8471", str(port)))
    words = [sys.executable, *words[1:-1], str(folder / words[-1])]
    return subprocess.Popen(words, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)


def _publish(port: int) -> None:
    lines = blocks(section("4. The first reading"), "sh")[0].splitlines()
    sent = [line for line in lines if line.startswith("mosquitto_pub")]
    assert len(sent) == 2
    assert shutil.which("mosquitto_pub"), "apt-get install mosquitto-clients"
    for line in sent:
        subprocess.run(["bash", "-ec", line.replace("-p 1883", f"-p {port}")], check=True, timeout=SOON_S)


def _rows(command: str, where: dict[str, str]) -> list[dict[str, Any]]:
    said = run_program(command, "--json", **where)
    found: list[dict[str, Any]] = said.json["rows"]
    return found


def _until(holds: Callable[[], bool], seconds: float = 30.0) -> None:
    end = time.monotonic() + seconds
    while not holds():
        if time.monotonic() > end:
            pytest.fail(f"not so within {seconds} s")
        _PAUSE.wait(0.2)


# ---- Words and pictures ----


def test_the_call_shown_is_one_the_phone_would_print() -> None:
    [shown] = blocks(section("What a call looks like"), "text")
    lines = [line[2:-2].strip() for line in shown.splitlines() if line.startswith("│")]
    head, title, text = lines[0], lines[2], " ".join(lines[4:])
    link = shown.splitlines()[-1].removeprefix("  answer: ")
    clock, sort, priority = head.replace(",", "").split()
    message = {"type": sort, "priority": priority, "title": title, "text": text, "answer_url": link}
    assert screen(message | {"at": f"2026-01-01T{clock}:00Z"}) == shown
    assert (septets(text) or 999) <= 160
    assert len(title) <= TITLE_MOST


def test_the_board_is_put_up_as_the_runbook_does_it() -> None:
    """The runbook's lines are run by the tests of the installed wheel; these are the same."""
    heading = "On a real board in ten minutes"
    runbook = (ROOT / "deploy" / "README.md").read_text()
    theirs = re.search(rf"^## {heading}\n(.*?)(?=^## )", runbook, re.MULTILINE | re.DOTALL)
    assert theirs
    assert blocks(section(heading), "sh") == blocks(theirs[1], "sh")


def test_the_cautions_stand_at_the_top() -> None:
    top = README[: README.index("## Two commands")]
    assert "No gas watch" in top
    assert "not a certified gas alarm" in top
    said = section("Cautions")
    assert "local codes" in said.lower()
    assert "licensed people" in said
    for danger in ("confined", "CO,", "Kiln.", "Machinery."):
        assert danger in said, danger


@pytest.mark.parametrize("name", PAGES)
def test_what_is_made_from_the_code_is_as_the_code_has_it(name: str) -> None:
    page = PAGES[name]
    assert docs.filled(page) == page, "write it anew: .venv/bin/python -m tests.docs"


def test_every_table_made_from_the_code_has_its_place() -> None:
    marks = [mark for page in PAGES.values() for mark in re.findall(r"<!-- begin (\w+) -->", page)]
    assert sorted(marks) == sorted(docs.TABLES)
    assert markdown() in PAGES["DEVELOPERS.md"]
    for kind in SHEETS:
        assert f"| `{kind}` |" in README


def test_a_generated_table_that_is_old_would_be_found() -> None:
    page = PAGES["DEVELOPERS.md"].replace("| rise | lifts shelved |", "| rise |  |")
    assert docs.filled(page) != page


# ---- Paths and links ----

TOP = ("gateway/", "simulators/", "tests/", "config/", "deploy/", ".ci/", "core/")


def _paths(page: str) -> Iterator[str]:
    """What stands in back-ticks or in a picture and looks like a file or folder of ours."""
    for code in codes(page):
        if code.startswith(TOP) and " " not in code:
            yield code
    for block in blocks(page, "text"):
        yield from re.findall(r"(?<![\w/.])(?:gateway|core)/[\w/.]*\w/?", block)


@pytest.mark.parametrize("name", PAGES)
def test_each_path_named_is_there(name: str) -> None:
    missing = [
        path
        for path in _paths(PAGES[name])
        if not (ROOT / (f"gateway/{path}" if path.startswith("core/") else path)).exists()
    ]
    assert missing == []


@pytest.mark.parametrize("name", [*PAGES, "deploy/README.md"])
def test_links_lead_somewhere(name: str) -> None:
    file = ROOT / name
    if not file.exists():
        pytest.skip(f"{name} is not there yet")
    for target in re.findall(r"\]\(([^)\s]+)\)", prose(file.read_text())):
        path, _, anchor = target.partition("#")
        if path.startswith(("http://", "https://")):
            continue
        there = file if not path else file.parent / path
        assert there.exists(), target
        if anchor:
            headings = re.findall(r"^#+ (.*)$", prose(there.read_text()), re.MULTILINE)
            assert anchor in {_slug(heading) for heading in headings}, target


def _slug(heading: str) -> str:
    """As the usual viewers of Markdown make it: small letters, no marks, a dash for each blank."""
    return re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-")


def test_nothing_of_one_machine_is_in_the_pages() -> None:
    for name, page in PAGES.items():
        found = re.findall(r"(?<![\w.])(?:/work|/tmp|/root|/home)\b[\w/.-]*|\.\./shared|index-url", page)
        assert found == [], name


def test_the_package_shows_the_readme() -> None:
    assert 'readme = "README.md"' in (ROOT / "pyproject.toml").read_text()
