"""Every query of the dashboards and alert rules on the real InfluxQL engine, over the demo's story
as the real sink writes it.

Grafana itself is not run here: how it draws, and how its alerting evaluates, is not tested; what a
rule would be told is.
"""

import json
import operator
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml

from afterfill.cli.standing import stands
from afterfill.config import Config
from afterfill.journal.store import Journal
from afterfill.records import AlarmChange
from afterfill.service.liveness import Liveness
from afterfill.simulation.demo_run import JOURNAL_NAME
from afterfill.wire import rfc3339
from dashboards.files import MADE, PROVISIONING
from dashboards.story import BEGIN_S, END_S, SILENT_TANK, TANK, delivered
from servers import Engine

Story = tuple[Engine, Config, Path]
CODES = {"safe": 1, "cannot-tell": 2, "not-safe": 3, "learning": 4}
SILENT = 0
MINUTE_S, HOUR_S, DAY_S = 60.0, 3600.0, 86400.0


@pytest.fixture(scope="module")
def story(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Story]:
    folder = tmp_path_factory.mktemp("story")
    with Engine(tmp_path_factory.mktemp("engine")) as engine:
        assert isinstance(engine, Engine)
        with delivered(folder / "demo", engine) as config:
            yield engine, config, folder / "demo"


def asked(text: str, now_s: float = END_S, tank: str = TANK) -> str:
    """The query as the dashboard or the alerting would send it at `now_s`."""
    filled = {
        "$timeFilter": f"time >= {BEGIN_S:.0f}s AND time <= {now_s:.0f}s",
        "$__interval": "300s",
        "${__from}": f"{BEGIN_S * 1000:.0f}",
        "${__to}": f"{now_s * 1000:.0f}",
        "$tank": tank,
        "now()": f"'{rfc3339(now_s)}'",
    }
    for variable, value in filled.items():
        text = text.replace(variable, value)
    assert "$" not in text, f"unknown variable in: {text}"
    return text


def found_in(name: str) -> dict[str, str]:
    """The queries of a dashboard, by who asks."""
    dashboard = json.loads((PROVISIONING / "dashboards" / name).read_text())
    found = {
        f"{name}: {panel['title']} {target['refId']}": target["query"]
        for panel in dashboard["panels"]
        for target in panel.get("targets", [])
    }
    for mark in dashboard["annotations"].get("list", []):
        found[f"{name}: mark {mark['name']}"] = mark["target"]["query"]
    for variable in dashboard["templating"].get("list", []):
        found[f"{name}: variable {variable['name']}"] = variable["query"]
    return found


def rules() -> dict[str, dict[str, Any]]:
    """The alert rules by their uid."""
    told = yaml.safe_load((PROVISIONING / "alerting/afterfill.yaml").read_text())
    return {rule["uid"]: rule for group in told["groups"] for rule in group["rules"]}


RULES = rules()
RULE_QUERIES = {f"rule {uid}": rule["data"][0]["model"]["query"] for uid, rule in RULES.items()}
QUERIES = {k: v for name in MADE for k, v in found_in(name).items()} | RULE_QUERIES


@pytest.mark.parametrize("name", QUERIES)
def test_query_finds_rows(story: Story, name: str) -> None:
    rows = story[0].query(asked(QUERIES[name]))
    assert rows, asked(QUERIES[name])
    tags = {"time", "tank", "quantity", "component", "alarm", "priority", "host"}
    said = [{k: v for k, v in row.items() if k not in tags} for row in rows]
    assert any(value is not None for row in said for value in row.values()) or "SHOW" in name


def test_the_reader_chooses_among_the_tanks_that_there_are(story: Story) -> None:
    rows = story[0].query(asked(QUERIES["tank.json: variable tank"]))
    assert {row["value"] for row in rows} == {TANK, SILENT_TANK}


def test_no_query_names_what_is_not_in_the_database(story: Story) -> None:
    engine = story[0]
    keys = [*engine.query("SHOW FIELD KEYS"), *engine.query("SHOW TAG KEYS")]
    measurements = {row["name"] for row in engine.query("SHOW MEASUREMENTS")}
    known = measurements | {row.get("fieldKey") or row["tagKey"] for row in keys}
    for name, query in QUERIES.items():
        aliases = set(re.findall(r'AS "([^"]+)"', query))
        named = set(re.findall(r'"([^"]+)"', query)) - aliases
        assert named <= known, f"{name}: {named - known}"


def codes(engine: Engine, now_s: float) -> dict[str, int]:
    """What the table of all tanks says."""
    rows = engine.query(asked(QUERIES["tanks.json: How each tank stands A"], now_s))
    return {row["tank"]: row["standing"] for row in rows}


@pytest.mark.parametrize("tank", [TANK, SILENT_TANK])
def test_a_tank_stands_in_the_table_as_the_command_line_says(story: Story, tank: str) -> None:
    engine, config, folder = story
    with Journal.open(folder / JOURNAL_NAME, read_only=True) as journal:
        newest = journal.latest("estimate", tank)[0].stamp
        word = stands(journal, config, tank, Liveness(True, newest)).word
    assert codes(engine, END_S)[tank] == CODES[word]


