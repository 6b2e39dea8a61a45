"""In which units the keeper thinks: as configured, else those of the options or the file."""

import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

from afterfill.config import Units
from afterfill.planning.shown import Gallon, Shown
from afterfill.tank_table import shown_in


def units(
    chosen: Units, path: Path, tank: str, litres: str | None, *temperatures: str | None
) -> Shown:
    """As `chosen` in the configuration, else gallons and Fahrenheit where the options or the file
    at `path` (a readable one) use them."""
    document = tomllib.loads(path.read_text(encoding="utf-8"))
    table = document["tank"][tank]
    gallon = _gallon(litres) or _gallon(table.get("litres"))
    limits = table.get("limits", {}).get("temperature_c", [])
    sources = [source.get("temperature_c") for source in document.get("source", {}).values()]
    fahrenheit = any(_is_fahrenheit(text) for text in (*temperatures, *limits, *sources))
    shown = shown_in(chosen)
    return replace(
        shown,
        gallon=gallon if chosen.volume is None else shown.gallon,
        fahrenheit=fahrenheit if chosen.temperature is None else shown.fahrenheit,
    )


def _gallon(volume: Any) -> Gallon | None:  # noqa: ANN401 - TOML holds a number or text
    text = volume.lower() if isinstance(volume, str) else ""
    if "gal" not in text:
        return None
    return "imperial" if "imp" in text else "us"


def _is_fahrenheit(temperature: Any) -> bool:  # noqa: ANN401 - TOML holds a number or text
    return isinstance(temperature, str) and temperature.strip().lower().endswith("f")
