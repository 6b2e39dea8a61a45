"""The provisioned files as their reader, a program, takes them."""

import json
import re
from collections import Counter
from typing import Any

import pytest
import yaml
from grafana_foundation_sdk.cog import runtime
from grafana_foundation_sdk.cog.encoder import JSONEncoder
from grafana_foundation_sdk.cog.plugins import register_default_plugins
from grafana_foundation_sdk.models import alerting, dashboard, expr, units

from dashboards.files import MADE, PROVISIONING, texts
from dashboards.parts import MG_L, PH

UID = "afterfill-influxql"
TEXTS = {name: (PROVISIONING / "dashboards" / name).read_text() for name in MADE}
DASHBOARDS: dict[str, dict[str, Any]] = {name: json.loads(text) for name, text in TEXTS.items()}
PANELS = {
    f"{name}: {panel['title']}": panel
    for name, found in DASHBOARDS.items()
    for panel in found["panels"]
    if panel["type"] != "row"
}
UNITS = {value for name, value in vars(units).items() if isinstance(value, str) and name[0] != "_"}
ALERTING = PROVISIONING / "alerting/afterfill.yaml"
RULES = yaml.safe_load(ALERTING.read_text())["groups"][0]["rules"]


def plain(value: object) -> Any:
    return json.loads(json.dumps(value, cls=JSONEncoder))


@pytest.mark.parametrize("name", MADE)
def test_a_file_is_what_the_typed_models_make(name: str) -> None:
    assert texts()[name] == TEXTS[name], "run tests/dashboards/files.py"


@pytest.mark.parametrize("name", MADE)
def test_the_typed_models_read_a_file_and_lose_nothing(name: str) -> None:
    register_default_plugins()
    read = plain(dashboard.Dashboard.from_json(json.loads(TEXTS[name])))
    written = json.loads(TEXTS[name])
    for either in (read, written):  # the models know no queries of this data source's marks
        for mark in either["annotations"].get("list", []):
            del mark["target"]
    assert read == written


def test_every_dashboard_has_a_uid_of_its_own_and_is_linked_with_the_others() -> None:
    uids = [found["uid"] for found in DASHBOARDS.values()]
    assert len(set(uids)) == len(MADE)
    for found in DASHBOARDS.values():
        assert found["links"][0]["tags"] == found["tags"] == ["afterfill"]


def test_every_query_goes_to_the_provisioned_data_source() -> None:
    source = yaml.safe_load((PROVISIONING / "datasources/afterfill.yaml").read_text())
    (told,) = source["datasources"]
    assert (told["uid"], told["type"]) == (UID, "influxdb")
    for text in TEXTS.values():
        named = re.findall(r'"type": "influxdb",\s+"uid": "([^"]+)"', text)
        assert set(named) == {UID}
        assert len(re.findall(r'"datasource":', text)) == len(named)


def test_every_dashboard_file_is_in_the_folder_that_grafana_is_shown() -> None:
    (provider,) = yaml.safe_load((PROVISIONING / "dashboards/afterfill.yaml").read_text())[
        "providers"
    ]
    assert provider["type"] == "file"
    assert {file.name for file in (PROVISIONING / "dashboards").glob("*.json")} == set(MADE)


@pytest.mark.parametrize("title", PANELS)
def test_a_panel_says_its_unit_and_what_it_shows(title: str) -> None:
    panel = PANELS[title]
    assert panel["fieldConfig"]["defaults"]["unit"] in UNITS | {MG_L, PH}
    assert panel["description"].endswith(".")
    for override in panel["fieldConfig"]["overrides"]:
        for rule in override["properties"]:
            assert rule["id"] != "unit" or rule["value"] in UNITS | {MG_L, PH}


@pytest.mark.parametrize("name", MADE)
def test_no_two_panels_share_a_number_or_a_title(name: str) -> None:
    panels = DASHBOARDS[name]["panels"]
    assert max(Counter(panel["id"] for panel in panels).values()) == 1
    assert max(Counter(panel["title"] for panel in panels).values()) == 1


@pytest.mark.parametrize("name", MADE)
def test_panels_fill_the_grid_without_overlap(name: str) -> None:
    taken: set[tuple[int, int]] = set()
    for panel in DASHBOARDS[name]["panels"]:
        at = panel["gridPos"]
        cells = {(at["x"] + i, at["y"] + j) for i in range(at["w"]) for j in range(at["h"])}
        assert not cells & taken, panel["title"]
        taken |= cells
    height = max(y for _, y in taken) + 1
    assert taken == {(x, y) for x in range(24) for y in range(height)}


