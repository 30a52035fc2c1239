"""The measurements run, and say what they are meant to say."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.broker
@pytest.mark.long
def test_intake_prints_one_line_with_all_its_figures() -> None:
    command = [sys.executable, "-m", "tests.bench", "intake", "--messages", "3000", "--runs", "2"]
    done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=ROOT, timeout=120)
    [line] = done.stdout.splitlines()
    found = json.loads(line)
    assert (found["bench"], found["messages"], found["runs"]) == ("intake", 3000, 2)
    assert len(found["bare_s"]) == len(found["line_s"]) == 2
    assert found["ratio"] == pytest.approx(found["line_per_s"] / found["bare_per_s"], rel=0.01)
    # No figure of a machine is promised here, only that they are figures.
    assert min(found["bare_per_s"], found["line_per_s"], found["line_peak_mb"]) > 0


@pytest.mark.parametrize(
    ("words", "figures"),
    [
        (["storage", "--readings", "2000"], ["probes_32_every_60_s", "probes_200_every_10_s"]),
        (["memory", "--minutes", "0.1"], ["begin_mb", "resident_mb", "highest_mb", "readings"]),
        (
            ["chart", "--probes", "2", "--every-s", "60", "--times", "3"],
            ["p50_ms", "p95_ms", "cpu_p95_ms", "reading_by_minute_ms", "summing_longest_ms"],
        ),
        (["start", "--runs", "1", "--past", "2000"], ["committed_s", "judged_s"]),
    ],
)
@pytest.mark.broker
@pytest.mark.long
def test_the_boards_figures_are_printed(words: list[str], figures: list[str]) -> None:
    command = [sys.executable, "-m", "tests.bench", *words]
    done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=ROOT, timeout=120)
    [line] = done.stdout.splitlines()
    found = json.loads(line)
    assert found["bench"] == words[0]
    for name in figures:
        values = found[name].values() if isinstance(found[name], dict) else [found[name]]
        assert all(value > 0 for value in values), found


def test_a_reading_is_judged_in_little_time_and_a_bed_kept_in_little_room() -> None:
    command = [sys.executable, "-m", "tests.bench", "judge", "--beds", "2", "--hours", "26.5"]
    done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=ROOT, timeout=120)
    found = json.loads(done.stdout)
    assert found["judge_us"] > 0
    assert found["ratio"] == pytest.approx(found["judge_us"] / found["bare_us"], rel=0.1)
    # Exact on every machine: bytes of the stored state for each bed.
    assert 5_000 < found["bytes_a_bed"] < 20_000, found["bytes_a_bed_by_part"]
