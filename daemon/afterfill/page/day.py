"""A tank's last day, thinned to what can be seen in a drawing, and kept up with the journal."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime

from afterfill.journal.store import Journal
from afterfill.record_kinds import KIND_OF
from afterfill.records import Estimate, Quantity, Reading, Record, Refill, Verdict
from afterfill.report.charts import readings_chart, residual_chart
from afterfill.report.gathered import Gathered
from afterfill.report.markup import Html, joined
from afterfill.tank_table import TankTable

DAY_S = 86400.0
_BIN_S = DAY_S / 400  # finer cannot be seen
_KINDS = tuple(KIND_OF[kind] for kind in (Reading, Estimate, Refill, Verdict))
_AT_A_TIME = 2000
_QUANTITIES: tuple[Quantity, ...] = ("orp", "ph", "temperature")


@dataclass
class Day:
    """Of each bin the lowest and the highest reading of each kind, the highest residual seen and
    unseen: at 1 Hz a day is 260,000 readings, of which 2,400 are kept."""

    tank: str
    _after: int | None = None
    _low: dict[tuple[Quantity, int], Reading] = field(default_factory=dict)
    _high: dict[tuple[Quantity, int], Reading] = field(default_factory=dict)
    _estimates: dict[tuple[bool, int], Estimate] = field(default_factory=dict)
    _refills: list[Refill] = field(default_factory=list)
    _verdicts: list[Verdict] = field(default_factory=list)

    def caught_up(self, journal: Journal, now_s: float) -> "Day":
        """With what the journal has that was not here yet. Raises JournalError."""
        last = journal.last_seq()
        if self._after is None:
            begun = journal.between(self.tank, now_s - DAY_S, now_s + DAY_S, kinds=_KINDS)
            self._take(entry.record for entry in begun if entry.seq <= last)
            self._after = last
        if last < self._after:  # another journal stands there
            return Day(self.tank).caught_up(journal, now_s)
        while self._after < last:
            entries = journal.entries(
                self._after, until=last, kinds=_KINDS, tank=self.tank, limit=_AT_A_TIME
            )
            self._take(entry.record for entry in entries)
            self._after = entries[-1].seq if len(entries) == _AT_A_TIME else last
        self._forget(now_s - DAY_S)
        return self

    def _take(self, records: Iterable[Record]) -> None:
        for it in records:
            match it:
                case Reading(value=value, quantity=quantity) if value is not None:
                    key = quantity, int(it.time_s // _BIN_S)
                    low, high = self._low.setdefault(key, it), self._high.setdefault(key, it)
                    if value < (low.value or 0.0):
                        self._low[key] = it
                    if value > (high.value or 0.0):
                        self._high[key] = it
                case Estimate(sees=sees):
                    place = sees, int(it.time_s // _BIN_S)
                    kept = self._estimates.setdefault(place, it)
                    if it.residual_mg_l.q50 > kept.residual_mg_l.q50:
                        self._estimates[place] = it
                case Refill():
                    self._refills.append(it)
                case Verdict():
                    self._verdicts.append(it)

    def _forget(self, before_s: float) -> None:
        oldest = int(before_s // _BIN_S)
        for bins in (self._low, self._high):
            for key in [key for key in bins if key[1] < oldest]:
                del bins[key]
        for place in [place for place in self._estimates if place[1] < oldest]:
            del self._estimates[place]
        self._refills = [it for it in self._refills if it.time_s >= before_s]
        self._verdicts = [it for it in self._verdicts if it.time_s >= before_s]

    def gathered(self, now_s: float) -> Gathered:
        """As a report takes it."""
        found = Gathered(self.tank, now_s - DAY_S, now_s, refills=self._refills)
        found.verdicts = self._verdicts
        found.estimates = sorted(self._estimates.values(), key=lambda it: it.time_s)
        for (quantity, place), low in sorted(self._low.items(), key=lambda item: item[0][1]):
            ends = {low, self._high[quantity, place]}
            found.readings.setdefault(quantity, []).extend(sorted(ends, key=lambda it: it.time_s))
        return found


def day_charts(day: Day, table: TankTable, now_s: float) -> Html:
    """The residual first, then what the probes saw."""
    found, zone = day.gathered(now_s), datetime.now().astimezone().tzinfo
    return joined(
        residual_chart(found, table, zone),
        *(readings_chart(found, quantity, table, zone) for quantity in _QUANTITIES),
    )
