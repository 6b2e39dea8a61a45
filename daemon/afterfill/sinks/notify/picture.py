"""The picture of a tank's last hours, drawn by a process of its own.

The plotting library would stay in the service's memory for good, and a drawing that hangs must
not hold back an alarm.
"""

import importlib.util
import logging
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

HOURS = 3.0  # a refill and the quiet before it, wide enough to be seen on a phone
_PATIENCE_S = 20.0  # importing the plotting library takes a small Pi some seconds
_log = logging.getLogger(__name__)


@contextmanager
def picture_of(
    journal: Path, tank: str, until_s: float, limit_mg_l: float, *, in_fahrenheit: bool = False
) -> Iterator[Path | None]:
    """A PNG of the hours before `until_s` [Unix s] that lives inside the `with`; None when there
    is no plotting library or the drawing fails."""
    if importlib.util.find_spec("matplotlib") is None:
        yield None
        return
    with tempfile.TemporaryDirectory(prefix="afterfill-") as folder:
        file = Path(folder) / f"{tank}.png"
        begin_s = until_s - 3600.0 * HOURS
        what = [str(journal), tank, f"{begin_s:.3f}", f"{until_s:.3f}", repr(limit_mg_l), str(file)]
        drawn = _drawn([*what, "F"] if in_fahrenheit else what)
        yield file if drawn and file.is_file() else None


def _drawn(arguments: list[str]) -> bool:
    command = [sys.executable, "-m", "afterfill.report.draw", *arguments]
    try:
        done = subprocess.run(
            command, capture_output=True, text=True, timeout=_PATIENCE_S, check=False
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        _log.warning("no picture with the message: %s", error)
        return False
    if done.returncode != 0:
        _log.warning("no picture with the message: %s", done.stderr.strip()[-300:])
    return done.returncode == 0
