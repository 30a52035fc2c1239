"""The help teaches: every command is in it, each has an example that can be typed, and faults are exit 2."""

import shlex

import pytest

from gateway import __version__
from gateway.cli.words import COMMANDS, parser
from gateway.core.inputs import VERBS
from tests.cli.house import run_program, type_in


def test_help_names_every_command_and_every_exit_code() -> None:
    said = run_program("--help")
    assert said.code == 0
    for name, word in COMMANDS.items():
        assert f"  {name} " in said.out
        assert word.line in said.out
    assert "0 good   1 the answer is bad news   2 faulty input   3 no answer" in said.out
    assert "not a certified gas alarm" in said.out


@pytest.mark.parametrize("name", COMMANDS)
def test_each_command_tells_more_and_gives_an_example_that_can_be_typed(name: str) -> None:
    said = type_in(name, "--help")
    assert said.code == 0
    example = COMMANDS[name].example
    assert example in said.out
    program, *words = shlex.split(example)
    assert program == "malting-gateway"
    assert parser().parse_args(words).command == name


def test_every_verb_of_the_journal_can_be_typed() -> None:
    assert {name for name, word in COMMANDS.items() if word.group == "write"} == VERBS


@pytest.mark.parametrize(
    "words",
    [
        ["fly"],
        ["beds", "--yaml"],
        ["answer", "x", "going"],
        ["answer", "412", "perhaps"],
        ["kiln", "exploded"],
        ["quiet", "412"],
        ["out-of-service", "c1"],
        ["turned"],
        ["moved", "bed-a"],
        [],
    ],
)
def test_what_cannot_be_typed_is_exit_2(words: list[str]) -> None:
    said = type_in(*words)
    assert (said.code, said.out) == (2, "")
    assert "usage: malting-gateway" in said.err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["hand", "bed-a", "--c", "1,5"], "--c: '1,5': expected a number such as"),
        (["void", "x", "--why", "y"], "N: 'x': expected a whole number such as"),
    ],
)
def test_what_is_no_number_is_said_with_an_example(words: list[str], says: str) -> None:
    assert says in type_in(*words).err


def test_the_version() -> None:
    assert type_in("--version").out == f"{__version__}\n"
