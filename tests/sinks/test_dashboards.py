"""Every query of the dashboard on the real InfluxQL engine, fed with points as the sink writes.

Grafana itself is not run here: how it draws is not tested.
"""

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from afterfill.journal.store import Entry
from afterfill.records import (
    UNITS,
    AlarmChange,
    Estimate,
    Health,
    Quantiles,
    Reading,
    Record,
    RefillSeen,
    Stamp,
)
from afterfill.sinks.points import line_of
from sample_records import SPREAD, START_S, alarm, verdict
from servers import Engine

PROVISIONING = Path(__file__).parents[2] / "grafana_provisioning"
DASHBOARD: dict[str, Any] = json.loads((PROVISIONING / "dashboards/tank.json").read_text())
TANK = verdict(START_S).tank
SUBSTITUTES = {
    "$timeFilter": f"time >= {START_S - 3600:.0f}s AND time <= {START_S + 3600:.0f}s",
    "$__interval": "60s",
    "$tank": TANK,
    "$limit_mg_l": "0.011",
    "$ammonia_limit_mg_l": "0.0156",
}
QUANTITY_VALUES = {"temperature": 24.8, "ph": 7.2, "orp": 312.0}


def told() -> list[Record]:
    """What a service may have written about a refill that went wrong, all fields known."""
    known = Estimate(
        START_S, TANK, SPREAD, SPREAD, SPREAD, SPREAD, Quantiles(0.001, 0.002, 0.004),
        0.4, 0.06, True, None,
    )  # fmt: skip
    readings = [
        Reading(START_S, TANK, quantity, QUANTITY_VALUES[quantity], f"{TANK}-{quantity}")
        for quantity in UNITS
    ]
    normal = AlarmChange(START_S, TANK, "probe-lost", "normal", "medium", False, "all speak")
    return [
        *readings,
        Reading(START_S + 10, TANK, "ph", None, f"{TANK}-ph", "no-answer", ""),
        known,
        replace(known, time_s=START_S + 60, sees=False, why_blind="probe in air"),
        RefillSeen(START_S + 70, TANK, "announced", Quantiles(0.2, 0.25, 0.3)),
        verdict(START_S + 80),
        verdict(START_S + 90, final=True),
        alarm(START_S + 90),
        normal,
        Health(START_S, TANK, f"{TANK}-orp", True, 0.5, 3, "an odd line"),
        Health(START_S, TANK, "sink mqtt", False, 80.0, 4, "the broker is away"),
    ]


def lines() -> list[str]:
    stamp = Stamp(START_S, True, "boot", 1.0)
    made = (line_of(Entry(n, stamp, record), "pi") for n, record in enumerate(told()))
    return [line for line in made if line is not None]


@pytest.fixture(scope="module")
def engine(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Engine]:
    with Engine(tmp_path_factory.mktemp("engine")) as engine:
        assert isinstance(engine, Engine)
        engine.query("CREATE DATABASE afterfill")
        engine.write("\n".join(lines()))
        yield engine


def queries() -> dict[str, str]:
    """Every query of the dashboard by the panel, annotation or variable that asks it."""
    found = {
        f"{panel['title']}/{target['refId']}": target["query"]
        for panel in DASHBOARD["panels"]
        for target in panel.get("targets", [])
    }
    for note in DASHBOARD["annotations"]["list"]:
        found[f"annotation {note['name']}"] = note["target"]["query"]
    for variable in DASHBOARD["templating"]["list"]:
        if variable["type"] == "query":
            found[f"variable {variable['name']}"] = variable["query"]
    return found


QUERIES = queries()


def asked(name: str) -> str:
    text = QUERIES[name]
    for variable in sorted(SUBSTITUTES, key=len, reverse=True):
        text = text.replace(variable, SUBSTITUTES[variable])
    assert "$" not in text, f"unknown variable in: {text}"
    return text


@pytest.mark.parametrize("name", QUERIES)
def test_query_finds_rows(engine: Engine, name: str) -> None:
    rows = engine.query(asked(name))
    assert rows, asked(name)
    assert all(any(v is not None for k, v in row.items() if k != "time") for row in rows)


def test_no_query_names_what_the_sink_never_writes() -> None:
    written = {name for line in lines() for name in names_in(line)}
    for name, query in QUERIES.items():
        aliases = set(re.findall(r'AS "([^"]+)"', query))
        named = set(re.findall(r'"([^"]+)"', query)) - aliases
        assert named <= written, f"{name}: {named - written}"


def names_in(line: str) -> set[str]:
    """Measurement, tag keys and field keys of a line."""
    head, _, fields = line.replace(r"\ ", "_").partition(" ")
    measurement, *tags = head.split(",")
    keys = re.findall(r"(?:^|,)(\w+)=", re.sub(r'"[^"]*"', '""', fields))
    return {measurement, *(tag.partition("=")[0] for tag in tags), *keys}


def test_only_alarms_that_are_not_normal_are_listed(engine: Engine) -> None:
    rows = engine.query(asked("Alarms that are not normal/A"))
    assert [(row["alarm"], row["state"]) for row in rows] == [
        ("residual-oxidant", "unacknowledged")
    ]


def test_the_limit_is_drawn_where_the_dashboard_says(engine: Engine) -> None:
    name = "Residual oxidant: 5 %, 50 % and 95 % points, with the limit/D"
    assert {row["limit"] for row in engine.query(asked(name))} == {0.011}


def test_a_silent_probe_is_counted(engine: Engine) -> None:
    rows = engine.query(asked("Unusable readings/A"))
    assert [(row["quantity"], row["unusable"]) for row in rows] == [("ph", 1)]


def test_the_datasource_is_the_one_the_dashboard_names() -> None:
    text = (PROVISIONING / "datasources/afterfill.yaml").read_text()
    uids = re.findall(r"^ +uid: (\S+)", text, re.MULTILINE)
    named = set(re.findall(r'"uid": "([^"]+)"', json.dumps(DASHBOARD))) - {DASHBOARD["uid"]}
    assert [*named] == uids


def test_colours_stand_beside_words_and_dashes() -> None:
    """A person who sees no colours still tells the words apart, and the limit from the band."""
    for panel in DASHBOARD["panels"]:
        defaults = panel.get("fieldConfig", {}).get("defaults", {})
        for mapping in defaults.get("mappings", []):
            texts = [option["text"] for option in mapping["options"].values()]
            assert len(set(texts)) == len(texts)
            assert all(texts)
        for override in panel.get("fieldConfig", {}).get("overrides", []):
            if override["matcher"]["options"] == "limit":
                assert "custom.lineStyle" in {p["id"] for p in override["properties"]}


def test_panels_do_not_overlap() -> None:
    taken: set[tuple[int, int]] = set()
    for panel in DASHBOARD["panels"]:
        at = panel["gridPos"]
        cells = {(at["x"] + i, at["y"] + j) for i in range(at["w"]) for j in range(at["h"])}
        assert not cells & taken, panel["title"]
        assert at["x"] + at["w"] <= 24
        taken |= cells
