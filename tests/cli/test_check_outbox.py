import random
from pathlib import Path

from afterfill.cli.check.outbox import outbox_findings
from afterfill.config import Config
from afterfill.journal.store import Journal
from afterfill.sinks.influx.quarantine import Quarantine
from sample_records import orp, store


def config(**journal: object) -> Config:
    return Config.model_validate(
        {
            "tank": {"window": {"litres": 200}},
            "influxdb": {"url": "http://localhost:8086"},
            "journal": journal,
        }
    )


def test_what_waits_and_what_was_refused_is_shown_after_a_restart(tmp_path: Path) -> None:
    path = tmp_path / "j.db"
    with Journal.open(path) as journal:
        store(journal, *map(orp, range(20)))
        Quarantine(journal).add({7: ("reading value=1 7", "400: field type conflict")})
    waiting, refused = outbox_findings(config(), path)
    assert (waiting.state, waiting.text) == ("ok", "20 records wait for the database")
    assert refused.state == "unknown"
    assert refused.text == (
        "1 point was refused by the database and set aside, the others went on; "
        "the last: reading value=1 7 (400: field type conflict)"
    )


def test_a_loss_to_come_is_told_with_its_date(tmp_path: Path) -> None:
    path = tmp_path / "j.db"
    with Journal.open(path) as journal:
        chance = random.Random(1)  # many digits: some 1 MB a day
        store(journal, *(orp(second, chance.uniform(200, 400)) for second in range(5000)))
    (waiting,) = outbox_findings(config(max_mb=20), path)
    assert waiting.state == "unknown"
    assert "if nothing is delivered before 20" in waiting.text


def test_without_a_journal_or_a_database_nothing_is_said(tmp_path: Path) -> None:
    assert list(outbox_findings(config(), tmp_path / "j.db")) == []
    (tmp_path / "broken.db").write_bytes(b"no journal" * 100)
    (finding,) = outbox_findings(config(), tmp_path / "broken.db")
    assert (finding.subject, finding.state) == ("outbox", "fault")
