"""`probe` and `check` on pseudo-terminals: good probes, bad ones, and a port that is held."""

import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from afterfill.cli.check.machine import clock_finding
from afterfill.journal.store import Journal
from afterfill.records import Health, Reading
from afterfill.service.driver_registry import open_port, ports_of
from afterfill.simulation.line_device import LineDevice
from afterfill.simulation.modbus_device import ModbusDevice
from afterfill.simulation.pty_port import PtyPort
from cli_room import (
    MEASURED,
    afterfill,
    estimate,
    line_probe,
    line_probes,
    lines_of,
    record,
    running,
    write_config,
    written_at,
)
from cli_room import reading as recorded
from servers import Broker, free_port

NO_DATABASE = '[influxdb]\nurl = "http://127.0.0.1:{}"\n'
BROKER = '[mqtt]\nhost = "127.0.0.1"\nport = {}\n'
SMALL_JOURNAL = "[journal]\nmax_mb = 10\n"


@pytest.fixture
def head(tmp_path: Path) -> Iterator[Path]:
    """The path of a probe head that answers."""
    with PtyPort(LineDevice(lambda: MEASURED), tmp_path / "head") as port:
        yield port.link


def states(result_lines: list[dict[str, str]]) -> dict[str, str]:
    return {line["subject"]: line["state"] for line in result_lines}


def test_read_gives_every_probe_with_its_offset(tmp_path: Path, head: Path) -> None:
    probes = "\n".join([line_probe("orp", head, offset=-10), line_probe("temperature", head)])
    config = str(write_config(tmp_path, probes=probes))
    result = afterfill("probe", "read", "--config", config)
    assert result.exit_code == 0
    assert result.stdout == "window-temperature  24.81 °C\nwindow-orp  402.3 mV\n"


def test_read_one_probe_several_times_as_json(tmp_path: Path, head: Path) -> None:
    config = str(write_config(tmp_path, probes=line_probes(head)))
    result = afterfill(
        "probe", "read", "window-ph", "--count", "3", "--every", "0", "--config", config, "--json"
    )
    wires = lines_of(result)
    assert [(w["kind"], w["probe"], w["value"]) for w in wires] == [
        ("reading", "window-ph", 7.21)
    ] * 3
    assert result.exit_code == 0


def test_read_over_modbus(tmp_path: Path) -> None:
    table = (
        '[[probe]]\ntank = "window"\nquantity = "orp"\ndriver = "modbus"\n'
        f'port = "{tmp_path}/bus"\n'
        "device = 3\nregister = 0\nscale = 0.1\n"
    )
    config = str(write_config(tmp_path, probes=table))
    with PtyPort(ModbusDevice(3, lambda: MEASURED), tmp_path / "bus"):
        assert afterfill("probe", "read", "--config", config).stdout == "window-orp  412.3 mV\n"


def test_a_probe_that_does_not_answer_is_bad_news(tmp_path: Path, head: Path) -> None:
    table = line_probe("orp", head, pattern="(?P<orp>NOTHING LIKE IT)")
    config = str(write_config(tmp_path, probes=table))
    result = afterfill("probe", "read", "--config", config)
    assert result.exit_code == 1
    assert result.stdout.startswith('window-orp  no usable reading: garbled ("ORP=')


def test_an_absent_port_is_unavailable(tmp_path: Path) -> None:
    config = str(write_config(tmp_path, probes=line_probes(tmp_path / "absent")))
    result = afterfill("probe", "read", "--config", config)
    assert result.exit_code == 3
    assert result.stderr.startswith(f"afterfill: port {tmp_path}/absent is not there: plug")


def test_a_wrong_probe_name_is_wrong_use(tmp_path: Path) -> None:
    config = str(write_config(tmp_path, probes=line_probes("/dev/absent")))
    result = afterfill("probe", "read", "window-orb", "--config", config)
    assert result.exit_code == 2
    assert "there is no probe 'window-orb'; did you mean 'window-orp'?" in result.stderr


