"""What `try` compares after an upgrade: readings, words, the last verdict, what was learnt."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

KEPT = Path(__file__).parents[2] / "systemd" / "deb" / "kept.py"
VERDICT = {"kind": "verdict", "refill_time": "2026-03-01T03:00:00Z", "verdict": "carried-over"}
LATER = {"kind": "verdict", "refill_time": "2026-03-02T03:00:00Z", "verdict": "cannot-tell"}
READINGS = ["time,orp", "1,300.0", "2,301.0"]
WORDS = [{"kind": "refill", "litres": 20.0}]


def exported(
    folder: Path,
    *,
    readings: list[str] = READINGS,
    words: list[dict[str, object]] = WORDS,
    verdicts: tuple[dict[str, str], ...] = (VERDICT,),
    last: dict[str, str] | None = VERDICT,
    width: float = 9.9,
) -> Path:
    folder.mkdir()
    (folder / "readings.csv").write_text("\n".join(readings))
    for name, rows in (("events", words), ("verdicts", verdicts)):
        (folder / f"{name}.jsonl").write_text("\n".join(map(json.dumps, rows)))
    learnt = {"traits": {"c0_mg_l": [1.0, 3.0, width]}}
    (folder / "now.json").write_text(json.dumps({"verdict": last, "learned": learnt}))
    return folder


def compared(before: Path, after: Path) -> tuple[int, str]:
    done = subprocess.run(
        [sys.executable, str(KEPT), str(before), str(after)], capture_output=True, text=True
    )
    return done.returncode, done.stdout


def test_more_than_before_is_no_loss(tmp_path: Path) -> None:
    """A refill logged before the upgrade may have its verdict by then: emulated machines are
    slow."""
    after = exported(
        tmp_path / "after", readings=[*READINGS, "3,302.0"], last=LATER,
        words=[{"kind": "refill", "litres": 20.0, "source": None}],
        verdicts=({**VERDICT, "of_a_newer_version": "x"}, LATER), width=8.0,
    )  # fmt: skip
    code, said = compared(exported(tmp_path / "before"), after)
    assert (code, said.splitlines()[-1]) == (0, "nothing is lost")


@pytest.mark.parametrize(
    ("after", "says"),
    [
        ({"readings": READINGS[:2]}, "LOST: 2,301.0"),
        ({"words": [{"kind": "refill", "litres": 21.0}]}, '"litres": 20.0'),
        ({"verdicts": (LATER,), "last": LATER}, "LOST: the verdict"),
        ({"verdicts": ({**VERDICT, "verdict": "clear"},)}, "LOST: the verdict"),
        ({"width": 20.0}, "LOST: what was learnt"),
    ],
)
def test_a_loss_is_told(tmp_path: Path, after: dict[str, Any], says: str) -> None:
    made = exported(tmp_path / "after", **after)
    code, said = compared(exported(tmp_path / "before"), made)
    assert code == 1
    assert says in said


def test_without_a_verdict_before_nothing_can_be_compared(tmp_path: Path) -> None:
    code, _ = compared(exported(tmp_path / "before", last=None), exported(tmp_path / "after"))
    assert code == 1
