"""The page in a real browser: on phone and desk, light and dark, with and without script."""

import time
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from afterfill.journal.store import Journal
from afterfill.records import KitResult, Quantiles, Refill, Verdict
from browsers import chromium
from cli_room import inbox, running, written_at
from page_phone import Phone, phone_at
from page_room import Served, a_day, configured, served
from servers import wait_until

pytestmark = pytest.mark.system
_AXE = (files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")
_FAULTS = """
return axe.run(document, {resultTypes: ["violations"]}).then(found => found.violations.map(
  it => it.id + ": " + it.help + " " + it.nodes.map(node => node.html).join(" | ")));
"""
_STICKING_OUT = """
return [...document.querySelectorAll("body *")].filter(it => !it.closest("svg, .skip, .unseen")
  && it.getBoundingClientRect().right > innerWidth + 1).map(it => it.outerHTML.slice(0, 90));
"""
_SMALL = """
return [...document.querySelectorAll("button, .button, nav a, input:not([type=hidden]), select,"
  + " summary")].filter(it => it.offsetParent && it.getBoundingClientRect().height < 44)
  .map(it => it.outerHTML.slice(0, 90));
"""
VIEWS = ("/", "/tank/window/log", "/tank/window/log?open=kit", "/tank/window/plan",
         "/tank/window/rescue", "/tank/window/history", "/tank/window/months",
         "/tank/window/alarm/residual-oxidant",
         "/tank/window/report")  # fmt: skip


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


@pytest.fixture(scope="module")
def opened(browser: Browser, page: Served) -> Iterator[Phone]:
    with phone_at(browser, page) as phone:
        phone.log_in()
        yield phone


@pytest.fixture
def phone(opened: Phone) -> Phone:
    opened.shape(360, 740)
    opened.go("/")
    opened.complaints()
    return opened


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("width", [320, 1280])
def test_every_view_is_accessible_and_fits(phone: Phone, width: int, dark: bool) -> None:
    phone.shape(width, 740, dark=dark)
    for view in VIEWS:
        phone.go(view)
        assert phone.run("return document.documentElement.scrollWidth") <= width, view
        assert phone.run(_STICKING_OUT) == [], view
        if "report" not in view:
            assert phone.run(_SMALL) == [], view
        assert phone.complaints() == [], view
        phone.run("for (const it of document.querySelectorAll('details')) it.open = true")
        assert faults(phone) == [], view


def faults(phone: Phone) -> list[str]:
    """What axe finds wrong with what is shown."""
    phone.run(_AXE)
    return list(phone.run(_FAULTS))


def test_the_log_in_is_accessible_too(browser: Browser, page: Served) -> None:
    with phone_at(browser, page) as phone:
        for dark in (False, True):
            phone.shape(320, 600, dark=dark)
            phone.go("/login")
            assert faults(phone) == []
            assert phone.complaints() == []


def test_light_and_dark_are_what_the_phone_asks_for(phone: Phone) -> None:
    bright = list[float]()
    for dark in (False, True):
        phone.shape(360, 740, dark=dark)
        paper = phone.run("return getComputedStyle(document.body).backgroundColor")
        bright.append(sum(float(part) for part in paper[4:-1].split(",")) / 3)
    assert bright[0] > 200 > 60 > bright[1]


def test_the_answer_is_on_the_first_glass_and_told_by_more_than_colour(phone: Phone) -> None:
    word, sign, first, bottom = phone.run(_FIRST)
    assert "NOT SAFE" in word
    assert sign == "!"
    assert first == "Stop the refill."
    assert bottom < 740 - 60  # above the links at the foot


_FIRST = """
const first = document.querySelector(".do li strong");
return [document.querySelector(".answer .word").textContent,
  document.querySelector(".answer .sign").textContent, first.textContent,
  first.getBoundingClientRect().bottom];
"""


def test_a_refill_is_logged_in_two_taps(phone: Phone, folder: Path) -> None:
    before = len(inbox(folder))
    phone.tap("Log")
    phone.tap("Log this refill")
    assert "Logged for tank window" in phone.one(".note").inner_text()
    event = inbox(folder)[before]
    assert event == Refill(event.time_s, "window", "replace", 25.0, 10.0, 5.0)


def test_a_test_kit_takes_two_taps_and_what_it_showed(phone: Phone, folder: Path) -> None:
    phone.tap("Log")
    phone.one("#kit-total_chlorine_mg_l").fill("0,3")
    phone.one("#kit button").press("Enter")
    wait_until(lambda: isinstance(inbox(folder)[-1], KitResult), "it is logged")
    assert inbox(folder)[-1].total_chlorine_mg_l == 0.3


def test_an_alarm_is_acknowledged_in_two_taps(phone: Phone, folder: Path) -> None:
    phone.run("document.getElementById('answer-residual-oxidant').click()")  # scrolled to
    phone.tab.wait_for_url(lambda url: "/alarm/" in url)
    before = len(inbox(folder))
    phone.tap("I am on it (acknowledge)")
    wait_until(lambda: len(inbox(folder)) > before, "it is left for the service")
    assert inbox(folder)[-1].action == "acknowledge"


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_without_script_all_but_the_live_update_works(
    phone: Phone, folder: Path, dark: bool
) -> None:
    phone.shape(320, 740, dark=dark, script=False)
    try:
        phone.go("/tank/window/log")
        before = len(inbox(folder))
        phone.one("#work button").press("Enter")
        wait_until(lambda: len(inbox(folder)) == before + 1, "the work is logged")
        assert inbox(folder)[-1].what == "feeding"
        phone.go("/tank/window/plan")
        assert "Dose:" in phone.one("main").inner_text()
    finally:
        phone.shape(360, 740)


def test_a_verdict_is_on_the_glass_within_a_second_of_its_commit(
    phone: Phone, folder: Path
) -> None:
    wait_until(lambda: phone.run(_LISTENS), "the page listens")
    time.sleep(0.5)
    now_s = round(time.time())
    verdict = Verdict(
        now_s, "window", now_s - 300, "possible", 0.43, Quantiles(0.0, 0.1, 0.3), False
    )
    phone.run(_WATCH)
    with Journal.open(folder / "afterfill.db") as journal:
        journal.append(verdict, written_at(now_s))
        journal.commit()
        committed_ms = time.time() * 1000
    wait_until(lambda: phone.run("return window.shownMs || 0"), "the verdict is shown", 10.0)
    assert phone.run("return window.shownMs") - committed_ms < 1000


_LISTENS = "return performance.getEntriesByType('resource').some(it => it.name.includes('page.js'))"
_WATCH = """
new MutationObserver(() => {
  if (!window.shownMs && document.getElementById("figures").textContent.includes("probability 43"))
    window.shownMs = Date.now();
}).observe(document.getElementById("figures"), {childList: true, subtree: true});
"""


def test_when_the_page_is_gone_what_stands_there_is_called_old(
    browser: Browser, tmp_path: Path
) -> None:
    config = configured(tmp_path)
    a_day(tmp_path)
    with running(tmp_path), served(config) as page, phone_at(browser, page) as phone:
        phone.shape(360, 740)
        phone.log_in()
        wait_until(lambda: phone.run(_LISTENS), "it listens")
        assert not phone.one("#lost").is_visible()
        page.process.terminate()
        wait_until(lambda: phone.one("#lost").is_visible(), "the loss is told", 15.0)
        assert "what stands here is old" in phone.one("#lost").inner_text()


def test_the_report_is_read_with_its_own_style_alone(phone: Phone) -> None:
    phone.go("/tank/window/history")
    phone.one(".rows a").click()
    phone.tab.wait_for_url(lambda url: "/report" in url)
    assert phone.complaints() == []
    assert phone.run("return getComputedStyle(document.body).maxWidth") == "832px"  # 52rem
