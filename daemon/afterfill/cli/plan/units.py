"""In which units the keeper thinks: those of the options, else those of the configuration."""

import tomllib
from pathlib import Path
from typing import Any

from afterfill.planning.shown import Gallon, Shown


def units(path: Path, tank: str, litres: str | None, *temperatures: str | None) -> Shown:
    """Gallons and Fahrenheit where the options or the file at `path` (a readable one) use them."""
    document = tomllib.loads(path.read_text(encoding="utf-8"))
    table = document["tank"][tank]
    gallon = _gallon(litres) or _gallon(table.get("litres"))
    limits = table.get("limits", {}).get("temperature_c", [])
    sources = [source.get("temperature_c") for source in document.get("source", {}).values()]
    fahrenheit = any(_is_fahrenheit(text) for text in (*temperatures, *limits, *sources))
    return Shown(gallon, fahrenheit)


def _gallon(volume: Any) -> Gallon | None:  # noqa: ANN401 - TOML holds a number or text
    text = volume.lower() if isinstance(volume, str) else ""
    if "gal" not in text:
        return None
    return "imperial" if "imp" in text else "us"


def _is_fahrenheit(temperature: Any) -> bool:  # noqa: ANN401 - TOML holds a number or text
    return isinstance(temperature, str) and temperature.strip().lower().endswith("f")
