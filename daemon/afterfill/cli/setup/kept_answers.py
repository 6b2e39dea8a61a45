"""What was answered in a `setup` that ended early, so that it need not be typed again."""

import json
from collections.abc import Mapping
from pathlib import Path

from afterfill.errors import ConfigError


def place_of(config: Path) -> Path:
    """Beside the file that was to be written."""
    return config.with_name(f"{config.name}.answers")


def kept(config: Path) -> dict[str, str]:
    """What was typed in the try before; empty where there was none, or where it cannot be read."""
    try:
        found = json.loads(place_of(config).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return {str(k): str(v) for k, v in found.items()} if isinstance(found, dict) else {}


def keep(config: Path, typed: Mapping[str, str]) -> None:
    """Raises ConfigError when it cannot be written."""
    path = place_of(config)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(dict(typed), indent=1), encoding="utf-8")
    except OSError as error:
        raise ConfigError(f"{path}: cannot be written ({error}); name another file") from error


def forget(config: Path) -> None:
    """Once they are used up."""
    place_of(config).unlink(missing_ok=True)