def test_the_story_s_end_is_a_safe_tank_and_one_that_cannot_be_judged(story: Story) -> None:
    assert codes(story[0], END_S) == {TANK: CODES["safe"], SILENT_TANK: CODES["cannot-tell"]}


def test_a_tank_is_not_safe_when_its_residual_alarm_is_raised(story: Story) -> None:
    engine, _, folder = story
    with Journal.open(folder / JOURNAL_NAME, read_only=True) as journal:
        changes = [e.record for e in journal.between(TANK, 0.0, END_S, kinds=("alarm",))]
    raised_s = next(
        change.time_s
        for change in changes
        if isinstance(change, AlarmChange) and change.alarm == "residual-oxidant" and change.active
    )
    assert codes(engine, raised_s) == {TANK: CODES["not-safe"]}


def test_a_tank_that_went_silent_is_no_longer_called_safe(story: Story) -> None:
    assert codes(story[0], END_S + HOUR_S) == {TANK: SILENT, SILENT_TANK: SILENT}


def test_nothing_old_is_shown_as_the_present(story: Story) -> None:
    engine = story[0]
    now = ("Residual over the limit: how likely", "Residual, upper end", "The ORP")
    for figure in (*now, "Detection floor", "It stands so since"):
        query = QUERIES[f"tank.json: {figure} A"]
        assert engine.query(asked(query, END_S))
        assert engine.query(asked(query, END_S + HOUR_S)) == []


def test_a_tank_begins_by_learning_and_the_tile_says_so(story: Story) -> None:
    assert codes(story[0], BEGIN_S + 5 * MINUTE_S)[TANK] == CODES["learning"]


FIGURES = ("Residual over the limit: how likely", "Residual, upper end", "Detection floor")
AHEAD = ("Residual below its limit in", "Surely below its limit in")


def test_what_a_blind_probe_cannot_see_is_not_shown_and_nothing_older_in_its_place(
    story: Story,
) -> None:
    engine, second = story[0], END_S - 300
    engine.query("CREATE DATABASE blind")
    estimate = "estimate,tank=t,host=pi p_over_limit=0,residual_q95_mg_l=0.01"
    forecast = "forecast,tank=t,host=pi hours=24"
    below = "residual_below_limit_in_s=0,residual_surely_below_limit_in_s=60"

    def shown() -> dict[str, object]:
        found = {}
        for title in (*FIGURES, *AHEAD):
            rows = engine.query(asked(QUERIES[f"tank.json: {title} A"], tank="t"), "blind")
            kept = [v for row in rows for k, v in row.items() if k not in ("time", "name", "hours")]
            found[title] = kept[0] if kept else None
        return found

    seeing = f"{estimate},detection_floor_mg_l=0.06,sees=true {second:.0f}000000000"
    engine.write(f"{seeing}\n{forecast},{below} {second:.0f}000000000", "blind")
    assert shown() == dict(zip((*FIGURES, *AHEAD), (0, 0.01, 0.06, 0, 60), strict=True))
    later = f"{second + 60:.0f}000000000"
    engine.write(f"{estimate},sees=false {later}\n{forecast},sees=false {later}", "blind")
    assert set(shown().values()) == {None}


