"""Commands on a journal in which bits were flipped, and the service's start that mends it."""

import json
import random
import shutil
from pathlib import Path

import pytest

from afterfill.journal.check import met_damaged
from afterfill.journal.damage import mend_if_damaged
from afterfill.journal.store import Journal
from afterfill.journal.survey import surveyed
from afterfill.records import AlarmChange, Dose, Reading, Service, Stamp
from cli_room import afterfill, lines_of, record, write_config
from journal_flips import START_S, copied, lived, read

COMMANDS = (
    ["now", "--json"], ["export", "copy"], ["alarm", "list"], ["check", "--json"], ["report"],
    ["log", "dose", "--neutraliser-ml", "3"], ["journal", "backup", "copy.db"],
    ["journal", "check"],
)  # fmt: skip


@pytest.fixture
def room(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a configuration and a journal of readings, doses and alarms."""
    monkeypatch.chdir(tmp_path)
    write_config(tmp_path)
    for minute in range(60):
        at_s = START_S + 60.0 * minute
        some = [Reading(at_s + n, "window", "orp", 300.0 + n, "window-orp") for n in range(20)]
        alarm = AlarmChange(at_s, "window", "ph", "unacknowledged", "medium", active=True)
        record(tmp_path, *some, Dose(at_s, "window", 1.005 + minute), alarm)
    return tmp_path


def journal_of(folder: Path) -> Path:
    return folder / "afterfill.db"


def replaced(path: Path, old: bytes, new: bytes) -> None:
    """Overwrite `old` where it is found first; of the same length."""
    content = path.read_bytes()
    assert len(old) == len(new)
    assert old in content, old
    path.write_bytes(content.replace(old, new, 1))


def numbers_lost(path: Path, before: dict[int, object]) -> set[int]:
    """Numbers that are gone; what is left must be as it was."""
    with Journal.open(path) as journal:
        after = {entry.seq: entry.record for entry in journal.entries(limit=10_000)}
    assert all(before[seq] == found for seq, found in after.items())
    return before.keys() - after.keys()


def all_of(path: Path) -> dict[int, object]:
    with Journal.open(path, read_only=True) as journal:
        return {entry.seq: entry.record for entry in journal.entries(limit=10_000)}


DAMAGES = {
    "a byte in the schema that is no text": (b"CREATE TABLE inbox", b"CREATE TABLE \xe9nbox"),
    "a bit in the schema": (b"monotonic_s REAL", b"monotonic_s RE\x01L"),
    "a name in the schema": (b"lag_ms INTEGER", b"lag_mr INTEGER"),
    "a keyword of the schema": (b"CREATE INDEX record_by_time", b"CREATE INDEX recorl_by_time"),
    "the first byte": (b"SQLite format 3", b"RQLite format 3"),
}


@pytest.mark.parametrize("how", DAMAGES)
def test_no_command_ends_with_a_traceback_and_the_next_start_keeps_everything(
    room: Path, how: str
) -> None:
    path = journal_of(room)
    before = all_of(path)
    replaced(path, *DAMAGES[how])
    spoilt = path.read_bytes()
    for command in COMMANDS:
        done = afterfill(*command)  # an exception fails the test
        assert done.exit_code in (0, 1, 3), (command, done.output)
        assert "Traceback" not in done.output
    assert afterfill("journal", "check").exit_code in (1, 3)
    path.write_bytes(spoilt)
    mended = mend_if_damaged(path)
    assert mended is not None
    assert "no record" in mended.said
    assert numbers_lost(path, before) == set()
    assert mend_if_damaged(path) is None
    assert afterfill("journal", "check").exit_code == 0


def test_a_dose_with_a_flipped_bit_is_not_believed_and_all_else_is(room: Path) -> None:
    path = journal_of(room)
    before = all_of(path)
    replaced(path, b'{"neutraliser_ml":1.005}', b'{"neutraliser_ml":9.005}')
    with Journal.open(path, read_only=True) as journal:
        doses = [e.record for e in journal.entries(kinds=["dose"])]
        assert len(doses) == 59
        assert all(isinstance(d, Dose) and d.neutraliser_ml != 9.005 for d in doses)
        assert journal.damaged == 1
    assert met_damaged(path) == 1
    done = afterfill("export", "copy", "--json")
    assert done.exit_code == 1
    (said,) = lines_of(done)
    assert (said["rows"], said["events"], said["unreadable"]) == (1200, 59, 1)
    checked = afterfill("journal", "check", "--json")
    assert checked.exit_code == 1
    assert json.loads(checked.stdout)["damaged"] == {"record": 1}
    findings = lines_of(afterfill("check", "--json"))
    (ours,) = (f for f in findings if f["subject"] == "journal")
    assert ours["state"] == "fault"
    mended = mend_if_damaged(path)
    assert mended is not None
    assert "1 records lost" in mended.said
    assert len(numbers_lost(path, before)) == 1
    done = afterfill("journal", "check")
    assert (done.exit_code, "1 records are missing: lost to damage" in done.output) == (0, True)


def test_an_alarm_with_a_flipped_bit_stops_neither_now_nor_export(room: Path) -> None:
    path = journal_of(room)
    replaced(path, b'"state":"unacknowledged"', b'"state":"unacknowlddged"')
    assert afterfill("now", "--json").exit_code in (0, 1)
    assert afterfill("alarm", "list").exit_code == 0
    done = afterfill("export", "copy")
    assert done.exit_code == 1
    assert "1 rows of the journal are damaged or missing" in done.output
    assert len((room / "copy" / "verdicts.jsonl").read_text().splitlines()) == 59


def test_forty_bits_in_forty_blocks_are_counted(room: Path) -> None:
    path = journal_of(room)
    before = all_of(path)
    blocks = path.read_bytes().split(b"\x78\xf9")  # each blob's head: zlib with a dictionary
    chance = random.Random(4)
    for number in chance.sample(range(1, len(blocks)), 40):
        blocks[number] = blocks[number][:8] + bytes([blocks[number][8] ^ 4]) + blocks[number][9:]
    path.write_bytes(b"\x78\xf9".join(blocks))
    found = surveyed(path, alone=True)
    assert found.damaged["block"] == 40
    assert afterfill("export", "copy").exit_code == 1
    assert afterfill("check").exit_code == 1
    mended = mend_if_damaged(path)
    assert mended is not None
    assert "800 records lost" in mended.said
    assert len(numbers_lost(path, before)) == 800


def test_a_flip_in_the_log_loses_no_dose_but_the_one_that_it_hit(tmp_path: Path) -> None:
    origin = lived(tmp_path)
    whole = read(copied(origin, tmp_path / "whole"), read_only=False)
    assert whole is not None
    log = Path(f"{origin}-wal").read_bytes()
    places = [at for at in range(len(log) - 20) if log[at : at + 16] == b'"neutraliser_ml"']
    assert len(places) > 3
    kept = 0
    for number, at in enumerate(places):
        path = copied(origin, tmp_path / str(number))
        spoilt = bytearray(log)
        spoilt[at + 18] ^= 1
        Path(f"{path}-wal").write_bytes(spoilt)
        mended = mend_if_damaged(path)
        assert mended is not None
        after = read(path, read_only=False)
        assert after is not None
        assert whole.holds(after)
        lost = len(whole.entries) - len(after.entries)
        assert lost == 0 or (lost == 1 and "1 records lost" in mended.said)
        kept += lost == 0
    assert kept > len(places) / 2  # of the high bits of a word, a checksum leaves several


def test_a_log_whose_end_is_gone_is_told_by_the_marks(tmp_path: Path) -> None:
    origin = lived(tmp_path)
    path = copied(origin, tmp_path / "cut")
    log = Path(f"{path}-wal")
    log.write_bytes(log.read_bytes()[: log.stat().st_size // 2])
    mended = mend_if_damaged(path)
    assert mended is not None
    assert "records missing" in mended.said
    with Journal.open(path) as journal:
        number = journal.append(Service(START_S, "window", "probe"), Stamp(START_S, True, "b", 1.0))
        assert number == 445  # none is given twice


@pytest.mark.parametrize("made", ["empty", "missing"])
def test_a_lost_database_is_no_new_beginning(tmp_path: Path, made: str) -> None:
    path = copied(lived(tmp_path, checkpointed=False), tmp_path / "lost")
    path.unlink()
    if made == "empty":
        path.touch()
    write_config(tmp_path / "lost", more=f'[journal]\npath = "{path}"\n')
    done = afterfill("journal", "check", "--config", str(tmp_path / "lost" / "afterfill.toml"))
    assert (done.exit_code, f"its file is {made}" in done.stderr) == (3, True)
    mended = mend_if_damaged(path)
    assert mended is not None
    assert mended.aside.exists()
    assert Path(f"{mended.aside}-wal").exists()
    with Journal.open(path) as journal:
        assert len(journal.entries(limit=1000)) > 50  # from the log and the tail
    assert mend_if_damaged(path) is None


def test_a_kill_at_the_renaming_is_made_good_by_the_next_start(
    room: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = journal_of(room)
    before = all_of(path)
    replaced(path, *DAMAGES["a name in the schema"])
    with monkeypatch.context() as killed:
        killed.setattr("afterfill.journal.damage._finish", lambda _path: None)
        mended = mend_if_damaged(path)
    assert mended is not None
    assert not mended.aside.exists()
    shutil.move(f"{path}-tail", f"{mended.aside}-tail")
    assert mend_if_damaged(path) is None
    assert mended.aside.exists()
    assert numbers_lost(path, before) == set()


def test_dropped_and_pruned_numbers_are_no_damage(room: Path) -> None:
    path = journal_of(room)
    with Journal.open(path) as journal:
        for number in range(10):
            reading = Reading(START_S + number, "window", "orp", 1.0)
            journal.append(reading, Stamp(START_S + number, True, "boot", 1.0))
        assert journal.shed((Reading,)) == 10
        journal.append(Service(START_S, "window", "probe"), Stamp(START_S, True, "boot", 1.0))
        journal.commit()
        found = surveyed(path, alone=False)
        assert (found.is_sound, sum(found.explained.values())) == (True, 10)
        journal.prune(START_S + 86400.0, 1.0 - 1800.0 / 86400.0, 100.0)
    found = surveyed(path, alone=True)
    assert found.is_sound, found.sentence()
    assert 0 < found.sound["record"] < 121