def test_while_the_service_holds_the_port_its_last_value_is_shown(
    tmp_path: Path, head: Path
) -> None:
    path = write_config(tmp_path, probes=line_probe("orp", head))
    record(tmp_path, recorded(time.time() - 8, value=399.9))
    with _held(path), running(tmp_path):
        shown = afterfill("probe", "read", "--config", str(path))
        checked = states(lines_of(afterfill("check", "--config", str(path), "--json")))
    assert shown.exit_code == 0
    assert "is held, it seems by the running service" in shown.stderr
    assert shown.stdout.startswith("window-orp  399.9 mV  (recorded ")
    assert checked[f"port {head}"] == "ok"
    assert checked["probe window-orp"] == "ok"


def test_a_port_held_by_a_stranger_is_unavailable(tmp_path: Path, head: Path) -> None:
    path = write_config(tmp_path, probes=line_probe("orp", head))
    record(tmp_path, recorded(time.time() - 8000))
    with _held(path):
        shown = afterfill("probe", "read", "--config", str(path))
        checked = afterfill("check", "--config", str(path))
    assert shown.exit_code == 3
    assert "is held by another program: stop it" in shown.stderr
    assert checked.exit_code == 1
    assert f"fault    port {head}: is held by another program: stop it" in checked.stdout
    assert "unknown  probe window-orp: its port could not be read" in checked.stdout


class _held:  # noqa: N801 - reads as a phrase
    """Another owner of the first port of a configuration."""

    def __init__(self, config_path: Path) -> None:
        from afterfill.config_file import load

        self._port = open_port(ports_of(load(config_path))[0])

    def __enter__(self) -> None:
        self._port.open()

    def __exit__(self, *_: object) -> None:
        self._port.close()


def test_the_list_knows_last_value_age_errors_and_trouble(tmp_path: Path) -> None:
    config = str(write_config(tmp_path, probes=line_probes("/dev/absent")))
    now_s = time.time()
    record(
        tmp_path,
        recorded(now_s - 60),
        Reading(now_s - 30, "window", "orp", None, "window-orp", "no-answer"),
        Health(now_s - 20, "window", "probe window-orp", False, 60.0, 3, "no-answer"),
    )
    wires = {
        w["probe"]: w for w in lines_of(afterfill("probe", "list", "--config", config, "--json"))
    }
    assert list(wires) == ["window-orp", "window-ph", "window-temperature"]
    orp = wires["window-orp"]
    assert (orp["value"], orp["errors"], orp["invalid"]) == (412.3, 3, "no-answer")
    assert orp["age_s"] == pytest.approx(60, abs=5)
    assert wires["window-ph"]["value"] is None
    text = afterfill("probe", "list", "--config", config).stdout
    assert "412.3 mV" in text
    assert "last answer: no-answer" in text
    assert "never read" in text


def test_the_list_works_before_the_service_ever_ran(tmp_path: Path) -> None:
    config = str(write_config(tmp_path, probes=line_probes("/dev/absent")))
    result = afterfill("probe", "list", "--config", config, "--json")
    assert result.exit_code == 0
    assert [w["value"] for w in lines_of(result)] == [None, None, None]
    assert "has not run with this configuration yet" in result.stderr


def test_check_proves_ports_probes_broker_and_disk(tmp_path: Path, head: Path) -> None:
    with Broker(tmp_path / "broker") as broker:
        more = BROKER.format(broker.port) + SMALL_JOURNAL
        config = write_config(tmp_path, probes=line_probes(head), more=more)
        result = afterfill("check", "--config", str(config), "--json")
    found = states(lines_of(result))
    assert found.pop("clock") in {"ok", "unknown"}
    assert found == {
        "tank window": "unknown",  # how it is topped up is not said
        "configuration": "ok",
        f"port {head}": "ok",
        "probe window-temperature": "ok",
        "probe window-ph": "ok",
        "probe window-orp": "ok",
        "broker": "ok",
        "disk": "ok",
        "service": "unknown",
    }
    assert result.exit_code == 0


