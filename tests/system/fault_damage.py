"""The journal is damaged on the disk: between two runs, or a foreign file lies in its place."""

from collections.abc import Callable
from functools import partial
from pathlib import Path

from afterfill.journal.damage import newest_aside
from journal_flips import judged, lived, places
from system.fault_row import Row, told
from system.live_service import LiveService


def _middle(content: bytes) -> bytes:
    at = len(content) // 2
    return content[:at] + b"\xa5" * 8192 + content[at + 8192 :]


_DAMAGES: tuple[Callable[[bytes], bytes], ...] = (
    _middle,
    lambda content: content[: len(content) // 2],
    lambda content: bytes(4096) + content[4096:],
    lambda content: b"\x5a" * 512 + content[512:],
    lambda content: bytes(len(content)),
    lambda content: b"\xff" * len(content),
)
_LATCHED = ("unacknowledged", False)


def damaged(times: int, folder: Path) -> Row:
    """Each kind of damage in turn, found at the next start."""
    lost = doubled = told_all = 0
    for number in range(times):
        with LiveService(folder / str(number), speed=60.0, every_s=10.0) as service:
            service.start()
            service.wait_for_readings(20)
            service.stop()
            spoilt = _DAMAGES[number % len(_DAMAGES)](service.journal.read_bytes())
            service.journal.write_bytes(spoilt)
            service.start()
            service.wait_for_said("a new one was begun")
            service.wait_for(partial(_latches, service), "the alarm latches")
            service.wait_for(partial(_by_health, service), "the journal's health")
            service.kill()
            service.start()
            service.wait_for_readings()
            told_all += _latches(service)
            service.command("alarm", "acknowledge", "journal-damaged")
            service.wait_for(partial(_is_acknowledged, service), "it is acknowledged")
            service.stop()
            aside = newest_aside(service.journal)
            lost += aside is None or aside.read_bytes() != spoilt
            doubled += len([c for c in _alarm(service, everything=True) if c[1]]) - 1
    how = f"{min(times, len(_DAMAGES))} kinds of damage to the file while the service is down"
    heard = told(("log, health, alarm journal-damaged until acknowledged", told_all == times))
    return Row("damaged journal", how, times, lost, doubled, heard)


def bit_flipped(times: int, folder: Path) -> Row:
    """One bit anywhere in database, log or tail; a wrong value or a silent loss counts as lost."""
    folder.mkdir(parents=True)
    origin = lived(folder)
    found = judged(origin, folder / "flips", places(origin, times, seed=times))
    counts = found.counts
    how = (
        f"seeded bits of database, log and tail: {counts['identical']} identical, "
        f"{counts['told']} told (all kept {found.kept} times, {found.lost} records lost in all), "
        f"{counts['neither']} neither {found.neither[:3] or ''}"
    )
    heard = told(("at the start, in words, or nothing is different", counts.total() == times))
    return Row("single flipped bit", how, times, counts["neither"], 0, heard)


def database_lost(times: int, folder: Path) -> Row:
    """The database is empty or gone after a kill, its log and tail are not."""
    begun_in_silence = told_all = 0
    for number in range(times):
        with LiveService(folder / str(number), speed=60.0, every_s=10.0) as service:
            service.start()
            service.wait_for_readings(20)
            service.kill()
            service.journal.unlink()
            if number % 2:
                service.journal.touch()
            service.start()
            service.wait_for_said("its file is")
            service.wait_for(partial(_latches, service), "the alarm latches")
            begun_in_silence += newest_aside(service.journal) is None
            told_all += _by_health_in_time(service)
            service.stop()
    how = "the database emptied or removed beside its log and tail"
    heard = told(("log, health, alarm journal-damaged", told_all == times))
    return Row("lost database", how, times, begun_in_silence, 0, heard)


def _by_health_in_time(service: LiveService) -> bool:
    service.wait_for(partial(_by_health, service), "the journal's health")
    return True


def _alarm(service: LiveService, *, everything: bool = False) -> list[tuple[str, bool]]:
    changes = [c for c in service.alarms("journal-damaged") if c[0] != "normal"]
    return changes if everything else changes[-1:]


def _latches(service: LiveService) -> bool:
    return _alarm(service) == [_LATCHED]


def _by_health(service: LiveService) -> bool:
    return any(h.component == "journal" and not h.up for h in service.records("health"))


def _is_acknowledged(service: LiveService) -> bool:
    return service.alarms("journal-damaged")[-1] == ("normal", False)


def foreign(times: int, folder: Path) -> Row:
    """Another program's file where the journal should be: refused, and not touched."""
    theirs, untouched, sentences = "time,orp_mv\n" * 1000, 0, 0
    with LiveService(folder) as service:
        for _ in range(times):
            service.journal.write_text(theirs)
            done = service.command("run")
            untouched += service.journal.read_text() == theirs
            sentences += done.returncode == 2 and "is no journal of afterfill" in done.stderr
    how = "[journal] path names a text"
    return Row(
        "foreign file", how, times, times - untouched, 0,
        told(("one sentence, exit code 2", sentences == times)),
    )  # fmt: skip
