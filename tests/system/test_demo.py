"""The demo as a newcomer runs it, and a replay of its own export."""

import json
import subprocess
import sys
import time
from pathlib import Path

import pytest

from servers import fetch, wait_until

pytestmark = pytest.mark.system


def afterfill(*words: str, timeout_s: float = 110.0) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "afterfill.cli.main", *words]
    return subprocess.run(command, capture_output=True, text=True, timeout=timeout_s, check=False)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str, float]:
    """The folder, the output and how long it took [s]."""
    folder = tmp_path_factory.mktemp("demo") / "out"
    began_s = time.monotonic()
    done = afterfill("demo", "--fast", "--out", str(folder))
    assert done.returncode == 0, done.stderr
    return folder, done.stdout, time.monotonic() - began_s


def test_it_takes_less_than_a_minute(demo: tuple[Path, str, float]) -> None:
    assert demo[2] < 60.0


def test_it_shows_a_clear_change_a_carry_over_the_alarm_and_the_recovery(
    demo: tuple[Path, str, float],
) -> None:
    story = demo[1]
    beats = [
        "water change: 30 L out",
        "verdict: clear",
        "top-off by automation",
        "verdict: carried-over",
        "alarm residual-oxidant: unacknowledged",
        "doses",
        "alarm residual-oxidant: normal",
        "summary",
    ]
    place = story.index(beats[0])
    for beat in beats[1:]:
        place = story.index(beat, place)
    assert "the ORP probe: very strongly for a carry-over" in story


def test_it_leaves_a_journal_and_a_picture(demo: tuple[Path, str, float]) -> None:
    folder, story, _ = demo
    assert (folder / "event.png").read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    assert str(folder / "afterfill.db") in story
    assert str(folder / "event.png") in story


def test_a_replay_of_its_export_gives_the_live_verdicts_to_the_byte(
    demo: tuple[Path, str, float], tmp_path: Path
) -> None:
    config = str(demo[0] / "afterfill.toml")
    recording, out = tmp_path / "recording", tmp_path / "replayed.jsonl"
    exported = afterfill("export", "--config", config, "--tank", "window", str(recording))
    assert exported.returncode == 0, exported.stderr
    replayed = afterfill("replay", str(recording), "--config", config, "--out", str(out))
    assert replayed.returncode == 0, replayed.stderr
    assert out.read_bytes() == (recording / "verdicts.jsonl").read_bytes()
    kinds = {json.loads(line)["kind"] for line in out.read_text().splitlines()}
    findings = {"estimate", "forecast", "refill", "verdict", "alarm", "standing", "probe-learnt"}
    assert kinds == findings | {"forecast-check", "refill-ready", "source-belief"}


def test_another_folders_content_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("dear reader")
    done = afterfill("demo", "--fast", "--out", str(tmp_path))
    assert done.returncode == 2
    assert "holds something else" in done.stderr
    assert (tmp_path / "letter.txt").read_text() == "dear reader"


def test_the_page_can_be_left_open(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "afterfill.cli.main", "demo", "--fast", "--page"]
    with subprocess.Popen(
        [*command, "--out", str(tmp_path / "out")], stdout=subprocess.PIPE, text=True
    ) as played:
        assert played.stdout is not None
        line = next(it for it in played.stdout if it.startswith("The page: "))
        address = line.split()[2]
        wait_until(lambda: _asks_for_a_password(address), "the page asks for it", 30.0)
        played.terminate()
        played.stdout.read()


def _asks_for_a_password(address: str) -> bool:
    try:
        return b"password" in fetch(f"{address}login")
    except OSError:
        return False  # it does not listen yet
