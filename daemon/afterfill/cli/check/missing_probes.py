"""What cannot be told on a tank that lacks a probe."""

from collections.abc import Iterator

from afterfill.cli.check.finding import Finding
from afterfill.config import Config
from afterfill.records import Quantity

_UNSEEN: dict[Quantity, str] = {
    "orp": "a carry-over cannot be seen at all, only reckoned from what is logged",
    "ph": (
        "un-ionised ammonia cannot be told, and plants or CO2 that move the pH move the ORP unseen"
    ),
    "temperature": (
        "un-ionised ammonia cannot be told, and colder water betrays no refill that was not logged"
    ),
}


def missing_probe_findings(config: Config) -> Iterator[Finding]:
    """One for each probe that a tank has not; none is a fault."""
    for tank in config.tank:
        there = {probe.quantity for probe in config.probe if probe.tank == tank}
        for quantity, unseen in _UNSEEN.items():
            if there and quantity not in there:
                yield Finding(f"tank {tank}", "unknown", f"it has no {quantity} probe: {unseen}")
