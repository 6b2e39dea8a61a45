"""What a test kit shows of water whose truth is known: the errors that the inference supposes."""

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from afterfill.chemistry.constants import AMMONIA_KIT
from afterfill.inference.filter.streams import Array
from afterfill.inference.model import priors

_NORMAL = NormalDist()


@dataclass(frozen=True, slots=True)
class Kit:
    """A kit whose error has the standard deviation sqrt(floor^2 + (share * truth)^2) [mg/L], by
    Student's t with four degrees of freedom where it has heavy `tails`. `low`: how often it reads
    anything below the truth; `high`: how often anything up to `high_mg_l` that is not there."""

    floor_mg_l: float
    share: float
    tails: bool = False
    low: float = 0.0
    high: float = 0.0
    high_mg_l: float = 1.0

    @property
    def half_step_mg_l(self) -> float:
        """Half the step between two values that it can show: where there is nothing, the error is
        that of rounding, and a uniform distribution has this half width for that deviation."""
        return float(np.sqrt(3.0)) * self.floor_mg_l

    def deviation_mg_l(self, truth_mg_l: Array) -> Array:
        """The standard deviation of what it shows."""
        return np.asarray(np.hypot(self.floor_mg_l, self.share * truth_mg_l))

    def p_at_most(self, read_mg_l: float, truth_mg_l: Array, scale: float) -> Array:
        """Probability that it reads at most `read_mg_l`, before rounding, for each truth. `scale`:
        its errors as a share of those that are supposed, 0 (none) to 1."""
        if scale == 0.0:
            return np.asarray(read_mg_l >= truth_mg_l, dtype=float)
        z = (read_mg_l - truth_mg_l) / (scale * self.deviation_mg_l(truth_mg_l))
        low, high = scale * self.low, scale * self.high
        within = np.clip(read_mg_l / np.maximum(truth_mg_l, 1e-9), 0.0, 1.0)
        beyond = min(max(read_mg_l / self.high_mg_l, 0.0), 1.0)
        right = _student_at_most(z) if self.tails else _normal_at_most(z)
        return np.asarray((1.0 - low - high) * right + low * within + high * beyond)


def _normal_at_most(z: Array) -> Array:
    return np.array([_NORMAL.cdf(float(value)) for value in z])


def _student_at_most(z: Array) -> Array:
    """Student's t with four degrees of freedom, in closed form."""
    s = z / np.sqrt(1.0 + z * z / 4.0)
    return np.asarray(0.5 + 0.375 * s * (1.0 - s * s / 12.0))


CHLORINE = Kit(
    priors.KIT_FLOOR_MG_L,
    priors.KIT_SHARE,
    tails=True,
    low=priors.KIT_LOW_SHARE,
    high=priors.KIT_HIGH_SHARE,
    high_mg_l=priors.KIT_HIGH_MG_L,
)
AMMONIA = Kit(AMMONIA_KIT.values[0], AMMONIA_KIT.values[1])
