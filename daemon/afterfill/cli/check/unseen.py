"""What cannot be told on a tank that lacks a probe, or that is topped up without a word."""

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


_UNTOLD = (
    "how evaporated water is made up for is not said: after a day or a few without a refill or a "
    'test told of, the answer is "cannot tell"; say top_off = "treated", or "told" where each '
    "top-off is logged or published"
)


def unseen_findings(config: Config) -> Iterator[Finding]:
    """One for each probe that a tank has not, and for top-offs not spoken of; none is a fault."""
    for tank, table in config.tank.items():
        if table.top_off == "unknown":
            yield Finding(f"tank {tank}", "unknown", _UNTOLD)
        there = {probe.quantity for probe in config.probe if probe.tank == tank}
        for quantity, unseen in _UNSEEN.items():
            if there and quantity not in there:
                yield Finding(f"tank {tank}", "unknown", f"it has no {quantity} probe: {unseen}")
