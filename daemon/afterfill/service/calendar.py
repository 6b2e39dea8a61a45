"""Jobs on the calendar, by wall time: upkeep of the journal, the load of the alarms, a summary of
the day.

Nothing that must be on time runs here: the scheduler follows the wall clock and its jumps.
"""

import logging

from apscheduler.schedulers.background import BackgroundScheduler

from afterfill.alarms.load import load_of, record_of
from afterfill.config import JournalSettings
from afterfill.records import AlarmChange, Reading, Stamp, Verdict
from afterfill.service.recorder import Recorder
from afterfill.service.threads import Chore, Work

_log = logging.getLogger(__name__)
_GRACE_S = 6 * 3600  # a job missed by a jump of the clock or a pause is done once, later
_DAY_S = 86400.0
_LOOK_BACK_S = 30 * _DAY_S
_FOR_EVER_DAYS = 36_500.0


def scheduler(settings: JournalSettings, tanks: list[str], work: Work) -> BackgroundScheduler:
    """A scheduler, not started, that hands its jobs to the core."""
    jobs = BackgroundScheduler(
        timezone="UTC", job_defaults={"coalesce": True, "misfire_grace_time": _GRACE_S}
    )
    keep = Chore(lambda recorder, stamp: keep_house(recorder, stamp, settings))
    tell = Chore(lambda recorder, stamp: tell_the_day(recorder, stamp, tanks))
    jobs.add_job(work.put, "cron", args=[keep], hour=3, minute=40, id="journal-upkeep")
    load = Chore(lambda recorder, stamp: keep_load(recorder, stamp, tanks))
    jobs.add_job(work.put, "cron", args=[load], minute=5, id="alarm-load")
    jobs.add_job(work.put, "cron", args=[tell], hour=6, minute=0, id="daily-summary")
    return jobs


def keep_house(recorder: Recorder, stamp: Stamp, settings: JournalSettings) -> None:
    """Drop what is too old or too much, and say what was dropped. A clock that is not set
    cannot tell what is old."""
    keep_days = settings.keep_days if stamp.synchronised else _FOR_EVER_DAYS
    dropped = recorder.journal.prune(stamp.time_s, keep_days, settings.max_mb)
    _log.info("journal upkeep: %s", dropped)


def keep_load(recorder: Recorder, stamp: Stamp, tanks: list[str]) -> None:
    """The load of each tank's alarms over the last 24 h, into the journal. What has stood for
    longer than a month is not looked for."""
    from_s = stamp.time_s - _DAY_S
    for tank in tanks:
        entries = recorder.journal.between(
            tank, max(from_s - _LOOK_BACK_S, 0.0), stamp.time_s, kinds=("alarm",)
        )
        changes = (e.record for e in entries if isinstance(e.record, AlarmChange))
        load = record_of(load_of(changes, from_s, stamp.time_s), tank, stamp.time_s)
        recorder.journal.append(load, stamp)
    recorder.journal.commit()


def tell_the_day(recorder: Recorder, stamp: Stamp, tanks: list[str]) -> None:
    """One line for each tank about the last 24 h."""
    for tank in tanks:
        entries = recorder.journal.between(
            tank, stamp.time_s - _DAY_S, stamp.time_s, kinds=("reading", "verdict", "alarm")
        )
        records = [entry.record for entry in entries]
        readings = [r for r in records if isinstance(r, Reading)]
        _log.info(
            "tank %s, last 24 h: %d readings, %d of them unusable; %d refills judged; %d alarms",
            tank,
            len(readings),
            sum(r.value is None for r in readings),
            sum(isinstance(r, Verdict) and r.final for r in records),
            load_of((r for r in records if isinstance(r, AlarmChange)), 0.0, stamp.time_s).raised,
        )
