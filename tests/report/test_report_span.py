"""Which refills a report knows of: one card for one water, however often it was told of."""

from pathlib import Path

from afterfill.journal.store import Journal
from afterfill.records import Quantiles, Record, Refill, Stamp, Verdict
from afterfill.report.span import span_of_refill

ZERO_S = 1_772_350_200.0
NONE = Quantiles(0.0, 0.0, 0.0)


def journal_of(folder: Path, *records: Record) -> Journal:
    journal = Journal.open(folder / "j.db")
    for record in records:
        journal.append(record, Stamp(record.time_s, True, "boot", 1.0))
    journal.commit()
    return journal


def judged(refill_s: float, at_s: float) -> Verdict:
    return Verdict(at_s, "t", refill_s, "carried-over", 0.97, NONE, True)


def said(at_s: float, logged_s: float | None = None) -> Refill:
    return Refill(at_s, "t", "replace", 25.0, 10.0, 0.0, None, logged_s)


def test_a_refill_that_was_betrayed_and_logged_later_is_one(tmp_path: Path) -> None:
    with journal_of(
        tmp_path, judged(ZERO_S + 240.0, ZERO_S + 6000.0), said(ZERO_S, ZERO_S + 9000.0)
    ) as journal:
        last = span_of_refill(journal, "t", None, ZERO_S + 10_000.0)
        near = span_of_refill(journal, "t", ZERO_S, ZERO_S + 10_000.0)
    assert last.refill_s == near.refill_s == ZERO_S + 240.0


def test_an_announcement_that_is_repeated_is_one(tmp_path: Path) -> None:
    repeats = [said(ZERO_S + 60.0 * number) for number in range(10)]
    with journal_of(tmp_path, *repeats, judged(ZERO_S, ZERO_S + 6000.0)) as journal:
        assert span_of_refill(journal, "t", None, ZERO_S + 9000.0).refill_s == ZERO_S


def test_a_refill_without_a_verdict_yet_is_known(tmp_path: Path) -> None:
    with journal_of(tmp_path, judged(ZERO_S, ZERO_S + 60.0), said(ZERO_S + 9000.0)) as journal:
        assert span_of_refill(journal, "t", None, ZERO_S + 9100.0).refill_s == ZERO_S + 9000.0
