"""The residual that was found in a tank, by a test or as it is believed, and its upper end."""

from dataclasses import dataclass
from math import inf
from typing import Literal

from afterfill.chemistry.constants import DPD_KIT
from afterfill.chemistry.kits import Z95, by_kit, kit_sd
from afterfill.chemistry.standing import Interval
from afterfill.errors import ModelDomainError
from afterfill.planning.asked import Disinfectant

Z99 = 2.326  # standard deviations of a normal belief to its 99 % point
_FLOOR_MG_L = 1e-6
_TRACE_MG_L = 1e-4  # of less, no share can be told

Extension = Literal["log-normal", "normal", "kit", "most-the-source-holds"]


@dataclass(frozen=True, slots=True)
class Upper:
    """The 99 % point of the residual [mg/L as Cl2], and how it was come by."""

    mg_l: float
    by: Extension


@dataclass(frozen=True, slots=True)
class Found:
    """The residual [mg/L as Cl2] that is in the tank, its 99 % point, how much of it is free (0-1,
    None: not known), and how much of it may be free at the most."""

    residual_mg_l: Interval
    upper: Upper
    free_share: float | None = None
    free_most: float = 1.0

    def nothing(self, limit_mg_l: float) -> bool:
        """Whether there is nothing to take away: below the limit, or a test that shows nothing,
        which by its error alone asks for no dose."""
        shows_nothing = self.upper.by == "kit" and self.residual_mg_l.middle <= 0.0
        return shows_nothing or self.upper.mg_l <= limit_mg_l


def upper_of(residual: Interval, most_mg_l: float = inf) -> Upper:
    """The 99 % point [mg/L] of a belief of which the 50 and 95 % points are known.

    Extended as a log-normal, q99 = q50 (q95/q50)^(2.326/1.645); as a normal where q50 is nothing.
    `most_mg_l`: what the source can hold, which a tank cannot exceed. The 95 % point always stays
    below. Source: quantiles of the normal distribution.

    >>> upper = upper_of(Interval(0.1, 0.2, 0.4))
    >>> round(upper.mg_l, 3), upper.by
    (0.533, 'log-normal')
    """
    if residual.middle > _FLOOR_MG_L:
        spread = residual.high / residual.middle
        upper = Upper(residual.middle * spread ** (Z99 / Z95), "log-normal")
    else:
        upper = Upper(residual.middle + (residual.high - residual.middle) * Z99 / Z95, "normal")
    if upper.mg_l > most_mg_l:
        return Upper(max(most_mg_l, residual.high), "most-the-source-holds")
    return upper


def found_by_kit(total_chlorine_mg_l: float, tap: Disinfectant = "unknown") -> Found:
    """What a DPD total-chlorine test [mg/L as Cl2] says, with the error of a hobby kit. All of it
    may be free unless the source is known to hold chloramine.

    Raises ModelDomainError for a negative amount.

    >>> round(found_by_kit(0.5).upper.mg_l, 3)
    0.743
    """
    if not total_chlorine_mg_l >= 0.0:
        raise ModelDomainError(f"the residual is {total_chlorine_mg_l:g} mg/L: give 0 or more")
    free_most = 0.0 if tap == "chloramine" else 1.0
    upper_mg_l = total_chlorine_mg_l + Z99 * kit_sd(DPD_KIT, total_chlorine_mg_l)
    return Found(by_kit(DPD_KIT, total_chlorine_mg_l), Upper(upper_mg_l, "kit"), None, free_most)


def found_as_believed(residual: Interval, free: Interval, most_mg_l: float) -> Found:
    """What is believed: residual and free chlorine [mg/L as Cl2], of a source that holds
    `most_mg_l` at the most. Raises nothing.

    >>> found_as_believed(Interval(0.1, 0.2, 0.4), Interval(0.0, 0.1, 0.2), 4.0).free_share
    0.5
    """
    if residual.middle <= _TRACE_MG_L:
        return Found(residual, upper_of(residual, most_mg_l), None)
    share = min(free.middle / residual.middle, 1.0)
    most = max(share, min(free.high / max(residual.high, _TRACE_MG_L), 1.0))
    return Found(residual, upper_of(residual, most_mg_l), share, most)
