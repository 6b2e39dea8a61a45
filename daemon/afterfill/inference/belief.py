"""Everything that is believed about one tank between two records."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple

from afterfill.inference import doses, history
from afterfill.inference.ammonia import Ammonia, unmet
from afterfill.inference.calibration.learnt import Learnt
from afterfill.inference.filter.streams import Array
from afterfill.inference.history import History
from afterfill.inference.monitor import daily_course
from afterfill.inference.monitor.baseline import Baseline
from afterfill.inference.monitor.channels import Channel
from afterfill.inference.monitor.data_quality import Sight
from afterfill.inference.monitor.watch import Watch
from afterfill.inference.setup import Water
from afterfill.inference.source import SourceBelief, believed


class Belief(NamedTuple):
    """`ammonia_s`: the time [s] at which `ammonia` holds; `doses`: neutraliser that went into the
    tank itself lately; `stepped_s`: time of the last step [s]; `disturbed_until_s`: end of
    announced work on the tank; `oxidised_until_s`: until when a lamp, ozone or a medicine was told
    of; `risen_s`: when the ORP rose without a word; `trusted_from_s`: no watch on suspicion before
    this time; `past`: the last watch once its verdict is final: what it left in the tank is
    believed on; `unpoured`: the ammonia at `unpoured_s` [s], before the refill under watch, in case
    more is said of it; `sources`: what has been learnt of each source, by its name; `ph_course`:
    the usual pH of each hour of the day; `full_s`: since when water may have come untold of: what
    came before was told, tested, or before the service."""

    ph: Channel = Channel()
    temperature: Channel = Channel()
    sight: Sight = Sight()
    history: History = history.empty()
    doses: Array = doses.none()
    ammonia: Ammonia = unmet()
    ammonia_s: float | None = None
    learnt: Learnt = Learnt()
    baseline: Baseline | None = None
    watch: Watch | None = None
    past: Watch | None = None
    stepped_s: float | None = None
    disturbed_until_s: float = 0.0
    oxidised_until_s: float = 0.0
    risen_s: tuple[float, ...] = ()
    trusted_from_s: float = 0.0
    unpoured: Ammonia | None = None
    unpoured_s: float = 0.0
    sources: Mapping[str, SourceBelief] = MappingProxyType({})
    ph_course: Array = daily_course.unknown()
    full_s: float | None = None

    def with_ph(self, now: Channel) -> "Belief":
        """With each reading: `_replace` would cost three times as much."""
        return Belief(now, *self[1:])

    def with_temperature(self, now: Channel) -> "Belief":
        """As `with_ph`."""
        return Belief(self.ph, now, *self[2:])

    def water_of(self, water: Water, time_s: float) -> Water:
        """The water of a source at `time_s` [s], as it is believed by then."""
        return believed(water, self.sources.get(water.name), time_s)

    @property
    def holding(self) -> Watch | None:
        """The watch whose particles tell what is in the tank, running or past."""
        return self.watch or self.past

    @property
    def earlier(self) -> Watch | None:
        """What an older refill left, while a suspicion is looked into: that the ORP moved again is
        no reason to forget it."""
        suspected = self.watch is not None and not self.watch.pour.announced
        return self.watch.before if self.watch is not None and suspected else None
