"""The picture of a stretch of a tank's life, and the program that draws one and ends."""

import re
import subprocess
import sys
from datetime import UTC, timedelta, timezone
from pathlib import Path

import matplotlib as mpl
import pytest

from afterfill.journal.store import Journal
from afterfill.records import Reading
from afterfill.report.draw import main
from afterfill.report.event_picture import draw_event
from sample_records import START_S, one_of_each, orp, store

PROGRAM = [sys.executable, "-m", "afterfill.report.draw"]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    with Journal.open(tmp_path / "journal.db") as journal:
        store(journal, *one_of_each(), *(orp(n) for n in range(1, 3600, 60)))
    return tmp_path / "journal.db"


def drawn(path: Path, file: Path, hours: float) -> str:
    """The picture's words, drawn in a zone so many hours before Greenwich."""
    zone = timezone(timedelta(hours=hours)) if hours else UTC
    with Journal.open(path, read_only=True) as journal, mpl.rc_context({"svg.fonttype": "none"}):
        draw_event(journal, "window", START_S, START_S + 3600, 0.019, file, zone=zone)
    return file.read_text()


@pytest.mark.parametrize(
    ("hours", "zone", "shown"), [(0.0, "UTC", "08:00"), (5.5, "UTC+05:30", "13:30")]
)
def test_times_are_shown_in_the_zone_asked_for(
    path: Path, tmp_path: Path, hours: float, zone: str, shown: str
) -> None:
    words = drawn(path, tmp_path / "picture.svg", hours)
    assert f"time ({zone})" in words
    assert shown in re.findall(r">(\d\d:\d\d)<", words)
    assert "limit 0.019 mg/L" in words
    assert ">carried-over<" in words


def test_the_program_draws_a_png(path: Path, tmp_path: Path) -> None:
    file = tmp_path / "picture.png"
    times = [str(START_S), str(START_S + 3600)]
    done = subprocess.run(
        [*PROGRAM, str(path), "window", *times, "0.019", str(file)],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    assert file.read_bytes().startswith(b"\x89PNG\r\n\x1a\n")


def test_the_program_says_in_one_sentence_what_is_wrong(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = [str(tmp_path / "absent.db"), "window", "0", "1", "0.019", str(tmp_path / "p.png")]
    assert main(arguments) == 3
    assert "absent.db cannot be opened" in capsys.readouterr().err


def test_temperatures_are_drawn_in_the_keepers_degrees(path: Path, tmp_path: Path) -> None:
    """25 degrees C are 77 degrees F: the axis says which, and its ticks follow."""
    with Journal.open(path) as journal:
        warm = [Reading(START_S + n, "window", "temperature", 25.0 + n / 1e4) for n in (60, 120)]
        store(journal, *warm)
    for in_fahrenheit, label, tick in ((False, "temperature [°C]", "25.0"), (True, "[°F]", "77.0")):
        file = tmp_path / f"{in_fahrenheit}.svg"
        with (
            Journal.open(path, read_only=True) as journal,
            mpl.rc_context({"svg.fonttype": "none"}),
        ):
            span = START_S, START_S + 3600
            draw_event(journal, "window", *span, 0.019, file, in_fahrenheit=in_fahrenheit)
        assert label in file.read_text()
        assert tick in file.read_text()
