"""`check` says whether the page answers, or what it lacks."""

import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from afterfill.cli.check import page as checked
from afterfill.cli.check.finding import Finding
from afterfill.cli.check.page import page_findings
from afterfill.config_file import load
from cli_room import afterfill, lines_of, write_config
from page_room import PASSWORD, served
from servers import free_port


@pytest.fixture
def port() -> int:
    return free_port()


@pytest.fixture
def taken(port: int) -> Iterator[int]:
    """A port that another program holds and at which it says nothing."""
    with socket.create_server(("127.0.0.1", port)):
        yield port


def configured(folder: Path, listen: str, password: str | None = PASSWORD) -> Path:
    table = f'[page]\nlisten = "{listen}"\n'
    if password is not None:
        (folder / "page-password").write_text(password)
        (folder / "page-password").chmod(0o600)
        table += 'password_file = "page-password"\n'
    return write_config(folder, more=table)


def found(config: Path) -> Finding:
    (finding,) = page_findings(load(config))
    return finding


def test_a_page_that_runs_is_found_by_what_it_answers(tmp_path: Path, port: int) -> None:
    config = configured(tmp_path, f"127.0.0.1:{port}")
    with served(config, port):
        finding = found(config)
    assert (finding.state, finding.text) == ("ok", f"http://127.0.0.1:{port} asks for the password")
    assert found(config).state == "unknown"


@pytest.mark.parametrize("listen", ["127.0.0.1", "[::1]", "localhost"])
def test_a_page_that_could_run_is_told_with_how_to_start_it(
    tmp_path: Path, port: int, listen: str
) -> None:
    finding = found(configured(tmp_path, f"{listen}:{port}"))
    assert finding.state == "unknown"
    assert f"{listen}:{port} is free: start it with `afterfill page`" in finding.text


@pytest.mark.parametrize("listen", ["127.0.0.1", "0.0.0.0"])
def test_another_program_on_its_port_is_a_fault(
    tmp_path: Path, taken: int, listen: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(checked, "_PATIENCE_S", 0.2)
    finding = found(configured(tmp_path, f"{listen}:{taken}"))
    assert finding.state == "fault"
    assert "another program has this port" in finding.text


@pytest.mark.parametrize(
    ("listen", "password", "says"),
    [
        ("192.0.2.1:8420", PASSWORD, "this machine has no such address"),  # RFC 5737: nowhere
        ("127.0.0.1:0", None, "does not serve without a password"),
        ("127.0.0.1:0", "short\n", "has 5 characters: write 8 or more"),
    ],
)
def test_what_it_lacks_is_a_fault_with_what_to_do(
    tmp_path: Path, listen: str, password: str | None, says: str
) -> None:
    finding = found(configured(tmp_path, listen, password))
    assert finding.state == "fault"
    assert says in finding.text


def test_a_password_that_cannot_be_read_is_a_fault(tmp_path: Path) -> None:
    config = configured(tmp_path, "127.0.0.1:0")
    (tmp_path / "page-password").unlink()
    assert found(config).state == "fault"
    assert "password_file" in found(config).text


def test_missing_packages_are_a_fault(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(checked, "has_packages", lambda: False)
    assert "pip install 'afterfill[page]'" in found(configured(tmp_path, "127.0.0.1:0")).text


def test_a_page_that_is_off_is_no_fault_and_none_at_all_no_row(tmp_path: Path) -> None:
    table = '[page]\nurl = "https://tank.example"\n'
    assert found(write_config(tmp_path, more=table)).state == "unknown"
    assert list(page_findings(load(write_config(tmp_path)))) == []


def test_the_row_stands_among_those_of_the_command(tmp_path: Path) -> None:
    config = configured(tmp_path, "192.0.2.1:8420")
    result = afterfill("check", "--config", str(config), "--json")
    (row,) = [it for it in lines_of(result) if it["subject"] == "page"]
    assert (row["state"], result.exit_code) == ("fault", 1)
