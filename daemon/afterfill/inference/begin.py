"""How a watch begins: in the past, on the readings that are still at hand."""

import math
from dataclasses import replace

import numpy as np

from afterfill.chemistry.stoichiometry import MG_CL2_PER_MG_N
from afterfill.inference import disturbances, doses, history, prior, sight
from afterfill.inference.bank import Bank, Traits
from afterfill.inference.baseline import corrected_mv
from afterfill.inference.belief import Belief
from afterfill.inference.draws import Array
from afterfill.inference.history import known
from afterfill.inference.launch import as_cold_as_felt, launched, share_of, tap_sigma
from afterfill.inference.learnt import TRAITS
from afterfill.inference.response import PH_REFERENCE
from afterfill.inference.ridge import Ridge
from afterfill.inference.setup import Pour, Setup
from afterfill.inference.watch import Watch, advanced, dosed
from afterfill.inference.water import hocl_at, temperature_at

_BEFORE_S = 2700.0  # the background is learnt from this long before the pour
_EARLIEST_S = {True: 240.0, False: 900.0}  # how long before the watch's zero water may have come
_UNKNOWN_VAR = 200.0**2  # mV^2: a probe met for the first time
_LEAST_SD_MV = 0.7  # of a background: slow noise does not average away
_NUISANCE_CHANGES = 0.2  # of it within some twenty minutes: it comes and goes; our judgement
_INHERITED = ("b_mv", "c0_mg_l", "w_ocl", "w_combined", "ph_slope_mv", "fall_s", "dip_mv")
_USUAL_C = 25.0  # stands in where no temperature is known


def begun(setup: Setup, belief: Belief, pour: Pour, time_s: float) -> Watch:
    """A watch over `pour` that has seen all readings up to `time_s` [s].

    A pour into a tank that is still being watched inherits that watch's water and electrodes.
    """
    early_s = pour.time_s - _EARLIEST_S[pour.announced]
    before = history.span(belief.history, early_s - _BEFORE_S, early_s)
    base_mv, base_var = _background(belief, before)
    ph = history.middle(before[-30:, history.PH])
    tank_c = history.middle(before[-30:, history.TEMPERATURE])
    if tank_c is None:
        tank_c = temperature_at(belief, time_s)
    disturbed = pour.time_s < belief.disturbed_until_s
    bank = launched(
        setup, pour, base_mv, base_var, _USUAL_C if tank_c is None else tank_c,
        share_of(pour, disturbed), belief.learnt, PH_REFERENCE if ph is None else ph,
    )  # fmt: skip
    bank = replace(bank, traits=_as_felt(bank.traits, belief, pour, tank_c, time_s))
    bank = _at_reference_ph(bank, belief, ph)
    bank = replace(bank, capture_mg_l=_capture_mg_l(belief, bank.free.size))
    if belief.watch is not None:
        early_s = max(early_s, belief.watch.last_s)
        bank = _inherited(bank, belief.watch, early_s - pour.time_s)
    else:
        left = doses.as_believed(doses.left_mg_l(belief.doses, early_s), bank.free.size)
        bank = replace(bank, surplus=left)
    ends_s = bank.traits.start_s + bank.traits.pour_s
    poured_by_s = pour.time_s + float(np.quantile(ends_s, 0.9))
    all_in_s = pour.time_s + float(np.max(ends_s))
    watch = Watch(
        pour, pour.time_s, early_s, bank, setup.limit_mg_l, tank_c, ph, poured_by_s, all_in_s,
        ridge=_ridge(pour, belief), refill_time_s=pour.time_s,
    )  # fmt: skip
    if belief.watch is not None:  # its stories know of the doses
        belief = replace(belief, doses=doses.none())
    return _caught_up(watch, belief, time_s)


def _as_felt(
    traits: Traits, belief: Belief, pour: Pour, tank_c: float | None, time_s: float
) -> Traits:
    """The traits as the cold that raised a suspicion, or a probe just back from the air, has it."""
    if pour.announced:
        back_s = sight.back_s(belief.sight, time_s)
        return traits if back_s is None else disturbances.wetted(traits, back_s - pour.time_s)
    now_c = temperature_at(belief, time_s)
    if now_c is None or tank_c is None:
        return traits
    known = pour.water.temperature_c is not None
    return as_cold_as_felt(traits, tank_c, now_c - tank_c, source_known=known)


