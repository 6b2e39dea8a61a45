"""`audit` as its user starts it, on journals that the service wrote."""

import json
from pathlib import Path

import pytest
from html5lib import HTMLParser

from afterfill.audit.audit import TESTS_NEEDED
from afterfill.config_file import load
from afterfill.journal.store import Journal
from afterfill.records import EVENTS, Event, Input, KitResult, Reading, Stamp, known_since_s
from afterfill.service.recorder import Recorder
from audit_samples import forecast_check
from cli_room import afterfill, line_probes, lines_of, record, write_config
from tank_stories import HOUR_S, ZERO_S, merged, pour, raw, refill, story

TANK = '[tank.t]\nlitres = 100\nlivestock = "warmwater"\n[tank.other]\nlitres = 50\n'
DAY_H = 24.0


def stamp(time_s: float) -> Stamp:
    return Stamp(time_s, True, "boot", time_s - ZERO_S + 100.0)


def kit(at_h: float, logged_h: float | None = None, **shown: float) -> KitResult:
    logged_s = None if logged_h is None else ZERO_S + logged_h * HOUR_S
    return KitResult(ZERO_S + at_h * HOUR_S, "t", logged_s=logged_s, **shown)


KITS = [
    kit(1.5, total_chlorine_mg_l=0.0, total_ammonia_mg_l=0.0),
    kit(1.5, 1.6, total_chlorine_mg_l=0.0, total_ammonia_mg_l=0.0),  # typed twice
    kit(3.5, total_chlorine_mg_l=0.4),
    kit(4.6, 5.4, total_ammonia_mg_l=0.25),  # late
]


def serve(journal_path: Path, recorder: Recorder, inputs: list[Input]) -> None:
    """Give the recorder what comes in, as the service does."""
    with Journal.open(journal_path) as people:
        for it in inputs:
            now = stamp(known_since_s(it))
            if isinstance(it, EVENTS):
                event: Event = it
                people.submit(event, now)
                recorder.inbox(now)
            elif isinstance(it, Reading):
                recorder.readings([it], now)


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder whose journal holds a carry-over that was tested."""
    folder = tmp_path_factory.mktemp("room")
    path = write_config(folder, tanks=TANK, probes=line_probes("/dev/absent", tank="t", every_s=20))
    poured = refill(3, litres=25, minutes=10, neutraliser_ml=0)
    config = load(path)
    recorder = Recorder(config, config.journal.path)
    inputs = merged(story(6, [pour(3, 0.25, raw("chloramine", 2.0))]), [poured, *KITS])
    serve(config.journal.path, recorder, inputs)
    recorder.close(stamp(ZERO_S + 6 * HOUR_S))
    return folder


def in_room(room: Path, *arguments: str) -> list[str]:
    return [*arguments, "--config", str(room / "afterfill.toml")]


def test_a_tank_with_few_tests_says_so_and_which_comes_next(room: Path) -> None:
    result = afterfill(*in_room(room, "audit", "--tank", "t"))
    assert result.exit_code == 0
    assert f"t: not enough tests yet (3 of {TESTS_NEEDED})" in result.stdout
    assert "total chlorine  " in result.stdout
    assert "too few to tell" in result.stdout
    assert "would tell most now (by the estimate of " in result.stdout


def test_the_json_says_the_same(room: Path) -> None:
    result = afterfill(*in_room(room, "audit", "--tank", "t", "--json"))
    (answer,) = lines_of(result)
    assert (answer["kind"], answer["tank"], answer["word"]) == ("audit", "t", "not-enough")
    assert answer["sentence"] in afterfill(*in_room(room, "audit", "--tank", "t")).stdout
    tests = {
        (figure["figure"], figure["lead_h"]): figure["tests"]
        for figure in answer["figures"]
        if figure["tests"]
    }
    assert tests == {
        ("total chlorine", 0.0): 2,
        ("total ammonia", 0.0): 2,
        ("probability over the limit", 0.0): 2,
        ("total ammonia", 1.0): 2,  # chlorine: blind at first, then overtaken by the refill
    }
    assert [(it["tests"], it["came_true"]) for it in answer["reliability"]] == [(1, 0), (1, 1)]
    assert answer["next_test"]["when"] == "now"


def test_without_a_name_all_tanks_answer(room: Path) -> None:
    answers = lines_of(afterfill(*in_room(room, "audit", "--json")))
    assert [(it["tank"], it["tests"]) for it in answers] == [("t", 3), ("other", 0)]
    assert answers[1]["next_test"] is None  # nothing was ever estimated
    assert answers[1]["sentence"] == f"not enough tests yet (0 of {TESTS_NEEDED})"


def test_the_picture_is_sound_svg_of_one_tank(room: Path, tmp_path: Path) -> None:
    file = tmp_path / "reliability.svg"
    named = in_room(room, "audit", "--tank", "t", "--picture", str(file))
    assert afterfill(*named).exit_code == 0
    HTMLParser(strict=True).parseFragment(file.read_text())
    assert file.read_text().count("<circle") == 2
    unsaid = afterfill(*in_room(room, "audit", "--picture", str(file)))
    assert (unsaid.exit_code, "say which tank" in unsaid.stderr) == (2, True)
    nowhere = afterfill(*in_room(room, "audit", "--tank", "t", "--picture", "/absent/x.svg"))
    assert (nowhere.exit_code, "choose another with --picture" in nowhere.stderr) == (2, True)


def test_a_picture_without_tests_says_that_there_are_none(room: Path, tmp_path: Path) -> None:
    file = tmp_path / "none.svg"
    named = in_room(room, "audit", "--tank", "other", "--picture", str(file))
    assert afterfill(*named).exit_code == 0
    assert "no tests yet" in file.read_text()


def test_a_replay_of_an_export_tells_the_same(room: Path, tmp_path: Path) -> None:
    """What was said of a test's water is a finding: a replay finds it to the byte."""
    folder, out = tmp_path / "recording", tmp_path / "replayed.jsonl"
    afterfill(*in_room(room, "export", str(folder), "--tank", "t"))
    afterfill(*in_room(room, "replay", str(folder), "--tank", "t", "--out", str(out)))
    assert out.read_bytes() == (folder / "verdicts.jsonl").read_bytes()
    kinds = [json.loads(line)["kind"] for line in out.read_text().splitlines()]
    assert kinds.count("forecast-check") == 5


@pytest.mark.parametrize(
    ("shown_mg_l", "sentence"),
    [
        (0.0, "window: nothing speaks against the figures (12 tests, e = "),
        (0.6, "window: the figures are too low, above all "),
    ],
)
def test_figures_are_told_from_wrong_ones(tmp_path: Path, shown_mg_l: float, sentence: str) -> None:
    """Exit 0 also for wrong figures: it could answer."""
    write_config(tmp_path)
    record(
        tmp_path,
        *[forecast_check(day * DAY_H, kit_total_chlorine_mg_l=shown_mg_l) for day in range(1, 13)],
    )
    result = afterfill("audit", "--config", str(tmp_path / "afterfill.toml"))
    assert result.exit_code == 0
    assert sentence in result.stdout


def test_without_a_journal_it_is_one_sentence(tmp_path: Path) -> None:
    write_config(tmp_path)
    result = afterfill("audit", "--config", str(tmp_path / "afterfill.toml"))
    assert result.exit_code == 3
    assert result.stderr.count("\n") == 1
