"""What an alarm says when it changes: figures with their intervals, in one sentence."""

from collections.abc import Sequence

from afterfill.records import Estimate, Quantity


def message_of(
    alarm: str,
    now: Estimate,
    residual_limit_mg_l: float,
    ammonia_limit_mg_l: float,
    silent: Sequence[Quantity],
) -> str:
    """The sentence for `alarm`, given the estimate of this moment, the tank's limits [mg/L as Cl2
    and mg/L as N] and the probes that give no usable reading."""
    if alarm == "residual-oxidant":
        return _oxidant(now, residual_limit_mg_l)
    if alarm == "free-ammonia":
        return _ammonia(now, ammonia_limit_mg_l)
    if alarm == "probe-lost":
        return "no usable reading from: " + ", ".join(silent) if silent else "all probes speak"
    return now.why_blind or "the ORP can be used"


def _oxidant(now: Estimate, limit_mg_l: float) -> str:
    low, middle, high = now.residual_mg_l
    if not now.sees and high <= limit_mg_l:  # nothing known is no figure to show
        return now.why_blind or "the ORP cannot be used"
    return (
        f"residual oxidant {middle:.2g} mg/L (90 % interval {low:.2g} to {high:.2g}), limit "
        f"{limit_mg_l:g}; over it with probability {now.p_over_limit:.2f}"
    )


def _ammonia(now: Estimate, limit_mg_l: float) -> str:
    if now.free_ammonia_mg_l is None:
        return "un-ionised ammonia cannot be computed without pH and temperature"
    low, middle, high = now.free_ammonia_mg_l
    return (
        f"un-ionised ammonia {middle:.2g} mg/L as N (90 % interval {low:.2g} to {high:.2g}), "
        f"limit {limit_mg_l:g}"
    )
