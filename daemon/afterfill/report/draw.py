"""Draws one picture and ends: what `notify` runs, so that the service itself never loads the
plotting library.

    python -m afterfill.report.draw JOURNAL TANK FROM_S TO_S LIMIT_MG_L FILE [F]

With F, temperatures are shown in degrees F.
"""

import sys
from datetime import datetime
from pathlib import Path

from afterfill.errors import AfterfillError
from afterfill.journal.store import Journal
from afterfill.report.event_picture import draw_event


def main(arguments: list[str]) -> int:
    """Draw what the arguments say, in this machine's own time; returns the exit code."""
    path, tank, from_s, to_s, limit_mg_l, file, *unit = arguments
    zone = datetime.now().astimezone().tzinfo
    try:
        with Journal.open(Path(path), read_only=True) as journal:
            draw_event(
                journal, tank, float(from_s), float(to_s), float(limit_mg_l), Path(file),
                zone=zone, in_fahrenheit=unit == ["F"],
            )  # fmt: skip
    except AfterfillError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
