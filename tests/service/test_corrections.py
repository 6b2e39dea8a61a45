"""A word that is taken back leaves no trace in what is believed, however it is found out."""

from pathlib import Path

import pytest

from afterfill.journal.recording import (
    CORRECTIONS,
    EVENTS_FILE,
    read_recording,
    write_recording,
)
from afterfill.journal.store import Journal
from afterfill.journal.words import told_of
from afterfill.records import (
    AlarmChange,
    Calibration,
    Dose,
    Estimate,
    ForecastCheck,
    Input,
    KitResult,
    Note,
    Output,
    ProbeLearnt,
    Refill,
    ResponseCheck,
    Service,
    SourceLearnt,
    SourceTest,
    Stock,
    StockLeft,
    Verdict,
    Word,
)
from afterfill.service import corrections
from afterfill.service.recorder import Recorder
from afterfill.tank import TankState, folded
from afterfill.tank_setup import tank_setup
from afterfill.tank_snapshot import to_bytes
from afterfill.wire import to_line, to_published
from corrected_tank import (
    AT_S,
    RIGHT,
    WRONG,
    corrected,
    fed,
    number_of,
    opened,
    part,
    stamp,
    submitted,
    three_hours,
)
from tank_stories import HOUR_S, ZERO_S, config_of, merged, story

SAID_S = ZERO_S + 1.5 * HOUR_S - 7.0
# (kind, what was said, what was right)
WORDS_SAID: list[tuple[str, Word, Word]] = [
    ("refill", Refill(SAID_S, "t", "add", 40.0, 5.0), Refill(SAID_S, "t", "add", 2.0, 5.0)),
    ("kit", KitResult(SAID_S, "t", 2.5, 2.0), KitResult(SAID_S, "t", 0.25, 0.1)),
    ("dose", Dose(SAID_S, "t", 50.0), Dose(SAID_S, "t", 5.0)),
    ("service", Service(SAID_S, "t", "probe"), Service(SAID_S, "t", "feeding")),
    ("source-test", SourceTest(SAID_S, "t", None, 0.1), SourceTest(SAID_S, "t", None, 2.2)),
    ("stock", Stock(SAID_S, "t", "counted", 1000.0), Stock(SAID_S, "t", "counted", 100.0)),
    ("calibration", Calibration(SAID_S, "t", "ph"), Calibration(SAID_S, "t", "orp")),
    ("response-check", ResponseCheck(SAID_S, "t", 130.0, 4.0, 0.0, 1.8, True),
     ResponseCheck(SAID_S, "t", 13.0, 4.0, 0.0, 1.8, True)),
]  # fmt: skip
KINDS = [kind for kind, *_ in WORDS_SAID]


@pytest.fixture(scope="module")
def readings() -> list[Input]:
    return three_hours()


def wire(found: list[Output]) -> list[str]:
    return [to_line(to_published(output)) for output in found]


@pytest.mark.parametrize(("kind", "wrong", "right"), WORDS_SAID, ids=KINDS)
def test_a_corrected_word_ends_as_if_it_had_been_said_right(
    tmp_path: Path, readings: list[Input], kind: str, wrong: Word, right: Word
) -> None:
    one, other = opened(tmp_path / "wrong.db"), opened(tmp_path / "right.db")
    fed(other, tmp_path / "right.db", merged(part(readings, 0, 2), [RIGHT, right]))
    fed(one, tmp_path / "wrong.db", merged(part(readings, 0, 2), [RIGHT, wrong]))
    assert to_bytes(one.state("t")) != to_bytes(other.state("t"))
    corrected(one, tmp_path / "wrong.db", number_of(tmp_path / "wrong.db", kind), right, AT_S)
    assert to_bytes(one.state("t")) == to_bytes(other.state("t"))
    later = part(readings, 2, 3)
    assert wire(fed(one, tmp_path / "wrong.db", later)) == wire(
        fed(other, tmp_path / "right.db", later)
    )


