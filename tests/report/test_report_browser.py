"""The page in a real browser: on phone, desk and paper, light and dark, without a network."""

from collections.abc import Iterator
from pathlib import Path
from typing import Literal

import pytest
from playwright.sync_api import Browser

from browsers import chromium
from cli_room import afterfill

_WIDE = "[...document.querySelectorAll('body *')].filter(e => !e.closest('svg'))"
_STICKING_OUT = f"{_WIDE}.filter(e => e.getBoundingClientRect().right > innerWidth + 1).length"
_SMALLEST_TEXT_PX = f"Math.min(...{_WIDE}.map(e => parseFloat(getComputedStyle(e).fontSize)))"
_LABELS_LEFT_OF_THEIR_PLOT = (
    "[...document.querySelectorAll('.times text')].filter(e => e.getBoundingClientRect().left <"
    " e.parentElement.getBoundingClientRect().left - 1).length"
)
_COLOURS = "(s => [s.color, s.backgroundColor])(getComputedStyle(document.body))"
_DRAWN = "[...document.querySelectorAll('svg.drawing')].map(e => e.getBoundingClientRect().height)"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


@pytest.fixture(scope="module")
def report(demo_folder: Path) -> Path:
    return written(demo_folder)


@pytest.fixture(scope="module")
def week(demo_folder: Path) -> Path:
    return written(demo_folder, "--from", "2026-03-01T00:00:00Z", "--to", "2026-03-09T00:00:00Z")


def written(folder: Path, *span: str) -> Path:
    file = folder / f"browsed-{len(span)}.html"
    config = str(folder / "afterfill.toml")
    assert afterfill("report", "--config", config, "--out", str(file), *span).exit_code == 0
    return file


@pytest.mark.system
@pytest.mark.parametrize("width", [320, 1280])
def test_a_week_fits_and_every_time_on_it_can_be_read(
    browser: Browser, week: Path, width: int
) -> None:
    page = browser.new_page(viewport={"width": width, "height": 844})
    page.goto(week.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate(_STICKING_OUT) == 0
    assert page.evaluate(_LABELS_LEFT_OF_THEIR_PLOT) == 0
    page.close()


@pytest.mark.system
@pytest.mark.parametrize("width", [320, 390, 1280])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_sticks_out_and_nothing_is_asked_for(
    browser: Browser, report: Path, width: int, scheme: Literal["light", "dark"]
) -> None:
    page = browser.new_page(viewport={"width": width, "height": 844}, color_scheme=scheme)
    asked: list[str] = []
    complaints: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: complaints.append(message.text))
    page.goto(report.as_uri())
    assert asked == [report.as_uri()]
    assert complaints == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate(_STICKING_OUT) == 0
    assert page.evaluate(_SMALLEST_TEXT_PX) >= 12.0
    drawn = page.evaluate(_DRAWN)
    assert len(drawn) == 5
    assert min(drawn) > 100.0
    ink, paper = (_brightness(colour) for colour in page.evaluate(_COLOURS))
    assert (ink < paper) == (scheme == "light")
    assert abs(ink - paper) > 150.0
    page.close()


def _brightness(colour: str) -> float:
    """Mean of the three channels of ``rgb(26, 29, 33)``."""
    channels = [float(part) for part in colour[colour.index("(") + 1 : -1].split(",")[:3]]
    return sum(channels) / 3.0


@pytest.mark.system
def test_it_prints_on_white_even_from_a_dark_screen(browser: Browser, report: Path) -> None:
    page = browser.new_page(color_scheme="dark")
    page.goto(report.as_uri())
    page.emulate_media(media="print", color_scheme="dark")
    assert page.evaluate(_COLOURS) == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"]
    sheets = page.pdf(format="A4")
    assert 1 <= sheets.count(b"/Type /Page\n") <= 4
    page.close()
