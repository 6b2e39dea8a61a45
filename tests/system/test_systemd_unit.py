"""The unit as systemd itself judges it, without a running systemd."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest

SYSTEMD = Path(__file__).parents[2] / "systemd"
UNIT = SYSTEMD / "afterfill.service"
PAGE = SYSTEMD / "afterfill-page.service"
BOTH = pytest.mark.parametrize("unit", [UNIT, PAGE], ids=["service", "page"])
PROGRAM = re.compile("/opt/afterfill/bin/afterfill (run|page)")
RULES = SYSTEMD / "99-afterfill-probes.rules"
MOST_EXPOSED = 15  # tenths: systemd's own scale runs from 0 (locked up) to 10 (open)


def analyze(*arguments: str) -> subprocess.CompletedProcess[str]:
    program = shutil.which("systemd-analyze")
    assert program, "systemd-analyze is not installed; run .ci/servers.sh"
    return subprocess.run(
        [program, *arguments], capture_output=True, text=True, timeout=30, check=False
    )


def settings(section: str, unit: Path = UNIT) -> dict[str, list[str]]:
    """A unit's settings; one that is given twice has two values."""
    found: dict[str, list[str]] = {}
    here = ""
    for line in unit.read_text().splitlines():
        if line.startswith("["):
            here = line.strip("[]")
        elif "=" in line and not line.startswith("#") and here == section:
            key, _, value = line.partition("=")
            found.setdefault(key, []).append(value)
    return found


@BOTH
def test_systemd_finds_nothing_wrong_with_the_unit(tmp_path: Path, unit: Path) -> None:
    # On this machine nothing is installed in /opt, and systemd would complain of that alone.
    for it in (UNIT, PAGE):
        (tmp_path / it.name).write_text(PROGRAM.sub("/bin/true run", it.read_text()))
    verified = analyze("verify", str(tmp_path / unit.name))
    assert (verified.returncode, verified.stdout, verified.stderr) == (0, "", "")


def test_systemd_complains_of_a_misspelt_setting(tmp_path: Path) -> None:
    here = tmp_path / UNIT.name
    text = UNIT.read_text().replace("/opt/afterfill/bin/afterfill run", "/bin/true run")
    here.write_text(text.replace("ProtectHome=", "ProtectHouse="))
    assert "ProtectHouse" in analyze("verify", str(here)).stderr


@BOTH
def test_exposure_is_low(unit: Path) -> None:
    judged = analyze("security", "--offline=true", f"--threshold={MOST_EXPOSED}", str(unit))
    assert judged.returncode == 0, judged.stdout
    assert "Overall exposure level" in judged.stdout


@BOTH
def test_a_wrong_configuration_is_not_tried_again(unit: Path) -> None:
    service = settings("Service", unit)
    assert service["Restart"] == ["on-failure"]
    assert service["RestartPreventExitStatus"] == ["2"]


def test_it_is_watched_by_what_it_says_itself() -> None:
    service = settings("Service")
    assert service["Type"] == ["notify"]
    assert service["NotifyAccess"] == ["main"]
    assert service["WatchdogSec"] == ["60"]
    assert int(service["TimeoutStartSec"][0]) > 90, "a Pi goes through a day of readings"


def test_every_secret_that_the_unit_offers_is_one_that_the_program_reads() -> None:
    offered = [line for line in UNIT.read_text().splitlines() if "LoadCredential=" in line]
    assert {line.partition("=")[2].partition(":")[0] for line in offered} == {
        "mqtt-password", "influxdb-token", "notify-urls", "mail-password", "heartbeat-url",
    }  # fmt: skip
    assert all(line.startswith("#") for line in offered), "an absent file would stop the service"


def test_the_page_may_do_less_than_the_service() -> None:
    page, service = settings("Service", PAGE), settings("Service")
    own = {"Type", "ExecStart", "RestartSec", "TimeoutStopSec", "MemoryMax", "TasksMax"}
    same = set(page) & set(service) - own
    assert {key: page[key] for key in same} == {key: service[key] for key in same}
    assert {"NoNewPrivileges", "ProtectSystem", "SystemCallFilter", "CapabilityBoundingSet"} < same
    assert page["IPAddressDeny"] == ["any"]
    assert not {"DeviceAllow", "SupplementaryGroups", "Nice"} & set(page)
    offered = [line for line in PAGE.read_text().splitlines() if "LoadCredential=" in line]
    assert offered == ["#LoadCredential=page-password:/etc/afterfill/page-password"]


def test_it_may_open_serial_ports_and_write_its_state() -> None:
    service = settings("Service")
    assert service["SupplementaryGroups"] == ["dialout"]
    assert service["StateDirectory"] == ["afterfill"]
    assert {f"char-tty{kind} rw" for kind in ("USB", "ACM", "AMA", "S")} <= set(
        service["DeviceAllow"]
    )


def test_what_the_program_reads_of_the_system_is_not_hidden_from_it() -> None:
    # The boot's identity lies in /proc/sys, and a serial port's group must be its group.
    assert not {"ProcSubset", "PrivateUsers", "PrivateDevices"} & set(settings("Service"))


def test_each_line_of_the_probe_rules_is_a_comment_or_a_rule_for_serial_ports() -> None:
    lines = [line for line in RULES.read_text().splitlines() if line.strip()]
    rules = [line for line in lines if not line.startswith("#")]
    assert rules
    assert all(line.startswith('SUBSYSTEM=="tty", ') for line in rules)