@pytest.mark.parametrize(("kind", "wrong"), [w[:2] for w in WORDS_SAID], ids=KINDS)
def test_a_word_that_is_taken_back_was_never_said(
    tmp_path: Path, readings: list[Input], kind: str, wrong: Word
) -> None:
    one, other = opened(tmp_path / "wrong.db"), opened(tmp_path / "right.db")
    fed(other, tmp_path / "right.db", merged(part(readings, 0, 2), [RIGHT]))
    fed(one, tmp_path / "wrong.db", merged(part(readings, 0, 2), [RIGHT, wrong]))
    corrected(one, tmp_path / "wrong.db", number_of(tmp_path / "wrong.db", kind), None, AT_S)
    left = one.state("t")
    if kind == "stock":  # that nothing is counted any more has to be told
        assert left.stock is not None
        assert left.stock.open_ml is None
        left = left._replace(stock=other.state("t").stock, ready=other.state("t").ready)
    assert to_bytes(left) == to_bytes(other.state("t"))


def test_what_is_told_from_then_on_is_the_same_live_after_a_kill_and_in_a_replay(
    tmp_path: Path, readings: list[Input]
) -> None:
    path = tmp_path / "j.db"
    recorder = opened(path)
    fed(recorder, path, merged(part(readings, 0, 2), [WRONG]))
    corrected(recorder, path, number_of(path, "refill"), RIGHT, AT_S)
    seq = recorder.journal.last_appended()
    recorder.abandon()  # as a kill does
    again = opened(path)
    found = fed(again, path, part(readings, 2, 3))
    live = to_bytes(again.state("t"))
    again.close(stamp(ZERO_S + 3 * HOUR_S))
    with Journal.open(path) as journal:
        write_recording(journal, "t", ZERO_S - 1, ZERO_S + 4 * HOUR_S, tmp_path / "recording")
        told = [e.record for e in journal.entries(seq, limit=100_000)]
    state, replayed = TankState(), list[Output]()
    for record in read_recording(tmp_path / "recording", "t", notice=pytest.fail):
        state, outputs = folded(tank_setup(config_of(), "t"), state, record)
        replayed += [o for o in outputs if o.time_s > AT_S]
    assert wire(replayed) == wire(found)
    assert to_bytes(state) == live
    assert [o for o in found if o not in told] == []
    assert '"neutraliser_ml": 0.0' in (tmp_path / "recording" / EVENTS_FILE).read_text()
    kept = (tmp_path / "recording" / CORRECTIONS).read_text()
    assert '"was": {"kind": "refill"' in kept
    assert '"neutraliser_ml": 25.0' in kept


def test_a_correction_of_a_correction_and_what_is_refused(
    tmp_path: Path, readings: list[Input]
) -> None:
    path = tmp_path / "j.db"
    recorder = opened(path)
    fed(recorder, path, merged(part(readings, 0, 1.2), [RIGHT]))
    said = to_bytes(recorder.state("t"))
    word, at_s = number_of(path, "refill"), ZERO_S + 1.2 * HOUR_S
    corrected(recorder, path, word, WRONG, at_s)
    wrong, first = to_bytes(recorder.state("t")), number_of(path, "correction")
    assert wrong != said
    corrected(recorder, path, word, None, at_s + 1)  # corrected already: no effect
    assert to_bytes(recorder.state("t")) == wrong
    corrected(recorder, path, first, RIGHT, at_s + 2)
    assert to_bytes(recorder.state("t")) == said
    corrected(recorder, path, number_of(path, "correction"), None, at_s + 3)
    assert to_bytes(recorder.state("t")) == wrong
    corrected(recorder, path, first, None, at_s + 4)
    assert to_bytes(recorder.state("t")) == said
    for number in (1, 1_000_000):  # a reading, nothing
        corrected(recorder, path, number, None, at_s + 5)
    assert to_bytes(recorder.state("t")) == said
    recorder.abandon()
    assert to_bytes(opened(path).state("t")) == said
    with Journal.open(path, read_only=True) as journal:
        told = told_of(journal, "t", word)
        numbers = [e.seq for e in journal.entries(kinds=("correction",))]
    second, third, back, again, *none = numbers[1:]
    assert told.fate(word) == ""
    assert told.fate(first) == f"taken back by {again}"
    assert told.fate(third) == f"taken back by {back}"
    assert told.fate(back) == told.fate(again) == ""
    assert {told.fate(number) for number in (second, *none)} == {"had no effect"}


