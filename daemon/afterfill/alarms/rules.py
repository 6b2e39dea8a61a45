"""When each alarm's condition holds: True, False, or None where it cannot be judged.

Each rule takes whether the alarm is active, so that the deadband lies between raising and
clearing. Probabilities and concentrations come from what is believed now. Figures without a
source are our judgement.
"""

RAISE_AT_PROBABILITY = 0.9  # nine in ten: our judgement of when waking a person is worth it
CLEAR_AT_PROBABILITY = 0.5
# After a carry-over as good as certain: raised while it may well be there, over when it has very
# probably gone. The distance between the two keeps the alarm from coming and going.
MAY_BE_THERE_AT, STILL_THERE_AT = 0.25, 0.1
POSSIBLE_FADES_AT = 0.1  # what was possible has probably gone
AMMONIA_DEADBAND = 0.1  # share of the limit; below a kit's smallest colour step
PH_DEADBAND, TEMPERATURE_DEADBAND_C = 0.1, 0.3  # a probe's own wobble over an hour
MISSED_READINGS = 5.0  # intervals without a usable reading, and at least a minute
SHORTEST_SILENCE_S = 60.0
STILL_ORP_FINE_S, STILL_ORP_S = 1200.0, 10_800.0  # as the inference holds an ORP for stuck
STILL_PH_S = 86400.0  # the pH of a tank has a day and a night
STILL_TEMPERATURE_S = 7 * 86400.0  # a thermostat and a probe of 0.1 degrees C can hold for days
ORP_IN_A_TANK_MV = (-300.0, 900.0)  # fouled sediment to bleach; common practice, no source
PH_IN_A_TANK, TEMPERATURE_IN_A_TANK_C = (4.0, 10.5), (1.0, 40.0)  # as the inference holds them
CALIBRATE_EVERY_S = {"orp": 90 * 86400.0, "ph": 60 * 86400.0}  # common practice, no source
SOURCE_TEST_EVERY_S = 182 * 86400.0  # half a year: a tap moves by 1.2 times; our judgement
SHOCK_LASTS_S = 3600.0  # later movement is the heater's or the room's
EXCESS_TANKFULS = 2.0  # a dose for the whole tank, given twice by mistake, is the most to bear
FOREIGN_C, FOREIGN_SD_C = 3.0, 2.0  # a source nearer than that, or its season, tells nothing
DRIFT_C = 0.5  # after the pour has ended and mixed


def residual_oxidant(
    p_over_limit: float, p_carried_over: float, sees: bool, active: bool
) -> bool | None:
    """Residual over the tank's limit with high probability; unknown when blind and undecided.

    `p_over_limit`: that it exceeds the limit now; `p_carried_over`: that it has since the refill.
    A carry-over that is as good as certain also raises while it may well be still there.
    """
    sure = max(p_over_limit, p_carried_over) >= RAISE_AT_PROBABILITY
    there_at = STILL_THERE_AT if active else MAY_BE_THERE_AT
    likely = p_over_limit >= (there_at if sure else CLEAR_AT_PROBABILITY)
    if likely and (sure or active):
        return True
    return False if sees else None


def residual_possible(
    p_over_limit: float, said_possible: bool, sees: bool, sure: bool
) -> bool | None:
    """Neither sure nor ruled out: the verdict is 'possible' and the residual not yet gone, or it
    is more likely there than not. Over when `sure`: then the graver alarm speaks."""
    if sure:
        return False
    if p_over_limit >= (POSSIBLE_FADES_AT if said_possible else CLEAR_AT_PROBABILITY):
        return True
    return False if sees else None


def free_ammonia(middle_mg_l: float | None, limit_mg_l: float, active: bool) -> bool | None:
    """Median un-ionised ammonia over the limit [mg/L as N]; unknown without pH or temperature."""
    if middle_mg_l is None:
        return None
    level = limit_mg_l * (1.0 - AMMONIA_DEADBAND) if active else limit_mg_l
    return middle_mg_l >= level


def free_ammonia_forecast(
    middle_mg_l: float | None, highest_mg_l: float | None, limit_mg_l: float, active: bool
) -> bool | None:
    """Median now below the limit and, at its highest within a day, over it [mg/L as N]."""
    if middle_mg_l is None or highest_mg_l is None:
        return None
    if middle_mg_l >= limit_mg_l:
        return False  # no forecast any more
    return free_ammonia(highest_mg_l, limit_mg_l, active)


def outside(
    value: float | None, limits: tuple[float, float], deadband: float, active: bool
) -> bool | None:
    """A value outside its limits, and until it is inside by the deadband; unknown without it."""
    if value is None:
        return None
    inset = deadband if active else 0.0
    return value < limits[0] + inset or value > limits[1] - inset


def neutraliser_excess(surplus_mg_l: float | None, source_max_mg_l: float) -> bool | None:
    """Surplus in the tank far over what its whole water could need [mg/L as Cl2]."""
    return None if surplus_mg_l is None else surplus_mg_l > EXCESS_TANKFULS * source_max_mg_l


def refill_shock(
    ph_step: float | None, step_c: float | None, ph_bearable: float, bearable_c: float
) -> bool | None:
    """One refill moved pH or temperature [degrees C] by more than is bearable; None where neither
    step is too large and one is not known."""
    if ph_step is not None and abs(ph_step) > ph_bearable:
        return True
    if step_c is not None and abs(step_c) > bearable_c:
        return True
    return None if ph_step is None or step_c is None else False


def running_on(
    before_c: float | None,
    ended_c: float | None,
    now_c: float | None,
    source_c: float | None,
    share: float | None,
) -> bool | None:
    """Whether more water came than was announced, from temperatures [degrees C]: before the
    refill, when its announced minutes were over, now, and of the source. `share` of the tank that
    was announced, 0 to 1. None where source and tank are too alike or nothing was announced."""
    if before_c is None or now_c is None or source_c is None or (share is None and ended_c is None):
        return None
    away_c = source_c - before_c
    if abs(away_c) < FOREIGN_C:
        return None
    towards = 1.0 if away_c > 0.0 else -1.0
    if ended_c is not None and towards * (now_c - ended_c) > DRIFT_C:
        return True
    if share is None:
        return False
    most_c = share * (abs(away_c) + 2.0 * FOREIGN_SD_C) + DRIFT_C
    return towards * (now_c - before_c) > most_c


def silence_allowed_s(every_s: float) -> float:
    """How long [s] a probe read each `every_s` may be silent before it counts as lost."""
    return max(MISSED_READINGS * every_s, SHORTEST_SILENCE_S)


def still_allowed_s(quantity: str, fine: bool) -> float:
    """How long [s] a probe may show the same figure; `fine`: it has shown small steps before."""
    if quantity == "orp":
        return STILL_ORP_FINE_S if fine else STILL_ORP_S
    return STILL_PH_S if quantity == "ph" else STILL_TEMPERATURE_S


def is_odd(quantity: str, value: float) -> bool:
    """Whether no fish tank has this ORP [mV], pH or temperature [degrees C]."""
    if quantity == "orp":
        low, high = ORP_IN_A_TANK_MV
    else:
        low, high = PH_IN_A_TANK if quantity == "ph" else TEMPERATURE_IN_A_TANK_C
    return not low <= value <= high
