"""All that `afterfill check` looks at, in order."""

from collections.abc import Iterator
from pathlib import Path

from afterfill.cli.check.bottles import bottle_findings
from afterfill.cli.check.finding import Finding
from afterfill.cli.check.gallons import gallon_findings
from afterfill.cli.check.journal import journal_finding
from afterfill.cli.check.machine import clock_finding, disk_finding
from afterfill.cli.check.outbox import outbox_findings
from afterfill.cli.check.page import page_findings
from afterfill.cli.check.ports import port_findings
from afterfill.cli.check.secrets import secret_findings
from afterfill.cli.check.service import delivery_findings, service_findings
from afterfill.cli.check.unseen import unseen_findings
from afterfill.cli.configured import config_path, loaded
from afterfill.cli.console import tell
from afterfill.config import Config
from afterfill.service.driver_registry import ports_of


def sound(config: Path | None, *, send_test: bool, as_json: bool) -> bool:
    """Print each finding as it is made; whether none is a fault. Raises ConfigError."""
    settings, faulty = loaded(config), False
    for finding in _findings(settings, config_path(config), send_test):
        tell(finding.words(), finding.wire(), as_json=as_json)
        faulty |= finding.state == "fault"
    return not faulty


def _findings(config: Config, path: Path, send_test: bool) -> Iterator[Finding]:
    journal_path = config.journal.path
    plans = ports_of(config)
    size = f"tanks: {len(config.tank)}, probes: {len(config.probe)}, ports: {len(plans)}"
    yield Finding("configuration", "ok", f"{path} can be used ({size})")
    for plan in plans:
        yield from port_findings(plan, config)
    if not plans:
        yield Finding("probes", "fault", "none is configured; add a [[probe]] table")
    yield from unseen_findings(config)
    yield from gallon_findings(path)
    yield from secret_findings(config)
    yield from delivery_findings(config, send_test=send_test)
    yield from outbox_findings(config, journal_path)
    yield from page_findings(config)
    yield from bottle_findings(config)
    yield clock_finding()
    yield disk_finding(config.journal, journal_path)
    if (found := journal_finding(journal_path)) is not None:
        yield found
    yield from service_findings(config, journal_path)