def test_a_false_alarm_ends_and_no_old_one_is_told_again(
    tmp_path: Path, readings: list[Input]
) -> None:
    path = tmp_path / "j.db"
    recorder = opened(path)
    quiet = story(3)
    untrue = Dose(SAID_S, "t", 500.0)
    told = fed(recorder, path, merged(part(quiet, 0, 2), [untrue]))
    raised = [o for o in told if isinstance(o, AlarmChange) and o.active]
    assert "neutraliser-excess" in {o.alarm for o in raised}
    found = corrected(recorder, path, number_of(path, "dose"), None, AT_S)
    alarms = {o.alarm: o for o in found if isinstance(o, AlarmChange)}
    assert not any(o.active for o in alarms.values())
    for change in raised:
        assert alarms[change.alarm].state in ("normal", "returned-to-normal-unacknowledged")
        assert "corrected" in alarms[change.alarm].message
    assert {o.time_s for o in found if not isinstance(o, StockLeft)} == {AT_S}
    assert any(isinstance(o, Estimate) for o in found)


def test_a_verdict_that_is_another_one_is_told_once_as_of_now(
    tmp_path: Path, readings: list[Input]
) -> None:
    path = tmp_path / "j.db"
    recorder = opened(path)
    told = fed(recorder, path, merged(readings, [WRONG]))
    last = [o for o in told if isinstance(o, Verdict)][-1]
    at_s = ZERO_S + 3 * HOUR_S
    found = corrected(recorder, path, number_of(path, "refill"), RIGHT, at_s)
    again = [o for o in found if isinstance(o, Verdict)]
    assert len(again) <= 1
    for verdict in again:
        assert verdict.time_s == at_s
        assert (verdict.verdict, verdict.final) != (last.verdict, last.final)


def test_what_a_wrong_word_taught_is_untaught(tmp_path: Path, readings: list[Input]) -> None:
    path = tmp_path / "j.db"
    recorder = opened(path)
    test = SourceTest(SAID_S, "t", None, 0.1)
    check = ResponseCheck(SAID_S + 1, "t", 13.0, 4.0, 0.0, 1.8, True)
    fed(recorder, path, merged(part(readings, 0, 2), [RIGHT, test, check]))
    assert "tap" in recorder.state("t").belief.sources
    corrected(recorder, path, number_of(path, "source-test"), None, AT_S)
    assert "tap" not in recorder.state("t").belief.sources
    with Journal.open(path) as journal:
        learnt = journal.latest("source-learnt", "t")[0].record
    assert isinstance(learnt, SourceLearnt)
    assert (learnt.corrected, learnt.taught) == (True, 0)
    before = recorder.state("t").belief.learnt.mean.tolist()
    corrected(recorder, path, number_of(path, "response-check"), None, AT_S + 1)
    now = recorder.state("t").belief.learnt.mean.tolist()
    assert now != before
    with Journal.open(path) as journal:
        known = journal.latest("probe-learnt", "t")[0].record
    assert isinstance(known, ProbeLearnt)
    assert list(known.log_mean) == now


def test_an_answer_of_a_wrong_test_does_not_count_in_the_audit(tmp_path: Path) -> None:
    from afterfill.cli.audit import _audited

    path, quiet = tmp_path / "j.db", story(3)
    recorder = opened(path)
    fed(recorder, path, merged(part(quiet, 0, 2), [KitResult(SAID_S, "t", 2.5)]))
    right = KitResult(SAID_S, "t", 0.05)
    corrected(recorder, path, number_of(path, "kit"), right, AT_S)
    recorder.journal.commit()
    with Journal.open(path, read_only=True) as journal:
        kept = [e.record for e in journal.entries(kinds=("forecast-check",))]
        audit = _audited(journal, "t")
    shown = [r.kit_total_ammonia_mg_l for r in kept if isinstance(r, ForecastCheck)]
    assert set(shown) == {2.5, 0.05}
    (figure,) = [f for f in audit.figures if f.name == "total ammonia"]
    assert figure.tests == 1
    other = tmp_path / "right.db"
    never = opened(other)
    fed(never, other, merged(part(quiet, 0, 2), [right]))
    never.journal.commit()
    with Journal.open(other, read_only=True) as journal:
        assert _audited(journal, "t").figures == audit.figures


