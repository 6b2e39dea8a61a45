"""The running service on a journal whose schema was hit: it starts, keeps the past, records."""

from pathlib import Path

import pytest

from afterfill.records import Dose
from system.live_service import LiveService

pytestmark = pytest.mark.system
HITS = [
    (b"CREATE TABLE inbox", b"CREATE TABLE \xe9nbox"),
    (b"lag_ms INTEGER", b"lag_mr INTEGER"),
    (b'"neutraliser_ml":1.5', b'"neutraliser_ml":9.5'),
]


def test_a_hit_schema_or_row_is_mended_by_the_next_start(tmp_path: Path) -> None:
    with LiveService(tmp_path / "live", speed=60.0, every_s=10.0) as service:
        service.start()
        for ml in (1.5, 2.5):
            assert service.dose(ml)
        service.wait_for(lambda: len(service.records("dose")) == 2, "both doses")
        service.stop()
        for number, (old, new) in enumerate(HITS, 1):
            content = service.journal.read_bytes()
            assert old in content
            service.journal.write_bytes(content.replace(old, new))
            service.start()
            service.wait_for_said("running: 1 tanks", times=number + 1)
            before = service.records("reading")
            service.wait_for_readings()
            code, _ = service.stop()
            assert code == 0
            assert service.command("journal", "check").returncode == 0
            assert len(service.records("reading")) > len(before)
            doses = [d.neutraliser_ml for d in service.records("dose") if isinstance(d, Dose)]
            assert doses == ([2.5] if b"9.5" in new else [1.5, 2.5])
            service.wait_for_said("the journal was damaged", times=number)
