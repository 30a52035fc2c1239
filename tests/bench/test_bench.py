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
