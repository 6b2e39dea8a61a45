"""Writes the dashboards: `PYTHONPATH=tests python tests/dashboards/files.py`.

They are made from this folder with a typed library, so that a key that its models do not know
cannot slip in; a test compares the files with what is made.
"""

from pathlib import Path

from dashboards import alarms, all_tanks, probes, refill, tank
from dashboards.sheet import text_of

PROVISIONING = Path(__file__).parents[2] / "grafana_provisioning"
MADE = {
    "tank.json": tank.made,
    "refill.json": refill.made,
    "probes.json": probes.made,
    "alarms.json": alarms.made,
    "tanks.json": all_tanks.made,
}


def texts() -> dict[str, str]:
    """The text of each file, by its name."""
    return {name: text_of(made()) for name, made in MADE.items()}


def main() -> None:
    """Write all files."""
    for name, text in texts().items():
        (PROVISIONING / "dashboards" / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
