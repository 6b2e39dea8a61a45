"""When each alarm's condition holds: True, False, or None where it cannot be judged.

Each rule takes whether the alarm is active, so that the deadband lies between raising and
clearing. Probabilities and concentrations come from the last estimate.
"""

RAISE_AT_PROBABILITY = 0.9  # nine in ten: our judgement of when waking a person is worth it
CLEAR_AT_PROBABILITY = 0.5
AMMONIA_DEADBAND = 0.1  # share of the limit; below a kit's smallest colour step
MISSED_READINGS = 5.0  # intervals without a usable reading, and at least a minute
SHORTEST_SILENCE_S = 60.0


def residual_oxidant(
    p_over_limit: float, p_carried_over: float, sees: bool, active: bool
) -> bool | None:
    """Residual over the tank's limit with high probability; unknown when blind and undecided.

    `p_over_limit`: that it exceeds the limit now; `p_carried_over`: that it has since the refill.
    A carry-over that is as good as certain and more likely than not still there also raises.
    """
    likely = p_over_limit >= CLEAR_AT_PROBABILITY
    sure = max(p_over_limit, p_carried_over) >= RAISE_AT_PROBABILITY
    if likely and (sure or active):
        return True
    return False if sees else None


def free_ammonia(middle_mg_l: float | None, limit_mg_l: float, active: bool) -> bool | None:
    """Median un-ionised ammonia over the limit [mg/L as N]; unknown without pH or temperature."""
    if middle_mg_l is None:
        return None
    level = limit_mg_l * (1.0 - AMMONIA_DEADBAND) if active else limit_mg_l
    return middle_mg_l >= level


def silence_allowed_s(every_s: float) -> float:
    """How long [s] a probe read each `every_s` may be silent before it counts as lost."""
    return max(MISSED_READINGS * every_s, SHORTEST_SILENCE_S)
