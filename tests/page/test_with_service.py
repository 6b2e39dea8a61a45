"""The page beside the real service: what is tapped ends in the journal, and comes back."""

from pathlib import Path

import pytest

from browsers import chromium
from page_phone import phone_at
from page_room import PASSWORD, served
from servers import wait_until
from system.live_service import LiveService

pytestmark = pytest.mark.system
_MORE = '[source.tap]\nresidual_mg_l = 1.5\n[page]\npassword_file = "page-password"\n'


def test_a_refill_logged_in_two_taps_ends_in_the_journal_and_is_shown(tmp_path: Path) -> None:
    folder = tmp_path / "service"
    with LiveService(folder, extra=_MORE) as service:
        (folder / "page-password").write_text(f"{PASSWORD}\n")
        service.start().wait_for_readings()
        told = ("log", "refill", "--litres", "20", "--neutraliser-ml", "3")
        assert service.command(*told).returncode == 0  # so that there is a usual one
        service.wait_for(lambda: len(service.records("refill")) == 1, "the first is taken")
        with (
            served(service.config) as page,
            chromium() as browser,
            phone_at(browser, page) as phone,
        ):
            phone.shape(360, 740)
            phone.log_in()
            wait_until(lambda: " mV, " in phone.one("#figures").inner_text(), "readings are shown")
            phone.tap("Log")
            phone.tap("Log this refill")
            service.wait_for(lambda: len(service.records("refill")) == 2, "the second is taken")
            assert "Logged for tank t" in phone.one(".note").inner_text()
        first, second = service.records("refill")
        assert (second.litres, second.neutraliser_ml) == (first.litres, first.neutraliser_ml)
        code, _ = service.stop()
        assert code == 0