@pytest.mark.parametrize("title", PANELS)
def test_colour_is_never_the_only_sign(title: str) -> None:
    """Words differ in their text, curves that differ in colour also in dashes or width."""
    config = PANELS[title]["fieldConfig"]
    rules = [(o["matcher"]["options"], _by_id(o["properties"])) for o in config["overrides"]]
    said = [config["defaults"].get("mappings", []), *(r.get("mappings", []) for _, r in rules)]
    for mappings in said:
        shown = [text for mapping in mappings for text in _texts(mapping)]
        assert len(set(shown)) == len(shown)
        assert all(shown)
    edges = {n for name, r in rules if "custom.fillBelowTo" in r for n in (name, _low(r))}
    lines = [(name, r) for name, r in rules if "custom.lineStyle" in r]
    looks = Counter(_look(r) for name, r in lines if name not in edges)
    assert set(looks.values()) <= {1}
    assert not {_look(r) for name, r in lines if name in edges} & set(looks)


def test_no_word_over_time_outlives_what_said_it() -> None:
    """A row of words is drawn on until the next one: only a gap ends it. An alarm's state holds."""
    bands = {title: panel for title, panel in PANELS.items() if panel["type"] == "state-timeline"}
    assert len(bands) == 7
    for title, panel in bands.items():
        fill = "none" if "Each alarm" in title else "null"
        assert panel["targets"][0]["query"].endswith(f"fill({fill})")
        assert fill == "none" or panel["interval"] in ("10m", "15m")


def _by_id(properties: list[dict[str, Any]]) -> dict[str, Any]:
    return {rule["id"]: rule["value"] for rule in properties}


def _low(rule: dict[str, Any]) -> str:
    return str(rule["custom.fillBelowTo"])


def _look(rule: dict[str, Any]) -> str:
    return json.dumps([rule["custom.lineStyle"], rule["custom.lineWidth"]])


def _texts(mapping: dict[str, Any]) -> list[str]:
    if mapping["type"] == "range":
        return [mapping["options"]["result"]["text"]]
    return [option["text"] for option in mapping["options"].values()]


def test_no_limit_is_typed_into_a_dashboard() -> None:
    for text in TEXTS.values():
        for query in re.findall(r'"query": "((?:[^"\\]|\\.)*)"', text):
            assert not re.search(r"\d\.\d", query), query
        assert "thresholds" not in text
        assert "textbox" not in text


# --- the alert rules ----------------------------------------------------------------------------


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: str(rule["uid"]))
def test_the_typed_models_read_a_rule_and_lose_nothing(rule: dict[str, Any]) -> None:
    register_default_plugins()
    read = plain(alerting.Rule.from_json(rule))
    assert {key: read[key] for key in rule if key != "data"} == {
        key: rule[key] for key in rule if key != "data"
    }
    for query in rule["data"]:
        told = plain(alerting.Query.from_json(query))
        assert {key: told[key] for key in query} == query
    _, reduce, threshold = (query["model"] for query in rule["data"])
    assert plain(expr.TypeReduce.from_json(reduce)) == reduce
    assert plain(expr.TypeThreshold.from_json(threshold)) == threshold


def test_rules_watch_readings_estimates_the_service_and_its_backlog() -> None:
    asked = [rule["data"][0]["model"]["query"] for rule in RULES]
    watched = [re.findall(r'FROM "(\w+)"', query)[0] for query in asked]
    assert watched == ["reading", "estimate", "health", "journal"]
    assert len({rule["uid"] for rule in RULES}) == len({rule["title"] for rule in RULES}) == 4


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: str(rule["uid"]))
def test_a_rule_asks_the_data_source_then_reduces_then_compares(rule: dict[str, Any]) -> None:
    first, *rest = rule["data"]
    assert first["datasourceUid"] == UID
    assert [query["datasourceUid"] for query in rest] == ["__expr__", "__expr__"]
    assert rule["condition"] == rest[-1]["refId"]
    for query in rule["data"]:
        assert query["refId"] == query["model"]["refId"]


def test_nothing_in_the_rules_is_taken_for_a_name_of_the_environment() -> None:
    assert "$" not in ALERTING.read_text()


def test_the_rules_choose_no_contact_point() -> None:
    told = yaml.safe_load(ALERTING.read_text())
    assert set(told) == {"apiVersion", "groups"}
    assert all("notification_settings" not in rule for rule in RULES)


def test_the_library_has_no_model_of_its_own_for_these_queries() -> None:
    """When it gets one, `Question` in parts.py should use it."""
    assert isinstance(runtime.dataquery_from_json({}, "influxdb"), runtime.UnknownDataquery)
