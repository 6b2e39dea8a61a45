"""Debian's chromium, for tests that look at a page as a person does."""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager

from playwright.sync_api import Browser, sync_playwright


@contextmanager
def chromium() -> Iterator[Browser]:
    """The browser; one at a time in a process."""
    program = shutil.which("chromium")
    assert program, "chromium is missing: sh .ci/servers.sh installs it"
    arguments = ["--no-sandbox"] if os.geteuid() == 0 else []  # root has none of its own
    with sync_playwright() as player:
        browser = player.chromium.launch(executable_path=program, args=arguments)
        yield browser
        browser.close()
