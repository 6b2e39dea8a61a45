"""How much the alarms ask of a person: a row for each figure, a column for each tank."""

from dataclasses import asdict

from afterfill.alarms.load import Load, load_of
from afterfill.cli.configured import loaded, reading_journal, tanks
from afterfill.cli.console import say_json, say_table
from afterfill.cli.options import Asked
from afterfill.cli.times import present_s
from afterfill.errors import UsageError
from afterfill.journal.store import Journal
from afterfill.records import AlarmChange

_DAY_S = 86400.0


def loads_shown(days: float, asked: Asked) -> None:
    """Print the load of the last days. Raises UsageError for a span that cannot be."""
    if not 0.0 < days <= 3660.0:
        raise UsageError(f"--days {days:g} is no span: give more than 0 and at most 3660")
    settings, now_s = loaded(asked.config), present_s()
    with reading_journal(settings.journal.path) as journal:
        found = {name: _load(journal, name, days, now_s) for name in tanks(settings, asked.tank)}
    if asked.as_json:
        for name, load in found.items():
            say_json({"kind": "alarm-load", "tank": name, **asdict(load)})
        return
    columns = [_figures(load) for load in found.values()]
    rows = [(name, *(column[name] for column in columns)) for name in columns[0]]
    say_table(("figure", *found), rows)


def _load(journal: Journal, tank: str, days: float, now_s: float) -> Load:
    from_s = now_s - days * _DAY_S
    # what already held then began at most thirty days before
    entries = journal.between(tank, max(from_s - 30 * _DAY_S, 0.0), now_s, kinds=("alarm",))
    changes = (e.record for e in entries if isinstance(e.record, AlarmChange))
    return load_of(changes, from_s, now_s)


def _figures(load: Load) -> dict[str, str]:
    total = max(load.raised, 1)
    shares = [f"{p} {n} ({100 * n / total:.0f} %)" for p, n in load.by_priority.items()]
    most = sorted(load.by_alarm.items(), key=lambda item: -item[1])[:5]
    return {
        "raised": f"{load.raised} in {load.days:g} days",
        "a day": f"{load.per_day:.2g}",
        "most in ten minutes": str(load.peak_ten_minutes),
        "by priority": ", ".join(shares),
        "most often": ", ".join(f"{name} {count}" for name, count in most) or "none",
        "standing now": ", ".join(load.standing) or "none",
        "standing over a day": ", ".join(load.stale) or "none",
        "chattering": ", ".join(load.chattering) or "none",
    }
