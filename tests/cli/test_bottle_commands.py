"""What `log stock`, `now`, `plan` and `check` say of the bottle of neutraliser."""

import time
from pathlib import Path

import pytest

from afterfill.cli.check.bottles import bottle_findings
from afterfill.config_file import load
from afterfill.records import Stock, StockLeft
from cli_room import afterfill, inbox, lines_of, reading, record, write_config

NOW_S = round(time.time(), 3)
DAY_S = 86_400.0


def holds(ml: float, opened_s: float | None = None) -> StockLeft:
    drawn_s = NOW_S - DAY_S
    return StockLeft(
        drawn_s,
        "window",
        "bottle",
        ml,
        0.0,
        opened_s,
        drawn_s - DAY_S,
        drawn_s,
        0,
        (15.0,),
        (25.0,),
    )


@pytest.fixture
def config(tmp_path: Path) -> str:
    return str(write_config(tmp_path))


def findings(config: str) -> list[tuple[str, str]]:
    return [(it.state, it.text) for it in bottle_findings(load(Path(config)))]


def test_a_count_is_left_for_the_service(tmp_path: Path, config: str) -> None:
    given = ["--what", "counted", "--neutraliser-ml", "120", "--config", config]
    result = afterfill("log", "stock", *given)
    assert (result.exit_code, result.stderr) == (0, "")
    assert "stock: neutraliser counted, 120 mL" in result.stdout
    (event,) = inbox(tmp_path)
    assert event == Stock(event.time_s, "window", "counted", 120.0)
    nothing = afterfill("log", "stock", "--what", "opened", "--config", config)
    assert nothing.exit_code == 2
    assert "how much was opened? Give neutraliser_ml, or bottle_ml" in nothing.stderr


def test_where_nothing_was_counted_nothing_is_claimed(tmp_path: Path, config: str) -> None:
    record(tmp_path, reading(NOW_S - 5))
    (now,) = lines_of(afterfill("now", "--config", config, "--json"))
    assert (now["bottle"]["left_ml"], now["bottle"]["low"]) == (None, None)
    assert "bottle" not in afterfill("now", "--config", config).stdout
    assert "The bottle" not in afterfill("plan", "--litres", "25", "--config", config).stdout
    assert findings(config) == []


def test_a_bottle_that_does_not_hold_the_next_refill_is_told_everywhere(
    tmp_path: Path, config: str
) -> None:
    record(tmp_path, reading(NOW_S - 5), holds(1.2))
    said = "the bottle holds 1.2 mL by what was logged; a usual refill takes 15 mL"
    assert f"LOW: neutraliser 'bottle': {said}" in afterfill("now", "--config", config).stdout
    ((state, text),) = findings(config)
    assert (state, said in text, "afterfill log stock" in text) == ("fault", True, True)
    plan = afterfill("plan", "--litres", "50", "--dose-ml", "2", "--config", config)
    words = "The bottle holds 1.2 mL by what was logged; this refill takes 2 mL: NOT ENOUGH"
    assert words in plan.stdout
    rescue = ["plan", "--rescue", "--residual", "1", "--config", config]
    assert "mL by what was logged; this dose takes" in afterfill(*rescue).stdout
    (told,) = lines_of(afterfill("plan", "--litres", "50", "--config", config, "--json"))
    assert (told["bottle"]["left_ml"], told["bottle"]["usual_ml"]) == (1.2, 15.0)
    assert told["bottle"]["low"] is True


def test_a_bottle_that_does_is_said_to(tmp_path: Path, config: str) -> None:
    record(tmp_path, reading(NOW_S - 5), holds(1250.0))
    assert "  bottle            neutraliser 'bottle': the bottle holds 1250 mL" in (
        afterfill("now", "--config", config).stdout
    )
    assert findings(config)[0][0] == "ok"
    plan = afterfill("plan", "--litres", "25", "--dose-ml", "2", "--config", config)
    assert "The bottle holds 1250 mL by what was logged; this refill takes 2 mL." in plan.stdout


def test_a_bottle_past_its_time_is_told_in_the_plan(tmp_path: Path) -> None:
    config = write_config(tmp_path)
    keeps = "mg_cl2_per_ml = 40\nkeeps_months = 6\n"
    config.write_text(config.read_text().replace("mg_cl2_per_ml = 40\n", keeps))
    record(tmp_path, reading(NOW_S - 5), holds(1250.0, opened_s=NOW_S - 200 * DAY_S))
    plan = afterfill("plan", "--litres", "25", "--config", str(config))
    assert "It is PAST ITS TIME, opened 20" in plan.stdout
    assert findings(str(config))[0][0] == "fault"
    (now,) = lines_of(afterfill("now", "--config", str(config), "--json"))
    assert (now["bottle"]["past"], now["bottle"]["low"]) == (True, True)
