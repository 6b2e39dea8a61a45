"""The demo's screen: whatever the size of the terminal, what was said last is in sight."""

import io

import pytest
from rich.console import Console

from afterfill.cli.demo.screen import DemoScreen, sentences_of
from afterfill.records import (
    AlarmChange,
    AlarmState,
    Estimate,
    Evidence,
    Output,
    Quantiles,
    Reading,
    Verdict,
)
from afterfill.simulation.demo_run import Frame
from afterfill.simulation.demo_scenario import START_S

SOME = Quantiles(0.01, 0.1234, 0.4)
LONG = "the keeper's telephone rings and rings, " * 6


def screen_of(frames: int) -> tuple[DemoScreen, str]:
    """After so many frames, and what was said last."""
    screen, last = DemoScreen(), ""
    for n in range(frames):
        last = f"line {n} {LONG}end {n}"
        found: list[Output] = [
            Estimate(0.0, "window", SOME, SOME, SOME, SOME, SOME, 0.5, 0.8, True, None),
            Verdict(0.0, "window", 0.0, "carried-over", 0.97, SOME, False),
        ]
        readings = [Reading(0.0, "window", "orp", 300.0 + n)]
        screen.took(Frame(START_S + 60.0 * n, readings, found, 0.1, [last]))
    return screen, last


@pytest.mark.parametrize(("columns", "rows"), [(80, 24), (60, 20), (100, 30), (200, 60)])
@pytest.mark.parametrize("frames", [1, 5, 40])
def test_the_newest_line_is_in_sight_and_nothing_runs_over(
    columns: int, rows: int, frames: int
) -> None:
    screen, _ = screen_of(frames)
    console = Console(width=columns, height=rows, record=True, file=io.StringIO())
    console.print(screen.view(columns, rows))
    shown = console.export_text().rstrip("\n").split("\n")
    assert len(shown) <= rows
    assert {len(line) for line in shown} == {columns}
    assert f"end {frames - 1}" in " ".join(line.strip("│ ") for line in shown)


def change(state: AlarmState, *, active: bool, known: bool = True) -> AlarmChange:
    return AlarmChange(0.0, "window", "cannot-see", state, "medium", active, "x", known)


def test_an_alarm_that_never_stood_is_not_told_of() -> None:
    """Nineteen lines of `normal (cannot be judged now)` hid the days."""
    screen = DemoScreen()
    told = [
        screen.took(Frame(START_S, [], [it], 0.0))
        for it in (
            change("normal", active=False, known=False), change("normal", active=False),
            change("unacknowledged", active=True), change("unacknowledged", active=True),
            change("normal", active=False),
        )
    ]  # fmt: skip
    assert [len(lines) for lines in told] == [0, 0, 1, 0, 1]


def test_a_verdict_gives_its_reasons_in_words() -> None:
    verdict = Verdict(
        0.0, "window", 0.0, "clear", 0.01, SOME, True, (Evidence("orp", -5.2), Evidence("ph", 0.01))
    )
    assert sentences_of(verdict)[1].endswith(
        "the ORP probe: very strongly against a carry-over (its odds 181 times lower)"
    )
