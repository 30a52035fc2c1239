"""The picture of a history: what is drawn of whom; and plain words where there is nothing to draw."""

import json
from pathlib import Path

import pytest

from simulators import picture

TRUTH: tuple[dict[str, object], ...] = (
    {"kind": "bed", "at": "2026-01-12T06:01:00.000Z", "bed": "bed-a", "hottest_c": 17.0},
    {
        "kind": "temperature",
        "at": "2026-01-12T06:01:00.000Z",
        "place": "bed-a",
        "probe": "a",
        "value_c": 15.0,
    },
    {
        "kind": "temperature",
        "at": "2026-01-12T06:01:00.000Z",
        "place": "bed-a",
        "probe": "b",
        "value_c": 16.5,
    },
    {"kind": "temperature", "at": "2026-01-12T06:01:00.000Z", "place": "room", "probe": "r", "value_c": 11.0},
    {"kind": "turn", "bed": "bed-a", "began_at": "2026-01-12T06:10:00Z", "ended_at": "2026-01-12T06:40:00Z"},
    {"kind": "turn", "bed": "bed-a", "began_at": "2026-01-12T14:10:00Z", "ended_at": None},
)
TURNS: tuple[dict[str, object], ...] = (
    {"kind": "turn", "turn": 7, "bed": "bed-a", "source": "seen", "ended_at": "2026-01-12T06:38:00Z"},
    {"kind": "turn", "turn": 7, "bed": "bed-a", "source": "both", "ended_at": "2026-01-12T06:38:00Z"},
    {"kind": "turn", "turn": 8, "bed": "bed-z", "source": "seen", "ended_at": "2026-01-12T06:38:00Z"},
)


def _file(folder: Path, name: str, lines: tuple[dict[str, object], ...]) -> Path:
    path = folder / name
    path.write_text("".join(json.dumps(line) + "\n" for line in lines))
    return path


def test_a_bed_is_drawn_from_coldest_to_hottest_with_its_turns() -> None:
    found = picture.beds(TRUTH, TURNS, ())
    assert list(found) == ["bed-a"]
    bed = found["bed-a"]
    assert (bed.low_c, bed.high_c) == ([15.0], [16.5])
    assert len(bed.true) == 1
    assert {number: one["source"] for number, one in bed.known.items()} == {7: "both"}


def test_a_picture_is_made(tmp_path: Path) -> None:
    pytest.importorskip("matplotlib", reason="the extra `picture` is not installed")
    out = tmp_path / "week.png"
    truth, effects = _file(tmp_path, "truth", TRUTH), _file(tmp_path, "effects", TURNS)
    assert picture.main(["--truth", str(truth), "--effects", str(effects), "--out", str(out)]) == 0
    assert out.read_bytes().startswith(b"\x89PNG")


def test_what_cannot_be_drawn_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    broken = tmp_path / "broken"
    broken.write_text('{"kind": "turn"\n')
    assert picture.main(["--truth", str(broken)]) == 2
    assert "broken:1: expected one JSON object" in capsys.readouterr().err
    assert picture.main(["--truth", str(_file(tmp_path, "none", ()))]) == 2
    assert "expected lines of beds" in capsys.readouterr().err
