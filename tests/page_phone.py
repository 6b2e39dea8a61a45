"""A telephone at the tank: Debian's chromium by its own driver, of any size."""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from selenium import webdriver
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.by import By
from selenium.webdriver.remote.webelement import WebElement

from page_room import PASSWORD, Served
from servers import wait_until

_ON_THE_GLASS = """
return [...document.querySelectorAll("a, button")].find(it => {
  const place = it.getBoundingClientRect();
  const top = document.elementFromPoint(place.x + place.width / 2, place.y + place.height / 2);
  return it.textContent === arguments[0] && top !== null && it.contains(top);
}) || null;
"""


class Phone:
    """A browser of a certain size, logged in."""

    def __init__(self, driver: webdriver.Chrome, page: Served) -> None:
        self.driver, self._root = driver, f"http://127.0.0.1:{page.port}"

    def go(self, path: str) -> None:
        self.driver.get(self._root + path)

    def log_in(self) -> None:
        self.go("/login")
        self.one("#password").send_keys(PASSWORD)
        self.one("main button").click()
        wait_until(lambda: "/login" not in self.driver.current_url, "the log-in is done")

    def one(self, selector: str) -> WebElement:
        return self.driver.find_element(By.CSS_SELECTOR, selector)

    def tap(self, words: str) -> None:
        """What is called so, a link or a button, that is on the glass without scrolling."""
        found = self.run(_ON_THE_GLASS, words)
        assert found is not None, f"'{words}' is not on the glass"
        found.click()

    def run(self, script: str, *arguments: object) -> Any:  # noqa: ANN401 - as the script has it
        return self.driver.execute_script(script, *arguments)

    def shape(self, width: int, height: int, *, dark: bool = False, script: bool = True) -> None:
        size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": True}
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        self.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [scheme]})
        off = {"value": not script}
        self.driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", off)

    def complaints(self) -> list[str]:
        return [entry["message"] for entry in self.driver.get_log("browser")]  # type: ignore[no-untyped-call]  # its own gap


@contextmanager
def browser(page: Served) -> Iterator[Phone]:
    program, driver = shutil.which("chromium"), shutil.which("chromedriver")
    assert program, "chromium is missing: sh .ci/servers.sh installs it"
    assert driver, "chromedriver is missing: sh .ci/servers.sh installs it"
    options = webdriver.ChromeOptions()
    options.binary_location = program
    for argument in ("--headless=new", "--disable-gpu", "--hide-scrollbars"):
        options.add_argument(argument)
    if os.geteuid() == 0:  # root has no sandbox of its own
        options.add_argument("--no-sandbox")
    chrome = webdriver.Chrome(options=options, service=Service(driver))
    chrome.set_script_timeout(30)
    try:
        yield Phone(chrome, page)
    finally:
        chrome.quit()
