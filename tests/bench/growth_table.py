"""How a run of the growth bench is shown: the columns of its table."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from itertools import groupby

from bench.delivery_latency import percentile
from bench.growth_run import Growth

PROBES = 3  # of a tank, all in one reply
_DAY_S = 86_400.0
_GAP = "  "


@dataclass(frozen=True, slots=True)
class Column:
    """A heading, under that of its group, and what stands below."""

    group: str
    name: str
    shown: Callable[[Growth], str]
    width: int = 8


def _each(group: str, pattern: str, value: Callable[[Growth, str], float]) -> Iterator[Column]:
    for what in ("services", "broker", "database"):
        yield Column(group, what, partial(_formatted, pattern, value, what))


def _two(group: str, digits: int, value: Callable[[Growth], list[float]]) -> Iterator[Column]:
    for percent, name in ((50, "median"), (99, "p99")):
        yield Column(group, name, partial(_at_percent, value, percent, digits), 6)


def _formatted(pattern: str, value: Callable[[Growth, str], float], what: str, it: Growth) -> str:
    return pattern.format(value(it, what))


def _at_percent(
    value: Callable[[Growth], list[float]], percent: float, digits: int, it: Growth
) -> str:
    return _percentile(value(it), percent, digits)


def _percentile(ordered: list[float], percent: float, digits: int) -> str:
    return f"{percentile(ordered, percent):.{digits}f}" if ordered else "--"


def _per_day_mb(it: Growth, what: str) -> float:
    return it.taken[what].written_bytes / 1e6 * _DAY_S / it.lasted_s


COLUMNS = (
    Column("", "tanks", lambda it: str(it.plan.tanks), 5),
    Column("", "services", lambda it: str(it.plan.services)),
    Column("", "ready s", lambda it: f"{it.ready_s:.1f}", 7),
    *_each("CPU, % of a core", "{:.2f}", lambda it, w: 100 * it.taken[w].cpu_s / it.lasted_s),
    *_each("memory, MB", "{:.0f}", lambda it, what: it.memory_mb[what]),
    Column("memory, MB", "largest", lambda it: f"{it.largest_mb:.0f}", 7),
    *_each("written, MB/day", "{:.1f}", _per_day_mb),
    *_each("write calls/min", "{:.0f}", lambda it, w: it.taken[w].write_calls * 60 / it.lasted_s),
    *_two("line to hub, s", 1, lambda it: it.hub.delays_s),
    *_two("to database, s", 1, lambda it: it.database.delays_s),
    *_two("answer, s", 2, lambda it: it.answers_s),
    Column("hub", "msg/s", lambda it: f"{it.messages_hz:.1f}", 6),
    Column("hub", "entities/tank", lambda it: f"{it.entities / it.plan.tanks:.0f}", 13),
    Column("readings", "asked", lambda it: str(PROBES * it.replies), 6),
    Column("readings", "late", lambda it: str(PROBES * it.late), 4),
    Column("readings", "missed", lambda it: str(PROBES * it.missed), 6),
    Column("readings", "lost", lambda it: str(it.hub.lost + it.database.lost), 4),
    Column("", "refused", lambda it: str(it.refused), 7),
)


def heading() -> str:
    """Two lines: groups, and what each column is."""
    groups = [list(columns) for _, columns in groupby(COLUMNS, lambda column: column.group)]
    above = [
        columns[0].group.center(sum(c.width for c in columns) + len(_GAP) * (len(columns) - 1))
        for columns in groups
    ]
    return f"{_GAP.join(above).rstrip()}\n{_GAP.join(c.name.rjust(c.width) for c in COLUMNS)}"


def row(it: Growth) -> str:
    """One line."""
    return _GAP.join(column.shown(it).rjust(column.width) for column in COLUMNS)