def test_check_names_every_fault_and_ends_with_1(tmp_path: Path, head: Path) -> None:
    more = (
        BROKER.format(free_port())
        + NO_DATABASE.format(free_port())
        + '[[notify]]\nurl_file = "absent"\n[journal]\npath = "absent/afterfill.db"\n'
    )
    probes = line_probe("orp", head, pattern="(?P<orp>X)") + line_probe("ph", tmp_path / "gone")
    config = write_config(tmp_path, probes=probes, more=more)
    result = afterfill("check", "--config", str(config))
    assert result.exit_code == 1
    for beginning in (
        "ok       configuration: ",
        f"ok       port {head}: opened for us alone",
        "fault    probe window-orp: no usable reading: garbled",
        f"fault    port {tmp_path}/gone: is not there",
        "unknown  probe window-ph: its port could not be read",
        "fault    broker: ",
        "fault    database: ",
        "fault    notify 1: ",
        f"fault    disk: the folder {tmp_path}/absent does not exist",
    ):
        assert any(line.startswith(beginning) for line in result.stdout.splitlines()), beginning
    assert result.stderr == ""


def test_check_of_a_running_service_says_so(tmp_path: Path) -> None:
    config = str(write_config(tmp_path, probes=line_probes("/dev/absent")))
    record(tmp_path, recorded(time.time() - 5))
    with running(tmp_path):
        checked = afterfill("check", "--config", config).stdout
    assert "ok       service: running; newest reading 5 s ago" in checked


def test_check_after_a_clean_stop_does_not_call_the_service_running(tmp_path: Path) -> None:
    config = str(write_config(tmp_path, probes=line_probes("/dev/absent")))
    record(tmp_path, recorded(time.time() - 5))
    with running(tmp_path):
        pass
    checked = afterfill("check", "--config", config).stdout
    assert "unknown  service: not running; newest reading 5 s ago" in checked


def test_a_journal_dated_ahead_of_the_clock_is_said(tmp_path: Path) -> None:
    """A clock that was a year ahead for a moment; the service has stopped since."""
    config = str(write_config(tmp_path, probes=line_probes("/dev/absent")))
    year_s = 365 * 86400.0
    written = written_at(time.time() - 10)
    ahead = replace(written, time_s=written.time_s + year_s)
    with Journal.open(tmp_path / "afterfill.db") as journal:
        journal.append(recorded(ahead.time_s), ahead)
        journal.append(estimate(ahead.time_s), ahead)
        journal.commit()
    checked = afterfill("check", "--config", config).stdout
    assert "service: not running; newest reading 10 s ago" in checked
    assert "the journal is dated 365.0 days ahead of this machine's clock" in checked
    now = afterfill("now", "--config", config)
    assert now.exit_code == 1
    assert "CANNOT TELL" in now.stdout
    assert "the service is not running" in now.stdout
    assert "dated 365.0 days ahead" in now.stdout
    with running(tmp_path):
        now = afterfill("now", "--config", config)
    assert "newest readings   orp 10 s ago" in now.stdout


def test_a_disk_too_small_for_the_journal_is_a_fault(tmp_path: Path) -> None:
    config = write_config(tmp_path, more="[journal]\nmax_mb = 1e9\n")
    result = afterfill("check", "--config", str(config))
    assert "MB too few for [journal] max_mb = 1e+09; free some or lower max_mb" in result.stdout
    assert "fault    probes: none is configured" in result.stdout


def test_the_clock_is_never_called_good_without_a_witness(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from afterfill.cli.check import machine as check_machine

    monkeypatch.setattr(check_machine, "is_synchronised", lambda: False)
    for kernel, state in ((True, "ok"), (False, "unknown"), (None, "unknown")):
        monkeypatch.setattr(check_machine, "_kernel_says_synchronised", lambda k=kernel: k)
        assert clock_finding().state == state
    monkeypatch.setattr(check_machine, "_MADE_S", time.time() + 1e6)
    assert clock_finding().state == "fault"


def test_check_with_a_wrong_configuration_is_wrong_use(tmp_path: Path) -> None:
    config = str(write_config(tmp_path, probes=line_probe("orp", "/dev/x", driver="lien")))
    result = afterfill("check", "--config", config)
    assert result.exit_code == 2
    assert "driver 'lien' is not installed; did you mean 'line'?" in result.stderr
