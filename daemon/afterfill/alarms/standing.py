"""How a tank stands by its newest estimate: safe as far as seen, not safe, or cannot tell.

What is unknown is never called safe.
"""

from typing import Literal

from afterfill.alarms.rules import CLEAR_AT_PROBABILITY
from afterfill.records import Estimate

Word = Literal["safe", "not-safe", "cannot-tell"]
SAFE_BELOW = 0.05  # probability of a residual over the limit, as for the verdict 'clear'


def word_of(now: Estimate, ammonia_limit_mg_l: float, ammonia_is_watched: bool) -> tuple[Word, str]:
    """The word and why (empty when safe), from an estimate alone: an alarm may be shelved, or
    still within its delay. `ammonia_limit_mg_l`: un-ionised, as N; `ammonia_is_watched`: there
    are probes of pH and temperature."""
    ammonia = now.free_ammonia_mg_l
    if now.p_over_limit >= CLEAR_AT_PROBABILITY:
        return "not-safe", "a residual over the limit is more likely than not"
    if ammonia is not None and ammonia.q50 >= ammonia_limit_mg_l:
        return "not-safe", "un-ionised ammonia is over its limit"
    if not now.sees:
        return "cannot-tell", now.why_blind or "the ORP cannot be used"
    if now.p_over_limit > SAFE_BELOW:
        return "cannot-tell", f"a residual over the limit is possible (p {now.p_over_limit:.2g})"
    if ammonia is None and ammonia_is_watched:
        return "cannot-tell", "no residual in sight, but ammonia needs pH and temperature readings"
    return "safe", ""
