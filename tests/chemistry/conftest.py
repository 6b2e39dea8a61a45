"""Shared by the chemistry tests: reading oracle tables, and the table of references at the end."""

import csv
from collections.abc import Callable, Iterable
from pathlib import Path

import pytest
from hypothesis import settings

# A busy machine is no failure of chemistry, and the same cases each time make the table repeatable
settings.register_profile("unhurried", deadline=None, derandomize=True)
settings.load_profile("unhurried")

DATA = Path(__file__).parent / "data"
ROWS = pytest.StashKey[list[tuple[str, int, float, float, str]]]()

Record = Callable[..., None]


def pytest_configure(config: pytest.Config) -> None:
    config.stash[ROWS] = []


@pytest.fixture
def oracle() -> Callable[[str], list[dict[str, str]]]:
    """Rows of a table in tests/chemistry/data; its first line tells where it comes from."""

    def rows(name: str) -> list[dict[str, str]]:
        text = (DATA / name).read_text().splitlines()
        assert text[0].startswith("# origin: ")
        return list(csv.DictReader(text[1:]))

    return rows


@pytest.fixture
def agree(request: pytest.FixtureRequest) -> Record:
    """Assert that errors keep a tolerance, and list the worst in the table at the end."""

    def check(reference: str, errors: Iterable[float], tolerance: float, unit: str = "") -> None:
        found = [abs(e) for e in errors]
        assert found
        worst = max(found)
        request.config.stash[ROWS].append((reference, len(found), worst, tolerance, unit))
        assert worst <= tolerance, f"{reference}: {worst:.3g} exceeds {tolerance:.3g} {unit}"

    return check


def pytest_terminal_summary(
    terminalreporter: pytest.TerminalReporter, config: pytest.Config
) -> None:
    rows = config.stash.get(ROWS, [])
    if not rows:
        return
    terminalreporter.section("chemistry against its references")
    width = max(len(row[0]) for row in rows)
    terminalreporter.write_line(
        f"{'reference':<{width}} {'cases':>6} {'worst':>10} {'tolerance':>10}"
    )
    for reference, cases, worst, tolerance, unit in sorted(rows):
        terminalreporter.write_line(
            f"{reference:<{width}} {cases:>6} {worst:>10.2e} {tolerance:>10.2e} {unit}"
        )
