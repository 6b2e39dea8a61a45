"""`afterfill check`: prove that everything the service needs is there and works."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from afterfill.cli.options import ConfigOption, JsonOption, config_path, loaded

if TYPE_CHECKING:
    from collections.abc import Iterator

    from afterfill.cli.check.finding import Finding
    from afterfill.config import Config


_COLOURS = {"fault": "red", "unknown": "yellow"}


def check(
    config: ConfigOption = None,
    send_test: Annotated[
        bool, typer.Option("--send-test", help="Send a test message by each [[notify]] way.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Prove configuration, ports, probes, broker, database, clock, disk and journal, a line each.

    Opens every port and takes one reading of every probe; a port that the running service holds
    is judged by what the service recorded. Ends with 1 when something is faulty, with 2 when the
    configuration is wrong.
    """
    from afterfill.cli.console import say, say_json

    settings, journal_path = loaded(config)
    faulty = False
    for finding in _findings(settings, journal_path, config_path(config), send_test):
        if as_json:
            say_json(finding.wire())
        else:
            say(finding.line(), _COLOURS.get(finding.state))
        faulty |= finding.state == "fault"
    if faulty:
        raise typer.Exit(1)


def _findings(
    config: "Config", journal_path: Path, path: Path, send_test: bool
) -> "Iterator[Finding]":
    from afterfill.cli.check.finding import Finding
    from afterfill.cli.check.journal import journal_finding
    from afterfill.cli.check.machine import clock_finding, disk_finding
    from afterfill.cli.check.outbox import outbox_findings
    from afterfill.cli.check.ports import port_findings
    from afterfill.cli.check.secrets import secret_findings
    from afterfill.cli.check.service import delivery_findings, service_findings
    from afterfill.service.driver_registry import ports_of

    plans = ports_of(config)
    size = f"tanks: {len(config.tank)}, probes: {len(config.probe)}, ports: {len(plans)}"
    yield Finding("configuration", "ok", f"{path} can be used ({size})")
    for plan in plans:
        yield from port_findings(plan, config, journal_path)
    if not plans:
        yield Finding("probes", "fault", "none is configured; add a [[probe]] table")
    yield from secret_findings(config)
    yield from delivery_findings(config, send_test=send_test)
    yield from outbox_findings(config, journal_path)
    yield clock_finding()
    yield disk_finding(config.journal, journal_path)
    if (found := journal_finding(journal_path)) is not None:
        yield found
    yield from service_findings(config, journal_path)
