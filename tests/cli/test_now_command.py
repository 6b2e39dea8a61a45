"""`now`: words first; what is unknown is never shown as safe."""

import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from afterfill.journal.store import Journal
from afterfill.records import Record, RefillReady, Standing
from cli_room import (
    afterfill,
    alarm,
    estimate,
    line_probe,
    line_probes,
    lines_of,
    reading,
    record,
    running,
    verdict,
    write_config,
    written_at,
)


@pytest.fixture
def now_s() -> float:
    return round(time.time(), 3)


@pytest.fixture(autouse=True)
def _service(tmp_path: Path) -> Iterator[None]:
    """A service holds the journal, as far as anybody can see."""
    with running(tmp_path):
        yield


@pytest.fixture
def config(tmp_path: Path) -> str:
    return str(write_config(tmp_path, probes=line_probes("/dev/absent")))


def fresh(now_s: float, *further: Record, **changes: object) -> list[Record]:
    """A service that has just read, with an estimate so changed, and further records."""
    return [reading(now_s - 5), estimate(now_s - 5, **changes), *further]


def test_safe_is_said_only_as_far_as_the_probes_can_see(
    tmp_path: Path, config: str, now_s: float
) -> None:
    record(tmp_path, *fresh(now_s, verdict(now_s - 600)))
    result = afterfill("now", "--config", config)
    assert result.exit_code == 0
    assert result.stdout.startswith("window: safe as far as the probes can see, since ")
    assert "0.001 (0 to 0.004) mg/L as Cl2" in result.stdout
    assert "un-ionised NH3    0.0005 (0.0001 to 0.002) mg/L as N" in result.stdout
    assert (
        "a residual of 0.06 mg/L or more would be called now, 3 times the limit; less is judged by "
        "what was poured and dosed, and by tests"
    ) in result.stdout
    assert "carried-over (final), probability of carry-over 0.97" in result.stdout


def test_an_active_alarm_is_not_safe_and_says_what_to_do(
    tmp_path: Path, config: str, now_s: float
) -> None:
    began = alarm(now_s - 300, "residual-oxidant")
    seen = alarm(now_s - 60, "residual-oxidant", "acknowledged")
    record(tmp_path, *fresh(now_s, began, seen, p_over_limit=0.99))
    result = afterfill("now", "--config", config, "--json")
    assert result.exit_code == 1
    (wire,) = lines_of(result)
    assert wire["state"] == "not-safe"
    assert abs(_unix(wire["since"]) - (now_s - 300)) < 0.01  # not since the acknowledgement
    assert wire["alarms"][0]["alarm"] == "residual-oxidant"
    assert "dose neutraliser" in wire["alarms"][0]["action"]
    text = afterfill("now", "--config", config).stdout
    assert text.startswith("window: NOT SAFE, since ")
    assert "do: stop the refill" in text


@pytest.mark.parametrize(
    ("changes", "state"),
    [
        ({"sees": False, "why_blind": "probe cleaned; settling"}, "cannot-tell"),
        ({"p_over_limit": 0.2}, "cannot-tell"),
        ({"free_ammonia_mg_l": None}, "cannot-tell"),
        ({"p_over_limit": 0.7}, "not-safe"),  # also while the alarm is shelved or in its delay
        ({"p_over_limit": 0.7, "sees": False, "why_blind": "stuck"}, "not-safe"),
        ({"free_ammonia_mg_l": (0.1, 0.2, 0.3)}, "not-safe"),
    ],
)
def test_an_estimate_that_does_not_clear_is_not_safe(
    tmp_path: Path, config: str, now_s: float, changes: dict[str, object], state: str
) -> None:
    from afterfill.records import Quantiles

    if isinstance(changes.get("free_ammonia_mg_l"), tuple):
        changes = {"free_ammonia_mg_l": Quantiles(0.1, 0.2, 0.3)}
    record(tmp_path, *fresh(now_s, **changes))
    result = afterfill("now", "--config", config, "--json")
    assert lines_of(result)[0]["state"] == state
    assert result.exit_code == 1


def test_old_news_say_nothing_about_now(tmp_path: Path, config: str, now_s: float) -> None:
    record(tmp_path, reading(now_s - 400), estimate(now_s - 400))
    result = afterfill("now", "--config", config)
    assert result.exit_code == 1
    assert "CANNOT TELL" in result.stdout
    assert "the service does not read: its newest usable reading is 7 min old" in result.stdout
    assert "(the last known figures)" in result.stdout
    assert "safe as far" not in result.stdout


