"""A core that can never begin ends the service: one that records nothing must not stay."""

import threading
from pathlib import Path

import pytest

from afterfill.errors import JournalError
from afterfill.service import service
from tank_stories import config_of


def test_a_core_that_fails_again_and_again_ends_the_service_with_its_error(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun = list[Path]()

    class NeverBegins:
        def __init__(self, _config: object, path: Path) -> None:
            begun.append(path)
            raise JournalError("the journal j.db failed: no idea")

    monkeypatch.setattr(service, "Recorder", NeverBegins)
    stop = threading.Event()
    with pytest.raises(JournalError, match="no idea"):
        service.run_service(config_of(), tmp_path / "j.db", stop)
    assert stop.is_set()
    assert len(begun) == 3
