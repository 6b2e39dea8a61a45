"""`check` says what cannot be told on a tank that lacks a probe."""

import pytest

from afterfill.cli.check.missing_probes import missing_probe_findings
from afterfill.config import Config


def config_with(*quantities: str) -> Config:
    probes = [
        {"tank": "window", "quantity": q, "driver": "line", "port": "/dev/null"} for q in quantities
    ]
    return Config.model_validate({"tank": {"window": {"litres": 100}}, "probe": probes})


def test_a_tank_with_all_three_is_passed_over() -> None:
    assert list(missing_probe_findings(config_with("orp", "ph", "temperature"))) == []


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
    (finding,) = missing_probe_findings(config_with(*there))
    assert finding.subject == "tank window"
    assert finding.state == "unknown"
    assert f"no {lacks} probe" in finding.text
    assert says in finding.text
