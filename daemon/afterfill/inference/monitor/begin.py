"""How a watch begins: in the past, on the readings that are still at hand."""

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from afterfill.chemistry.stoichiometry import MG_CL2_PER_MG_N
from afterfill.inference import doses, history
from afterfill.inference.belief import Belief
from afterfill.inference.calibration.learnt import PARAMETERS as LEARNT
from afterfill.inference.conditions import binding_at, hocl_at, temperature_at
from afterfill.inference.filter.streams import Array
from afterfill.inference.history import known
from afterfill.inference.model import disturbance, priors
from afterfill.inference.model.electrode import PH_REFERENCE, artefact_mv
from afterfill.inference.model.hypotheses import NEVER_POURS
from afterfill.inference.model.initial import as_cold_as_felt, drawn_particles
from afterfill.inference.model.parameters import INHERITED, Start, is_filtered, tap_sigma
from afterfill.inference.model.particles import (
    BACKGROUND_MV,
    BACKGROUND_VAR,
    CAPACITY,
    COMBINED,
    FREE,
    NEUTRALISER,
    PH_SLOPE_MV,
    POUR_S,
    RESPONSE_MV,
    START_S,
    Particles,
)
from afterfill.inference.model.regularisation import Ridge
from afterfill.inference.monitor import data_quality, habits
from afterfill.inference.monitor.baseline import corrected_mv
from afterfill.inference.monitor.thinning import met, thinned
from afterfill.inference.monitor.watch import (
    UNKNOWN_VAR,
    Seen,
    Watch,
    advanced,
    believed_in,
    dosed,
)
from afterfill.inference.setup import Pour, Setup, Water

_BEFORE_S = 2700.0  # the background is learnt from this long before the pour
_EARLIEST_S = {True: 240.0, False: 900.0}  # how long before the watch's zero water may have come
_LEAST_SD_MV = 0.7  # of a background: slow noise does not average away
_DISTURBANCE_CHANGES = 0.2  # of it within some twenty minutes: it comes and goes; our judgement
_FEW = 32  # a snapshot must stay small
_USUAL_C = 25.0  # stands in where no temperature is known


def begun(setup: Setup, belief: Belief, pour: Pour, time_s: float) -> Watch:
    """A watch over `pour` that has seen all readings up to `time_s` [s].

    A pour into a tank that is still being watched inherits that watch's water and electrodes.
    """
    early_s = pour.time_s - _EARLIEST_S[pour.announced]
    before = history.span(belief.history, early_s - _BEFORE_S, early_s)
    ph = history.middle(before[-30:, history.PH])
    tank_c = history.middle(before[-30:, history.TEMPERATURE])
    if tank_c is None:
        tank_c = temperature_at(belief, time_s)
    water = belief.water_of(pour.water, pour.time_s)
    start = Start(
        setup, replace(pour, water=water), belief.learnt, _USUAL_C if tank_c is None else tank_c,
        PH_REFERENCE if ph is None else ph, pour.time_s < belief.disturbed_until_s,
        is_oxidised(belief, pour),
    )  # fmt: skip
    particles = drawn_particles(start, *_background(belief, before))
    particles = _as_felt(particles, belief, pour, tank_c, time_s)
    particles = _at_reference_ph(particles, belief, ph)
    particles = _with_capacity(particles, belief)
    old = belief.holding
    if old is not None:
        early_s = max(early_s, old.last_s)
        level_mv, level_var = particles.state[[BACKGROUND_MV, BACKGROUND_VAR]]
        particles = _inherited(particles, old, early_s - pour.time_s)
        if belief.watch is None:
            particles = _at_level(particles, level_mv, level_var)
    else:
        particles = _with_doses_before(particles, belief, early_s)
    ends_s = particles.parameters[START_S] + particles.parameters[POUR_S]
    watch = Watch(
        pour, pour.time_s, early_s, particles, setup.limit_mg_l, tank_c, ph,
        poured_by_s=pour.time_s + float(np.quantile(ends_s, 0.9)),
        all_in_s=pour.time_s + float(np.max(ends_s)),
        ridge=_ridge(water, belief), water=water, refill_time_s=pour.time_s, masked=start.oxidised,
        before=None if old is None else thinned(believed_in(old), _FEW),
        trend_k_per_h=0.0 if belief.baseline is None else belief.baseline.trend_k_per_h(),
    )  # fmt: skip
    if old is not None:  # its particles know of the doses
        belief = belief._replace(doses=doses.none())
    return _caught_up(setup, watch, belief, time_s)


def is_oxidised(belief: Belief, pour: Pour) -> bool:
    """Whether a lamp, ozone or a medicine was told of, or the ORP always rises at this hour."""
    if pour.time_s < belief.oxidised_until_s:
        return True
    return not pour.announced and habits.is_habit(belief.risen_s, pour.time_s)


def _as_felt(
    particles: Particles, belief: Belief, pour: Pour, tank_c: float | None, time_s: float
) -> Particles:
    """The particles as the cold that raised a suspicion, or a probe just back from the air, has
    them."""
    if pour.announced:
        back_s = data_quality.back_s(belief.sight, time_s)
        if back_s is None:
            return particles
        theta = disturbance.wetted(
            particles.parameters, back_s - pour.time_s, _is_disturbance(particles)
        )
    else:
        now_c = temperature_at(belief, time_s)
        if now_c is None or tank_c is None:
            return particles
        known_c = pour.water.temperature_c is not None
        theta = as_cold_as_felt(particles.parameters, tank_c, now_c - tank_c, source_known=known_c)
    return Particles(theta, particles.state, particles.weights, particles.sizes)


