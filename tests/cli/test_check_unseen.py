"""`check` says what cannot be told on a tank that lacks a probe, or is topped up unsaid."""

import pytest

from afterfill.cli.check.unseen import unseen_findings
from afterfill.config import Config


def config_with(*quantities: str) -> Config:
    probes = [
        {"tank": "window", "quantity": q, "driver": "line", "port": "/dev/null"} for q in quantities
    ]
    tank = {"litres": 100, "top_off": "told"}
    return Config.model_validate({"tank": {"window": tank}, "probe": probes})


def test_a_tank_with_all_three_is_passed_over() -> None:
    assert list(unseen_findings(config_with("orp", "ph", "temperature"))) == []


@pytest.mark.parametrize(
    ("there", "lacks", "says"),
    [
        (("orp", "temperature"), "ph", "CO2"),
        (("orp", "ph"), "temperature", "colder water"),
        (("ph", "temperature"), "orp", "cannot be seen at all"),
    ],
)
def test_what_is_missing_is_named_with_what_it_costs(
    there: tuple[str, ...], lacks: str, says: str
) -> None:
    (finding,) = unseen_findings(config_with(*there))
    assert finding.subject == "tank window"
    assert finding.state == "unknown"
    assert f"no {lacks} probe" in finding.text
    assert says in finding.text


def test_top_offs_that_are_not_spoken_of_are_asked_about() -> None:
    config = Config.model_validate({"tank": {"window": {"litres": 100}}})
    (finding,) = unseen_findings(config)
    assert finding.state == "unknown"
    assert "top_off" in finding.text