def test_a_reason_for_not_judging_ends_when_the_tank_can_be_judged(story: Story) -> None:
    query = QUERIES["probes.json: Why the tank could not be judged A"]
    rows = story[0].query(asked(query, BEGIN_S + DAY_S))
    whys = [row["why"] for row in rows]
    assert str(whys[0]).startswith("learning the quiet ORP of this tank")
    assert set(whys[len(whys) // 2 :]) == {None}


def test_alarms_that_ask_and_alarms_that_cannot_be_judged_are_listed(story: Story) -> None:
    rows = story[0].query(asked(QUERIES["tank.json: Alarms that ask, or cannot be judged A"]))
    said = {row["alarm"]: (row["state"], row["known"]) for row in rows}
    assert said["power-low"] == ("unacknowledged", True)
    assert said["storage-low"] == ("normal", False)
    assert "residual-oxidant" not in said, "it is over and acknowledged"


def test_each_limit_is_the_configured_one_over_the_whole_time_since_it_was_told(
    story: Story,
) -> None:
    curves = [
        ("Residual oxidant: what is believed, and the limit D", "limit", 0.019),
        ("pH B", "highest", 8.8),
        ("Temperature C", "lowest", 18.0),
    ]
    for title, column, value in curves:
        rows = story[0].query(asked(QUERIES[f"refill.json: {title}"], END_S + HOUR_S))
        levels = [row[column] for row in rows if row["time"] >= END_S * 1000]
        assert levels == [value] * 13, "one each five minutes of the hour"


def test_the_share_of_readings_without_a_value(story: Story) -> None:
    query = QUERIES["probes.json: Readings without a value A"]
    silent = story[0].query(asked(query, tank=SILENT_TANK))
    assert {(row["quantity"], row["share"]) for row in silent} == {("orp", 1)}
    assert {row["share"] for row in story[0].query(asked(query))} == {0}


def test_errors_are_those_that_were_new(story: Story) -> None:
    rows = story[0].query(asked(QUERIES["probes.json: Errors in the time shown A"]))
    errors = {row["component"]: row["errors"] for row in rows}
    assert errors["sink mqtt"] == 59, "one a minute, from the first that was told"
    assert errors[f"probe {TANK}-orp"] == 0


def test_the_shares_of_the_priorities_are_those_of_the_day(story: Story) -> None:
    (row,) = story[0].query(asked(QUERIES["alarms.json: Share by priority A"]))
    assert (row["high"], row["medium"], row["low"]) == (0.5, 0.0, 0.5)


# --- the alert rules ----------------------------------------------------------------------------

_HOLDS: dict[str, Callable[[float, float], bool]] = {"lt": operator.lt, "gt": operator.gt}


def fires(engine: Engine, uid: str, now_s: float, database: str = "afterfill") -> set[str]:
    """The labels of the series for which the rule's condition holds: the newest step decides."""
    query, reduce, threshold = (part["model"] for part in RULES[uid]["data"])
    assert (reduce["reducer"], threshold["expression"]) == ("last", reduce["refId"])
    (condition,) = threshold["conditions"]
    holds = _HOLDS[condition["evaluator"]["type"]]
    newest: dict[str, float] = {}
    for row in engine.query(asked(query["query"], now_s), database):
        labels = "/".join(str(row[tag]) for tag in ("host", "tank", "quantity") if tag in row)
        (value,) = (v for k, v in row.items() if k not in ("time", "host", "tank", "quantity"))
        newest[labels] = value
    return {k for k, value in newest.items() if holds(value, condition["evaluator"]["params"][0])}


STOPS = {
    "afterfill-readings-stop": {f"{TANK}/orp", f"{TANK}/ph", f"{TANK}/temperature"},
    "afterfill-estimates-stop": {TANK, SILENT_TANK},
    "afterfill-heartbeat-stops": {"pi"},
}


@pytest.mark.parametrize("uid", STOPS)
def test_a_rule_is_quiet_while_data_flow_and_fires_for_a_week_after_they_stopped(
    story: Story, uid: str
) -> None:
    engine = story[0]
    assert fires(engine, uid, END_S - MINUTE_S) == set()
    assert fires(engine, uid, END_S + 20 * MINUTE_S) == STOPS[uid]
    assert fires(engine, uid, END_S + 6 * DAY_S) == STOPS[uid]


@pytest.mark.parametrize("uid", STOPS)
def test_after_that_week_it_still_fires_for_want_of_any_data(story: Story, uid: str) -> None:
    query = RULES[uid]["data"][0]["model"]["query"]
    assert story[0].query(asked(query, END_S + 8 * DAY_S)) == []
    assert RULES[uid]["noDataState"] == "Alerting"
    assert RULES[uid]["execErrState"] == "Alerting"


def test_one_tank_that_falls_silent_is_noticed_among_others_that_go_on(story: Story) -> None:
    engine = story[0]
    engine.query("CREATE DATABASE others")
    for minute in range(120):
        second = END_S - minute * MINUTE_S
        tanks = ("flowing", "stopped") if minute >= 30 else ("flowing",)
        lines = [
            f"reading,tank={tank},quantity=orp,host=pi value=300,valid=true {second:.0f}000000000\n"
            f"estimate,tank={tank},host=pi p_over_limit=0 {second:.0f}000000000"
            for tank in tanks
        ]
        engine.write("\n".join(lines), "others")
    assert fires(engine, "afterfill-readings-stop", END_S, "others") == {"stopped/orp"}
    assert fires(engine, "afterfill-estimates-stop", END_S, "others") == {"stopped"}


def test_a_long_backlog_fires_and_a_short_one_does_not(story: Story) -> None:
    engine = story[0]
    assert fires(engine, "afterfill-backlog", END_S) == set()
    engine.query("CREATE DATABASE backlog")
    engine.write(f"journal,host=late waiting=5000i {END_S - 60:.0f}000000000", "backlog")
    engine.write(f"journal,host=soon waiting=50i {END_S - 60:.0f}000000000", "backlog")
    assert fires(engine, "afterfill-backlog", END_S, "backlog") == {"late"}


@pytest.mark.parametrize("uid", RULES)
def test_a_rule_waits_until_a_new_step_can_hold_the_slowest_probe_s_next_reading(uid: str) -> None:
    slowest_s, commit_s = 300.0, 300.0
    minutes = float(RULES[uid]["for"].removesuffix("m"))
    assert minutes * MINUTE_S >= (slowest_s if "readings" in uid else MINUTE_S) + commit_s
