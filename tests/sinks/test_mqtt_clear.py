"""`afterfill mqtt clear` takes back what a service left on a real mosquitto, and nothing else."""

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from afterfill.cli.main import app
from afterfill.config import Config
from afterfill.journal.store import Journal
from afterfill.service.only_one import only_one
from afterfill.sinks.mqtt import clear as mqtt_clear
from afterfill.sinks.mqtt.sink import MqttSink
from mqtt_peers import Listener, config_for, lately, of_tank, retained, service_of
from sample_records import now, one_of_each, running, store
from servers import Broker, wait_until

pytestmark = pytest.mark.system
Clear = Callable[..., Result]


@pytest.fixture(autouse=True)
def hurried(monkeypatch: pytest.MonkeyPatch) -> None:
    """There is no hub here that would have to let go first."""
    monkeypatch.setattr(mqtt_clear, "SETTLES_S", 0.0)


@pytest.fixture
def file(journal: Journal, tmp_path: Path) -> Path:
    """A configuration on the journal, without a broker."""
    path = tmp_path / "afterfill.toml"
    path.write_text(f'[tank.window]\nlitres = 200\n[journal]\npath = "{journal.path}"\n')
    return path


def cleared(*arguments: str) -> Result:
    return CliRunner().invoke(app, ["mqtt", "clear", *arguments])


def with_broker(file: Path, port: int) -> Path:
    file.write_text(f'{file.read_text()}[mqtt]\nhost = "127.0.0.1"\nport = {port}\n')
    return file


def left_by(journal: Journal, config: Config, tank: str = "window") -> None:
    """The service runs for a while and leaves its entities and states."""
    store(journal, *(replace(lately(record), tank=tank) for record in one_of_each()))
    port = config.mqtt.port if config.mqtt else 0
    with running(MqttSink(journal.path, config, now)):
        topic = f"afterfill/{tank}/standing"
        wait_until(lambda: topic in retained(port, "afterfill/#"), "it has said all")


def test_all_that_the_service_left_goes_and_what_it_was_is_said(
    journal: Journal, broker: Broker, file: Path
) -> None:
    left_by(journal, config_for(broker.port))
    before = retained(broker.port, "#")
    with_broker(file, broker.port)
    asked = cleared("--config", str(file))
    assert asked.exit_code == 2, "no person can be asked here"
    assert "remove them with --yes" in asked.output
    assert retained(broker.port, "#") == before
    done = cleared("--config", str(file), "--yes", "--json")
    assert done.exit_code == 0, done.output
    assert set(json.loads(done.output)["removed"]) == set(before)
    assert retained(broker.port, "#") == {}
    again = cleared("--config", str(file), "--yes")
    assert (again.exit_code, again.output) == (
        0, f"127.0.0.1:{broker.port}: nothing removed\n"
    )  # fmt: skip


def test_a_broker_that_is_no_longer_configured_is_cleared_by_its_name(
    journal: Journal, broker: Broker, file: Path
) -> None:
    left_by(journal, config_for(broker.port))
    nameless = cleared("--config", str(file), "--yes")
    assert (nameless.exit_code, "say which broker: --host" in nameless.output) == (2, True)
    there = ["--host", "127.0.0.1", "--port", str(broker.port)]
    done = cleared("--config", str(file), *there, "--yes")
    assert done.exit_code == 0, done.output
    assert "entities" in done.output
    assert retained(broker.port, "#") == {}


def test_of_a_service_whose_journal_is_gone_the_name_is_told_and_can_be_given(
    journal: Journal, broker: Broker, file: Path
) -> None:
    left_by(journal, config_for(broker.port))
    before = retained(broker.port, "#")
    file.write_text(file.read_text().replace(journal.path.name, "another.db"))
    config = ["--config", str(with_broker(file, broker.port)), "--yes"]
    first = cleared(*config)
    name = service_of(journal)
    assert f"left: what is of the service {name}" in first.output
    assert retained(broker.port, "#") == before
    done = cleared(*config, "--client-id", name)
    assert done.exit_code == 0, done.output
    assert retained(broker.port, "#") == {}


def test_what_belongs_to_others_stays(
    journal: Journal, broker: Broker, file: Path, tmp_path: Path
) -> None:
    ours = config_for(broker.port)
    with Listener(broker.port, "none") as person:
        person.send("afterfill/window/notes", "a person's own", retain=True)
        person.send("homeassistant/sensor/lamp/config", '{"unique_id": "lamp"}', retain=True)
        person.send("homeassistant/sensor/odd/config", "[not JSON", retain=True)
    with Journal.open(tmp_path / "theirs.db") as theirs:
        left_by(theirs, of_tank(ours, "other"), "other")
        others = retained(broker.port, "#")
        left_by(journal, ours)
        done = cleared("--config", str(with_broker(file, broker.port)), "--yes")
        assert done.exit_code == 0, done.output
        kept = retained(broker.port, "#")
        assert kept.keys() == others.keys()
        assert f"afterfill/service/{service_of(theirs)}/status" in kept


def test_a_tank_that_went_to_another_service_stays_with_it(
    journal: Journal, broker: Broker, file: Path, tmp_path: Path
) -> None:
    left_by(journal, config_for(broker.port))
    with Journal.open(tmp_path / "theirs.db") as theirs:
        left_by(theirs, config_for(broker.port))
        cleared("--config", str(with_broker(file, broker.port)), "--yes")
        kept = retained(broker.port, "#")
    assert "homeassistant/sensor/afterfill_window_orp/config" in kept
    assert "afterfill/window/standing" in kept
    assert f"afterfill/service/{service_of(journal)}/status" not in kept


def test_the_service_must_not_run_on_that_broker_meanwhile(
    journal: Journal, broker: Broker, file: Path
) -> None:
    with only_one(journal.path):
        refused = cleared("--config", str(with_broker(file, broker.port)), "--yes")
    assert refused.exit_code == 3
    assert "is in use by another `afterfill run`" in refused.output


def test_a_broker_that_is_away_is_told_in_one_sentence(file: Path, journal: Journal) -> None:
    done = cleared("--config", str(file), "--host", "127.0.0.1", "--port", "1", "--yes")
    assert done.exit_code == 3
    assert "is not there (connection refused)" in done.output
