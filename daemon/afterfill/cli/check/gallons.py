"""Gallons in the configuration of which it is not said whether they are US or imperial ones."""

import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from afterfill.chemistry.units import bare_gallons, either_gallon
from afterfill.cli.check.finding import Finding


def gallon_findings(path: Path) -> Iterator[Finding]:
    """One for each bare gallon in the file at `path`, which can be read; none is a fault."""
    document = tomllib.loads(path.read_text(encoding="utf-8"))
    for where, volume in _volumes(document):
        gallons = bare_gallons(volume)
        if gallons is not None:
            yield Finding(
                where,
                "unknown",
                f"'{volume}' is taken as US gallons, as until now, but does not say so: "
                f"{either_gallon(gallons)}",
            )


def _volumes(document: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    for name, table in document["tank"].items():
        yield f"[tank.{name}] litres", table["litres"]
    for name, table in document.get("neutraliser", {}).items():
        if "label" in table:
            yield f"[neutraliser.{name}] label.litres", table["label"]["litres"]
