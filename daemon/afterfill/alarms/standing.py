"""How a tank stands: safe as far as seen, not safe, cannot tell, or still learning.

What is unknown is never called safe.
"""

from collections.abc import Collection

from afterfill.alarms.rules import CLEAR_AT_PROBABILITY
from afterfill.records import Estimate, StandingWord

SAFE_BELOW = 0.05  # probability of a residual over the limit, as for the verdict 'clear'


def word_of(
    now: Estimate,
    ammonia_limit_mg_l: float,
    dangers: Collection[str] = (),
    *,
    ammonia_is_watched: bool,
    learning: bool = False,
) -> tuple[StandingWord, str]:
    """The word and why (empty when safe). `dangers`: causes of the alarms of danger that hold;
    an alarm may also be shelved or still within its delay, so the estimate is judged as well.
    `ammonia_limit_mg_l`: un-ionised, as N; `ammonia_is_watched`: there are probes of pH and
    temperature; `learning`: blind only because the quiet ORP is not known yet."""
    ammonia = now.free_ammonia_mg_l
    if dangers:
        return "not-safe", "; ".join(dangers)
    if now.p_over_limit >= CLEAR_AT_PROBABILITY:
        return "not-safe", "a residual over the limit is more likely than not"
    if ammonia is not None and ammonia.q50 >= ammonia_limit_mg_l:
        return "not-safe", "un-ionised ammonia is over its limit"
    if not now.sees:
        return "learning" if learning else "cannot-tell", now.why_blind or "the ORP cannot be used"
    if now.p_over_limit > SAFE_BELOW:
        return "cannot-tell", "a residual over the limit is possible"
    if ammonia is None and ammonia_is_watched:
        return "cannot-tell", "no residual in sight, but ammonia needs pH and temperature readings"
    return "safe", ""