def test_a_lost_cable_makes_the_newest_reading_old(
    tmp_path: Path, config: str, now_s: float
) -> None:
    """The service goes on recording that the port is lost: that is no reading."""
    lost = [reading(now_s - s, value=None, invalid="port-lost") for s in range(90, 0, -10)]
    record(tmp_path, reading(now_s - 100), *lost, estimate(now_s - 5))
    result = afterfill("now", "--config", config)
    assert "newest readings   orp 100 s ago" in result.stdout


def test_learning_is_said_as_such(tmp_path: Path, config: str, now_s: float) -> None:
    why = "learning the quiet ORP of this tank: 7 min of quiet readings to go"
    record(tmp_path, reading(now_s - 5), estimate(now_s - 5, sees=False, why_blind=why))
    with Journal.open(tmp_path / "afterfill.db") as journal:
        told = Standing(now_s - 5, "window", "learning", now_s - 185, why, False, None)
        journal.append(told, written_at(now_s - 5))
        journal.commit()
    result = afterfill("now", "--config", config)
    assert result.exit_code == 1
    assert result.stdout.startswith("window: LEARNING, since ")
    assert why in result.stdout.splitlines()[0]


def test_readings_without_estimates_cannot_tell(tmp_path: Path, config: str, now_s: float) -> None:
    record(tmp_path, reading(now_s - 2))
    assert afterfill("now", "--config", config).exit_code == 1


def test_since_is_told_by_the_service_and_counted_from_its_own_clock(
    tmp_path: Path, config: str, now_s: float
) -> None:
    told = Standing(now_s - 5, "window", "safe", now_s - 125, "", True, 0.06)
    record(tmp_path, reading(now_s - 5), estimate(now_s - 5))
    with Journal.open(tmp_path / "afterfill.db") as journal:
        journal.append(told, written_at(now_s - 5))
        journal.commit()
    (wire,) = lines_of(afterfill("now", "--config", config, "--json"))
    assert abs(_unix(wire["since"]) - (now_s - 125)) < 0.01
    assert 125 <= wire["since_age_s"] < 185
    headline = afterfill("now", "--config", config).stdout.splitlines()[0]
    assert headline.endswith(" (2 min)")


def test_ammonia_is_not_asked_for_where_no_probe_can_tell_it(tmp_path: Path, now_s: float) -> None:
    config = write_config(tmp_path, probes=line_probe("orp", "/dev/absent"))
    record(tmp_path, *fresh(now_s, free_ammonia_mg_l=None), ammonia_is_watched=False)
    result = afterfill("now", "--config", str(config))
    assert result.exit_code == 0
    assert "un-ionised NH3    not known without pH and temperature" in result.stdout


def test_one_bad_tank_among_good_ones_is_bad_news(tmp_path: Path, now_s: float) -> None:
    tanks = "[tank.window]\nlitres = 100\n[tank.pond]\nlitres = 900\n"
    config = write_config(tmp_path, tanks=tanks, probes=line_probes("/dev/absent"))
    record(tmp_path, *fresh(now_s))
    result = afterfill("now", "--config", str(config), "--json")
    assert [wire["state"] for wire in lines_of(result)] == ["safe", "cannot-tell"]
    assert result.exit_code == 1
    assert afterfill("now", "--config", str(config), "--tank", "window").exit_code == 0


def test_without_a_journal_nothing_is_available(config: str) -> None:
    result = afterfill("now", "--config", config)
    assert result.exit_code == 3
    assert "the service has not run with this configuration yet" in result.stderr


def _unix(text: str) -> float:
    from afterfill.wire import unix_s

    return unix_s(text)


def test_whether_a_refill_may_begin_is_said_with_its_reasons(
    tmp_path: Path, config: str, now_s: float
) -> None:
    record(tmp_path, *fresh(now_s))
    (wire,) = lines_of(afterfill("now", "--config", config, "--json"))
    assert wire["refill_ready"] == {"ready": False, "why": ["the service has judged nothing yet"]}
    record(tmp_path, RefillReady(now_s - 4, "window", False, ("the ORP probe cannot see: dry",)))
    text = afterfill("now", "--config", config).stdout
    assert "refill            hold it back: the ORP probe cannot see: dry" in text
    record(tmp_path, RefillReady(now_s - 3, "window", True, ()))
    (wire,) = lines_of(afterfill("now", "--config", config, "--json"))
    assert wire["refill_ready"] == {"ready": True, "why": []}


def test_an_old_word_lets_no_refill_begin(tmp_path: Path, config: str, now_s: float) -> None:
    ready = RefillReady(now_s - 600, "window", True, ())
    record(tmp_path, reading(now_s - 5), estimate(now_s - 600), ready)
    (wire,) = lines_of(afterfill("now", "--config", config, "--json"))
    assert wire["refill_ready"]["ready"] is False
