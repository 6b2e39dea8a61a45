"""A telephone at the tank: a browser's page of any size."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from playwright.sync_api import Browser, ConsoleMessage, Locator, Page

from page_room import PASSWORD, Served

_ON_THE_GLASS = """
return [...document.querySelectorAll("a, button")].find(it => {
  const place = it.getBoundingClientRect();
  const top = document.elementFromPoint(place.x + place.width / 2, place.y + place.height / 2);
  return it.textContent === arguments[0] && top !== null && it.contains(top);
}) || null;
"""
_CALLED = "given => (function () { %s }).apply(null, given)"


class Phone:
    """A browser of a certain size, logged in."""

    def __init__(self, tab: Page, page: Served) -> None:
        self.tab, self._root = tab, f"http://127.0.0.1:{page.port}"
        self._complaints: list[str] = []
        self._tools = tab.context.new_cdp_session(tab)
        tab.on("console", self._hear)
        tab.on("pageerror", lambda error: self._complaints.append(str(error)))

    def _hear(self, message: ConsoleMessage) -> None:
        if message.type in ("error", "warning"):
            self._complaints.append(message.text)

    def go(self, path: str) -> None:
        self.tab.goto(self._root + path)

    def log_in(self) -> None:
        self.go("/login")
        self.one("#password").fill(PASSWORD)
        self.one("main button").click()
        self.tab.wait_for_url(lambda url: "/login" not in url)

    def one(self, selector: str) -> Locator:
        """The first of its kind."""
        return self.tab.locator(selector).first

    def tap(self, words: str) -> None:
        """What is called so, a link or a button, once it is on the glass without scrolling."""
        it = self.tab.wait_for_function(_CALLED % _ON_THE_GLASS, arg=[words], timeout=10_000)
        found = it.as_element()
        assert found is not None
        found.click()

    def run(self, script: str, *arguments: object) -> Any:
        """What a function with this body returns."""
        return self.tab.evaluate(_CALLED % script, list(arguments))

    def shape(self, width: int, height: int, *, dark: bool = False, script: bool = True) -> None:
        self.tab.set_viewport_size({"width": width, "height": height})
        self.tab.emulate_media(color_scheme="dark" if dark else "light")
        self._tools.send("Emulation.setScriptExecutionDisabled", {"value": not script})

    def complaints(self) -> list[str]:
        """What the browser has complained of since it was asked."""
        said, self._complaints = self._complaints, []
        return said


@contextmanager
def phone_at(browser: Browser, page: Served) -> Iterator[Phone]:
    """A phone with cookies of its own, not logged in."""
    with browser.new_context(is_mobile=True, has_touch=True) as context:
        yield Phone(context.new_page(), page)