def test_two_tanks_on_one_tap_and_one_bottle_forget_together(tmp_path: Path) -> None:
    one = config_of().model_dump(by_alias=True, exclude_unset=True)
    both = {"t": one["tank"]["t"], "u": one["tank"]["t"]}
    config = type(config_of()).model_validate({**one, "tank": both})
    states = []
    for name, tested in (("wrong.db", 0.1), ("right.db", 3.5)):
        path = tmp_path / name
        recorder = Recorder(config, path)
        quiet = story(1)
        fed(recorder, path, part(quiet, 0, 0.5))
        at_s = ZERO_S + 0.5 * HOUR_S
        for tank, word in (
            ("t", Stock(at_s, "t", "counted", 1000.0)),
            ("t", SourceTest(at_s + 1, "t", None, tested)),
            ("t", Dose(at_s + 2, "t", 500.0 if tested == 0.1 else 5.0)),
            ("u", Dose(at_s + 3, "u", 10.0)),
            ("u", SourceTest(at_s + 4, "u", None, 3.0)),
        ):
            assert word.tank == tank
            submitted(recorder, path, word, word.time_s)
        if tested == 0.1:
            test = SourceTest(at_s + 1, "t", None, 3.5)
            corrected(recorder, path, number_of(path, "source-test"), test, at_s + 10)
            dose = Dose(at_s + 2, "t", 5.0)
            corrected(recorder, path, number_of(path, "dose"), dose, at_s + 11)
        states.append([recorder.state(tank) for tank in ("t", "u")])
        again = [to_bytes(recorder.state(tank)) for tank in ("t", "u")]
        recorder.journal.commit()
        recorder.abandon()
        after = Recorder(config, path)
        assert [to_bytes(after.state(tank)) for tank in ("t", "u")] == again
        after.journal._db.execute("DELETE FROM snapshot")
        after.abandon()
        from_words = Recorder(config, path)
        for tank, state in zip(("t", "u"), states[-1], strict=True):
            assert from_words.state(tank).belief.sources == state.belief.sources
            assert from_words.state(tank).stock == state.stock
        from_words.abandon()
    for mended, never_wrong in zip(*states, strict=True):
        assert mended.belief.sources == never_wrong.belief.sources
        assert mended.stock is not None
        assert never_wrong.stock is not None
        assert mended.stock.left_ml == never_wrong.stock.left_ml == 985.0


def test_a_note_changes_nothing_and_can_be_said_otherwise(tmp_path: Path) -> None:
    path = tmp_path / "j.db"
    recorder = opened(path)
    fed(recorder, path, part(story(1), 0, 0.2))
    before = to_bytes(recorder.state("t"))
    at_s = ZERO_S + 0.2 * HOUR_S
    submitted(recorder, path, Note(at_s, "t", "new lamb"), at_s)
    corrected(recorder, path, number_of(path, "note"), Note(at_s, "t", "new lamp"), at_s + 1)
    assert to_bytes(recorder.state("t")) == before


def test_a_word_older_than_what_is_kept_is_undone_in_part_and_that_is_said(
    tmp_path: Path,
    readings: list[Input],
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    """A journal of an older version has no snapshot from before the word."""
    from afterfill.service import restore

    monkeypatch.setattr(restore, "_LOOK_BACK_ENTRIES", 300)
    path = tmp_path / "j.db"
    recorder = opened(path)
    fed(recorder, path, merged(part(readings, 0, 2), [WRONG]))
    recorder.journal._db.execute("DELETE FROM snapshot")
    corrected(recorder, path, number_of(path, "refill"), RIGHT, AT_S)
    assert corrections.NOT_WHOLE in caplog.text
    watching = recorder.state("t").belief.watch
    assert watching is not None
    assert watching.pour.neutraliser_ml == 0.0
