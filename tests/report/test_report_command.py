"""`afterfill report`, run on the demo's journal and on an almost empty one."""

import re
from pathlib import Path

import pytest
from html5lib import HTMLParser

from afterfill.records import AlarmCommand, Refill
from cli_room import (
    afterfill,
    alarm,
    estimate,
    line_probes,
    lines_of,
    reading,
    record,
    write_config,
)

T0 = 1_772_350_200.0  # 2026-03-01T07:30:00Z
TOP_OFF = "2026-03-08T06:10:00Z"


def made(folder: Path, *arguments: str) -> str:
    """The page that the command writes."""
    file = folder / "page.html"
    result = afterfill(
        "report", "--config", str(folder / "afterfill.toml"), "--out", str(file), *arguments
    )
    assert result.exit_code == 0, result.output
    return file.read_text(encoding="utf-8")


def words_of(page: str) -> str:
    """The page's text without its style and tags."""
    text = re.sub(r"<style>.*?</style>|<[^>]+>", " ", page, flags=re.DOTALL)
    return re.sub(r"\s+", " ", text)


@pytest.fixture
def room(tmp_path: Path) -> Path:
    write_config(tmp_path, probes=line_probes("/dev/nothing"))
    record(tmp_path, reading(T0), estimate(T0))
    return tmp_path


def test_the_last_refill_is_told_from_pour_to_test_kit(demo_folder: Path) -> None:
    words = words_of(made(demo_folder, "--refill", "last"))
    for told in (
        "Carried over",
        "more than 99 %",
        "20 L, added to what was there, over 9 min",
        "2 mL",
        "the ORP probe: very strongly for a carry-over",
        "what was poured and dosed, and how often people forget: strongly against a carry-over",
        "residual-oxidant",
        "alarm residual-oxidant acknowledged",
        "mL of neutraliser into the tank",
        "total chlorine 0 mg/L as Cl2",
        "The ORP probe could see all the time.",
        "Detection floor: 0.",
        "ask one",
        "Never mix chemicals",
        "not a drinking-water instrument",
    ):
        assert told in words


def test_a_refill_is_found_by_about_when_it_began(demo_folder: Path) -> None:
    words = words_of(made(demo_folder, "--refill", "2026-03-06T11:30:00Z"))
    assert "Clear" in words
    assert "30 L, drained and refilled" in words
    assert "Carried over" not in words


def test_a_period_tells_every_refill_and_the_blind_hours(demo_folder: Path) -> None:
    page = made(demo_folder, "--from", "2026-03-01T00:00:00Z", "--to", "2026-03-09T00:00:00Z")
    words = words_of(page)
    assert "Clear" in words
    assert "Carried over" in words
    assert "learning the quiet ORP of this tank" in words
    assert "work on the tank: cleaning" in words
    assert page.count('class="mark"') == 2 * 5  # two refills on each of five drawings
    assert len(page) < 400_000  # a week, thinned for a phone


def test_json_tells_what_the_page_tells(demo_folder: Path) -> None:
    file = demo_folder / "named.html"
    result = afterfill(
        "report", "--config", str(demo_folder / "afterfill.toml"), "--out", str(file), "--json"
    )
    wire = lines_of(result)[0]
    assert (wire["kind"], wire["refill"], wire["file"]) == ("report", TOP_OFF, str(file))
    assert wire["verdicts"][0]["verdict"] == "carried-over"
    assert [a["state"] for a in wire["alarms"]] == ["unacknowledged", "acknowledged", "normal"]
    assert wire["blind"] == []
    assert file.exists()


def test_png_writes_a_picture_beside_the_page(demo_folder: Path) -> None:
    made(demo_folder, "--png")
    assert (demo_folder / "page.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize("arguments", [[], ["--from", "2026-03-01T00:00:00Z"]])
def test_the_page_is_valid_html_and_asks_nothing_of_anybody(
    demo_folder: Path, arguments: list[str]
) -> None:
    page = made(demo_folder, *arguments)
    HTMLParser(strict=True).parse(page)
    assert "://" not in page
    assert "url(" not in page
    assert "<script" not in page
    assert not re.search(r"\b(src|href|srcset|action)=", page)


def test_what_a_person_typed_is_text_and_never_html(room: Path) -> None:
    evil = "<script>alert('x')</script>&\"'"
    command = AlarmCommand(T0, "window", "ph", "out-of-service", reason=evil)
    record(room, Refill(T0, "window", "add", source=evil), command, alarm(T0, evil))
    page = made(room, "--from", "2026-03-01T07:00:00Z", "--to", "2026-03-01T08:00:00Z")
    HTMLParser(strict=True).parse(page)
    assert "<script" not in page
    assert page.count("&lt;script&gt;alert(&#x27;x&#x27;)&lt;/script&gt;&amp;&quot;&#x27;") == 4


def test_where_there_is_nothing_the_page_says_so_and_clears_nothing(room: Path) -> None:
    words = words_of(made(room, "--from", "2020-01-01T00:00:00Z", "--to", "2020-01-02T00:00:00Z"))
    for told in (
        "No refill was judged in this time.",
        "No refill was announced, and the readings show none.",
        "Nothing was estimated in this time: nothing here is an all-clear.",
        "Nothing was read.",
        "No alarm was raised.",
        "Nothing was done that afterfill was told of.",
        "No test-kit reading was logged.",
    ):
        assert told in words


def test_readings_that_could_not_be_used_are_counted(room: Path) -> None:
    record(room, reading(T0 + 10, "ph", value=None, invalid="no-answer"))
    words = words_of(made(room, "--from", "2026-03-01T07:00:00Z", "--to", "2026-03-01T08:00:00Z"))
    assert "None of its 1 answers could be used." in words


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        ([], "the journal knows of no refill of tank 'window'; give a period with --from and --to"),
        (["--to", "now"], "--to without --from: say where the period begins with --from"),
        (["--refill", "last", "--from", "now"], "--refill and --from/--to exclude each other"),
        (["--from", "now", "--to", "1 h ago"], "does not lie before --to 1 h ago: swap them"),
        (["--from", "noon"], "'noon' is not a time"),
    ],
)
def test_a_wrong_use_gets_one_sentence(room: Path, arguments: list[str], sentence: str) -> None:
    result = afterfill("report", "--config", str(room / "afterfill.toml"), *arguments)
    assert result.exit_code == 2
    assert sentence in result.stderr
    assert result.stderr.count("\n") == 1


def test_a_refill_that_is_far_from_the_time_is_named(demo_folder: Path) -> None:
    config = str(demo_folder / "afterfill.toml")
    result = afterfill("report", "--config", config, "--refill", "2026-03-03T00:00:00Z")
    assert result.exit_code == 2
    assert "give --refill 2026-03-06T11:00:00Z" in result.stderr


def test_a_folder_that_is_not_there_is_named(demo_folder: Path) -> None:
    config, out = str(demo_folder / "afterfill.toml"), demo_folder / "none" / "page.html"
    result = afterfill("report", "--config", config, "--out", str(out))
    assert result.exit_code == 2
    assert f"{out}: cannot be written" in result.stderr


def test_what_the_reasons_are_for_and_against_is_said(demo_folder: Path) -> None:
    words = words_of(made(demo_folder))
    assert "Carry-over means more disinfectant than the limit of this tank (0.019 mg/L)." in words
