"""`check` names the files with secrets that others on the machine may read."""

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from afterfill.cli.check.finding import Finding
from afterfill.cli.check.secrets import secret_findings
from afterfill.config_file import load
from cli_room import afterfill, lines_of, write_config

TABLES = """
[mqtt]
host = "localhost"
port = 1
username = "u"
password_file = "mqtt"
[influxdb]
url = "http://localhost:1"
token_file = "token"
[[notify]]
heartbeat_url_file = "beat"
url_file = "urls"
[[notify]]
[notify.smtp]
host = "localhost"
from = "a@example.org"
to = "b@example.org"
username = "u"
password_file = "mail"
"""
FILES = ("mqtt", "token", "beat", "urls", "mail")


def found(folder: Path, mode: int) -> list[Finding]:
    for name in FILES:
        (folder / name).write_text("secret")
        (folder / name).chmod(mode)
    return list(secret_findings(load(write_config(folder, more=TABLES))))


@pytest.mark.parametrize("mode", [0o644, 0o640, 0o604, 0o660])
def test_each_file_that_others_may_read_is_named_with_what_to_do(tmp_path: Path, mode: int) -> None:
    findings = found(tmp_path, mode)
    assert {f.state for f in findings} == {"fault"}
    assert {f.text.rpartition("chmod 600 ")[2] for f in findings} == {
        str(tmp_path / name) for name in FILES
    }


def test_closed_files_are_well(tmp_path: Path) -> None:
    assert found(tmp_path, 0o600) == [Finding("secrets", "ok", "5 secret files, closed to others")]


def test_a_file_of_root_for_the_services_group_is_well(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def belongs(mode: int) -> Callable[[Path], os.stat_result]:
        return lambda _: os.stat_result((0o100000 | mode, 1, 1, 1, 0, 1234, 6, 0, 0, 0))

    config = load(write_config(tmp_path, more=TABLES))
    monkeypatch.setattr(Path, "stat", belongs(0o640))
    assert [finding.state for finding in secret_findings(config)] == ["ok"]
    monkeypatch.setattr(Path, "stat", belongs(0o644))
    assert {finding.state for finding in secret_findings(config)} == {"fault"}


def test_check_tells_it_and_ends_with_bad_news(tmp_path: Path) -> None:
    found(tmp_path, 0o644)
    config = str(tmp_path / "afterfill.toml")
    told = lines_of(afterfill("check", "--json", "--config", config))
    texts = [line["text"] for line in told if line["subject"] == "secrets"]
    assert f"others on this machine may read {tmp_path}/token: chmod 600 {tmp_path}/token" in texts


def test_without_secrets_there_is_nothing_to_say(tmp_path: Path) -> None:
    assert list(secret_findings(load(write_config(tmp_path)))) == []
