"""Everything that is believed about one tank between two records."""

from dataclasses import dataclass
from typing import NamedTuple

from afterfill.inference import doses, history
from afterfill.inference.ammonia import Ammonia, unmet
from afterfill.inference.calibration.learnt import Learnt
from afterfill.inference.filter.streams import Array
from afterfill.inference.history import History
from afterfill.inference.monitor.baseline import Baseline
from afterfill.inference.monitor.channels import Channel
from afterfill.inference.monitor.data_quality import Sight
from afterfill.inference.monitor.watch import Watch


@dataclass(frozen=True, slots=True)
class Leftover:
    """What the last watch left behind at `time_s`: 95 % point of the residual [mg/L as Cl2] and
    probability that it exceeds the limit."""

    time_s: float = 0.0
    residual_mg_l: float = 0.0
    p_over_limit: float = 0.0


class Belief(NamedTuple):
    """`ammonia_s`: the time [s] at which `ammonia` holds; `doses`: neutraliser that went into the
    tank itself lately; `stepped_s`: time of the last step [s]; `disturbed_until_s`: end of
    announced work on the tank; `trusted_from_s`: no watch on suspicion before this time;
    `unpoured`: the ammonia at `unpoured_s` [s], before the refill under watch, in case more is
    said of it."""

    ph: Channel = Channel()
    temperature: Channel = Channel()
    sight: Sight = Sight()
    history: History = history.empty()
    doses: Array = doses.none()
    ammonia: Ammonia = unmet()
    ammonia_s: float | None = None
    learnt: Learnt = Learnt()
    leftover: Leftover = Leftover()
    baseline: Baseline | None = None
    watch: Watch | None = None
    stepped_s: float | None = None
    disturbed_until_s: float = 0.0
    trusted_from_s: float = 0.0
    unpoured: Ammonia | None = None
    unpoured_s: float = 0.0