def _is_disturbance(particles: Particles) -> NDArray[np.bool_]:
    found = np.zeros(particles.weights.size, dtype=np.bool_)
    for number in NEVER_POURS:
        found[particles.groups[number]] = True
    return found


def _ridge(water: Water, belief: Belief) -> Ridge | None:
    if belief.holding is not None or is_filtered(water):
        return None
    place = LEARNT.index("c0_mg_l")
    learnt = belief.learnt
    return Ridge(tap_sigma(water), float(learnt.mean[place]), float(learnt.sd[place]))


def _background(belief: Belief, before: Array) -> tuple[float, float]:
    """ORP without oxidant at the reference pH [mV] and its variance [mV^2] before the pour."""
    slope_mv = belief.learnt.ph_slope_mv
    corrected = [corrected_mv(row[history.ORP], known(row[history.PH]), slope_mv) for row in before]
    level = history.middle(np.array(corrected)) if corrected else None
    if level is not None:
        quiet = 1.0 / max(len(corrected), 1)
        return level, _LEAST_SD_MV**2 + priors.WANDER_MV_PER_SQRT_H**2 * (0.3 + quiet)
    if belief.baseline is not None:
        return belief.baseline.level_mv, 5.0**2
    return 300.0, UNKNOWN_VAR


def _with_capacity(particles: Particles, belief: Belief) -> Particles:
    """With the free chlorine that the tank's ammonia, as believed now, can bind, each of its
    members met equally often."""
    total = belief.ammonia.total
    members = (np.arange(particles.weights.size) * 37) % total.size
    return particles.with_rows(state={CAPACITY: MG_CL2_PER_MG_N * total[members]})


def _at_reference_ph(particles: Particles, belief: Belief, ph: float | None) -> Particles:
    """Each particle's own pH slope must explain the same ORP at the pH before the pour."""
    if ph is None:
        return particles
    own = particles.parameters[PH_SLOPE_MV] - belief.learnt.ph_slope_mv
    background = particles.state[BACKGROUND_MV] - own * (ph - PH_REFERENCE)
    return particles.with_rows(state={BACKGROUND_MV: background})


def _with_doses_before(particles: Particles, belief: Belief, early_s: float) -> Particles:
    left_mg_l = doses.left_mg_l(belief.doses, early_s)
    known_mg_l = doses.as_believed(left_mg_l, particles.weights.size)
    surplus = particles.state[NEUTRALISER] + known_mg_l
    return particles.with_rows(state={NEUTRALISER: surplus})


def _inherited(particles: Particles, old: Watch, from_s: float) -> Particles:
    """The new particles start in the old ones' water, electrode and background, each old one met in
    proportion to its weight. What else moved the ORP stays where it is, and counts as background.
    No water comes before `from_s` [s after the new zero]: the old ones have had it."""
    theta, state, index = (
        old.particles.parameters,
        old.particles.state,
        met(old.particles, particles.weights.size),
    )
    other_mv = disturbance.moved_mv(theta, old.last_s - old.zero_s)
    changing_var = 1.0 + (_DISTURBANCE_CHANGES * other_mv) ** 2
    rows = {row: state[row, index] for row in (FREE, COMBINED, NEUTRALISER, RESPONSE_MV)}
    rows[BACKGROUND_MV] = (state[BACKGROUND_MV] + other_mv)[index]
    rows[BACKGROUND_VAR] = (state[BACKGROUND_VAR] + changing_var)[index]
    later_s = np.maximum(particles.parameters[START_S], from_s)
    taken_over = {row: theta[row, index] for row in INHERITED}
    return particles.with_rows({START_S: later_s, **taken_over}, rows)


def _at_level(particles: Particles, level_mv: Array, level_var: Array) -> Particles:
    """The particles with backgrounds that explain the level before the pour, each with what its own
    water makes of it: that level is known well, and tells nothing of how it comes about."""
    made_mv = particles.state[RESPONSE_MV] - artefact_mv(particles)
    state = {BACKGROUND_MV: level_mv - made_mv, BACKGROUND_VAR: level_var}
    return particles.with_rows(state=state)


def _caught_up(setup: Setup, watch: Watch, belief: Belief, time_s: float) -> Watch:
    noise_mv = priors.NOISE_MV if belief.baseline is None else belief.baseline.noise_mv
    hocl, binding = hocl_at(belief, time_s), binding_at(belief, time_s)
    for row in history.span(belief.history, watch.last_s, time_s + 0.0005):
        moment_s = float(row[history.TIME])
        seen = Seen(
            known(row[history.ORP]), known(row[history.PH]), known(row[history.TEMPERATURE]),
            hocl, binding, noise_mv,
        )  # fmt: skip
        watch = advanced(_with_doses(watch, belief, moment_s), moment_s, seen, setup.law)
    if math.isclose(watch.last_s, time_s, abs_tol=0.0005):
        return watch
    watch = _with_doses(watch, belief, time_s)
    return advanced(watch, time_s, Seen(None, None, None, hocl, binding, noise_mv), setup.law)


def _with_doses(watch: Watch, belief: Belief, until_s: float) -> Watch:
    """With what went into the tank since the watch was last looked at."""
    mg_l = doses.between_mg_l(belief.doses, watch.last_s, until_s)
    return dosed(watch, mg_l) if mg_l > 0.0 else watch