def _ridge(pour: Pour, belief: Belief) -> Ridge | None:
    if belief.watch is not None:
        return None
    place = TRAITS.index("c0_mg_l")
    learnt = belief.learnt
    return Ridge(tap_sigma(pour.water), float(learnt.mean[place]), float(learnt.sd[place]))


def _background(belief: Belief, before: Array) -> tuple[float, float]:
    """ORP without oxidant at the reference pH [mV] and its variance [mV^2] before the pour."""
    slope_mv = belief.learnt.ph_slope_mv
    corrected = [corrected_mv(row[history.ORP], known(row[history.PH]), slope_mv) for row in before]
    level = history.middle(np.array(corrected)) if corrected else None
    if level is not None:
        quiet = 1.0 / max(len(corrected), 1)
        return level, _LEAST_SD_MV**2 + prior.WANDER_MV_PER_SQRT_H**2 * (0.3 + quiet)
    if belief.baseline is not None:
        return belief.baseline.level_mv, 5.0**2
    return 300.0, _UNKNOWN_VAR


def _capture_mg_l(belief: Belief, n: int) -> Array:
    """Free chlorine that the tank's ammonia, as believed now, can bind, each of its members met
    equally often."""
    total = belief.ammonia.total
    return np.asarray(MG_CL2_PER_MG_N * total[(np.arange(n) * 37) % total.size])


def _at_reference_ph(bank: Bank, belief: Belief, ph: float | None) -> Bank:
    """Each member's own pH slope must explain the same ORP at the pH before the pour."""
    if ph is None:
        return bank
    own = bank.traits.ph_slope_mv - belief.learnt.ph_slope_mv
    return replace(bank, base_mv=bank.base_mv - own * (ph - PH_REFERENCE))


def _inherited(bank: Bank, old: Watch, from_s: float) -> Bank:
    """The new stories start in the old ones' water, electrode and background, each old member
    met in proportion to its weight. What else moved the ORP stays where it is, and counts as
    background. No water comes before `from_s` [s after the new zero]: the old ones have had it."""
    reached = np.cumsum(old.bank.weights)
    n = reached.size
    index = np.minimum(np.searchsorted(reached, reached[-1] * (np.arange(n) + 0.5) / n), n - 1)
    index = index[(np.arange(n) * 229) % n]  # 229 shares no factor with 576: mixes the kinds
    other_mv = old.bank.traits.nuisance_mv * disturbances.share(
        old.bank.traits, old.last_s - old.zero_s
    )
    changing_var = 1.0 + (_NUISANCE_CHANGES * other_mv) ** 2
    return replace(
        bank,
        free=old.bank.free[index],
        combined=old.bank.combined[index],
        surplus=old.bank.surplus[index],
        response_mv=old.bank.response_mv[index],
        base_mv=(old.bank.base_mv + other_mv)[index],
        base_var=(old.bank.base_var + changing_var)[index],
        traits=replace(
            bank.traits,
            start_s=np.maximum(bank.traits.start_s, from_s),
            **{name: getattr(old.bank.traits, name)[index] for name in _INHERITED},
        ),
    )


def _caught_up(watch: Watch, belief: Belief, time_s: float) -> Watch:
    noise_mv = prior.NOISE_MV if belief.baseline is None else belief.baseline.noise_mv
    for row in history.span(belief.history, watch.last_s, time_s + 0.0005):
        moment_s = float(row[history.TIME])
        watch = advanced(
            _with_doses(watch, belief, moment_s), moment_s, known(row[history.ORP]),
            known(row[history.PH]), known(row[history.TEMPERATURE]), hocl_at(belief, time_s),
            noise_mv,
        )  # fmt: skip
    if math.isclose(watch.last_s, time_s, abs_tol=0.0005):
        return watch
    watch = _with_doses(watch, belief, time_s)
    return advanced(watch, time_s, None, None, None, hocl_at(belief, time_s), noise_mv)


def _with_doses(watch: Watch, belief: Belief, until_s: float) -> Watch:
    """With what went into the tank since the watch was last looked at."""
    mg_l = doses.between_mg_l(belief.doses, watch.last_s, until_s)
    return dosed(watch, mg_l) if mg_l > 0.0 else watch
