"""What each channel makes of a reading, beside Student's t written out by hand.

With four degrees of freedom the density at `off` for a variance s is 3/8 s^-1/2 (1 + off^2 / (4 s))
^-5/2 (any table).
"""

import numpy as np
import pytest

from afterfill.inference.filter.streams import Array
from afterfill.inference.model import priors
from afterfill.inference.model.hypotheses import HYPOTHESES, index_of
from afterfill.inference.model.observations import (
    ChlorineKit,
    Moment,
    Orp,
    WaterStep,
    acidity,
    as_read,
    correlated_s,
    temperature,
    tempering,
    unseen,
)
from afterfill.inference.model.particles import (
    ARTEFACT_MV,
    BACKGROUND_MV,
    BACKGROUND_VAR,
    DISTURBANCE_FALL_S,
    DISTURBANCE_MV,
    DISTURBANCE_RISE_S,
    DISTURBANCE_START_S,
    IN_C,
    IN_PH,
    NEUTRALISER,
    PARAMETER_ROWS,
    PH_SLOPE_MV,
    POURED,
    RESPONSE_MV,
    START_S,
    STATE_ROWS,
    Particles,
)

EACH = 2  # particles of a hypothesis
N = EACH * len(HYPOTHESES)
WEIGHTS = np.arange(1.0, N + 1.0) / np.sum(np.arange(1.0, N + 1.0))
FIRST = slice(0, EACH)
EARLY = Moment(600.0, 600.0, announced=True)  # a reading that counts in full


def particles_with(parameters: dict[int, Array], state: dict[int, Array]) -> Particles:
    """Particles that are nothing else."""
    theta = np.zeros((PARAMETER_ROWS, N))
    theta[[DISTURBANCE_RISE_S, DISTURBANCE_FALL_S]] = 1e6
    empty = Particles(theta, np.zeros((STATE_ROWS, N)), WEIGHTS, (EACH,) * len(HYPOTHESES))
    return empty.with_rows(parameters, state)


def student(off: Array, variance: Array) -> Array:
    return np.asarray(0.375 * variance**-0.5 * (1.0 + off**2 / (4.0 * variance)) ** -2.5)


def level(value: float) -> Array:
    return np.full(N, value)


@pytest.mark.parametrize(("ph", "by_ph_mv", "unknown_mv"), [(8.5, -30.0, 0.0), (None, 0.0, 5.0)])
@pytest.mark.parametrize(("step_s", "exponent"), [(600.0, 1.0), (90.0, 0.5)])
@pytest.mark.parametrize("response_mv", [100.0, -100.0])
def test_an_orp_reading(
    ph: float | None,
    by_ph_mv: float,
    unknown_mv: float,
    step_s: float,
    exponent: float,
    response_mv: float,
) -> None:
    """A response, a disturbance of 40 mV that is 1 - exp(-1) there, half of an artefact of
    20 mV; one pH over the reference."""
    background, variance = np.linspace(290.0, 310.0, N), np.linspace(1.0, 30.0, N)
    particles = particles_with(
        {
            DISTURBANCE_MV: level(40.0), DISTURBANCE_START_S: level(500.0),
            DISTURBANCE_RISE_S: level(100.0), DISTURBANCE_FALL_S: level(np.inf),
            ARTEFACT_MV: level(20.0), PH_SLOPE_MV: level(-30.0),
        },
        {
            RESPONSE_MV: level(response_mv), NEUTRALISER: level(0.5),
            BACKGROUND_MV: background, BACKGROUND_VAR: variance,
        },
    )  # fmt: skip
    moment = Moment(600.0, step_s, announced=True)
    after, above_mv = Orp(3.0, ph).update(particles, 430.0, moment)
    signal = response_mv + 40.0 * (1.0 - np.exp(-1.0)) - 10.0
    off = 430.0 - background - signal - by_ph_mv
    grown = variance + 6.25 * step_s / 3600.0
    noise = 9.0 + (1.0 + 0.2 * abs(signal) + unknown_mv) ** 2
    heavy = noise / exponent * (1.0 + off**2 / (4.0 * (grown + noise))) / 1.25
    gain = grown / (grown + heavy)
    weights = WEIGHTS * student(off, grown + noise) ** exponent
    assert above_mv == pytest.approx(WEIGHTS @ off)
    assert after.state[BACKGROUND_MV] == pytest.approx(background + gain * off)
    assert after.state[BACKGROUND_VAR] == pytest.approx((1.0 / grown + 1.0 / heavy) ** -1)
    assert after.weights == pytest.approx(weights / weights.sum())
    assert np.array_equal(particles.state[BACKGROUND_MV], background)


def test_without_a_reading_the_background_wanders_by_2_5_mv_in_a_root_hour() -> None:
    after = unseen(particles_with({}, {BACKGROUND_VAR: level(4.0)}), 1800.0)
    assert after.state[BACKGROUND_VAR] == pytest.approx(level(4.0 + 6.25 / 2.0))


def test_a_reading_counts_by_how_far_it_is_from_the_one_before_it() -> None:
    """Independent are readings 3 min apart; each second after 20 min adds 0.6 s."""
    assert [correlated_s(at_s) for at_s in (-600.0, 0.0, 1200.0)] == [180.0, 180.0, 180.0]
    assert correlated_s(2200.0) == pytest.approx(780.0)
    assert tempering(Moment(600.0, 45.0, announced=True)) == pytest.approx(0.25)
    assert tempering(Moment(2200.0, 78.0, announced=True)) == pytest.approx(0.1)


def test_a_residual_is_read_as_wide_as_the_law_is_doubted() -> None:
    log_read = np.log(as_read(np.full(2000, 0.2)))
    assert np.mean(log_read) == pytest.approx(np.log(0.2), abs=1e-6)
    assert np.std(log_read) == pytest.approx(0.3, rel=0.01)


# --- temperature and pH --------------------------------------------------------------------------

COLD = particles_with(
    {IN_C: level(15.0), IN_PH: level(8.5), START_S: np.tile([-300.0, 300.0], N // EACH)},
    {POURED: np.tile([0.2, 0.05], N // EACH)},
)


def growth_of(
    off: Array, expected: Array, sds: tuple[float, float, float], span: float, hours: float
) -> Array:
    """The likelihood of a step that is `off` from the expected one, one in twenty an outlier."""
    step_sd, drift_sd, share_sd = sds
    variance = step_sd**2 + drift_sd**2 * hours + (share_sd * expected) ** 2
    return np.asarray(0.95 * student(off, variance) + 0.05 / span)


def grown_within(after: Particles) -> float:
    """What the first of two particles of a hypothesis gained over the second."""
    first, second = after.weights[FIRST] / WEIGHTS[FIRST]
    return float(first / second)


@pytest.mark.parametrize(("at_s", "hours", "trend_hours"), [
    (-60.0, 0.0, 0.0), (1800.0, 0.5, 0.5), (7200.0, 2.0, 1.5),
])  # fmt: skip
@pytest.mark.parametrize("step_s", [150.0, 900.0, 60.0, 5000.0])
def test_a_look_at_the_temperature(
    at_s: float, hours: float, trend_hours: float, step_s: float
) -> None:
    """The step goes with 90 min from each particle's own beginning; a room's course goes straight
    on for as long. Beyond its drift, a look stands for 150 s, and after a quarter of an hour for
    0.6 s more with each second: a drift is the same in all looks."""
    exponent = min(step_s / (150.0 + 0.6 * max(at_s - 900.0, 0.0)), 1.0)
    moment = Moment(at_s, step_s, announced=True)
    after = temperature(25.0, 0.4).update(COLD, 24.5, moment)
    since_s = np.maximum(at_s - np.array([-300.0, 300.0]), 0.0)
    expected = -10.0 * np.array([0.2, 0.05]) * np.exp(-since_s / 5400.0)
    off = 24.5 - 25.0 - 0.4 * trend_hours - expected
    growth = growth_of(off, expected, (0.15, 0.3, 0.12), 8.0, hours) ** exponent
    assert grown_within(after) == pytest.approx(growth[0] / growth[1])


@pytest.mark.parametrize("step_s", [400.0, 100.0, 2020.0, 3000.0])
def test_a_look_at_the_ph(step_s: float) -> None:
    """It does not go back by itself, and has no course of its own."""
    after = acidity(7.5).update(COLD, 7.6, Moment(3600.0, step_s, announced=True))
    exponent = min(step_s / (400.0 + 0.6 * 2700.0), 1.0)
    expected = 1.0 * np.array([0.2, 0.05])
    growth = growth_of(0.1 - expected, expected, (0.04, 0.08, 0.25), 2.0, 1.0) ** exponent
    assert grown_within(after) == pytest.approx(growth[0] / growth[1])


def test_a_temperature_without_a_course_of_its_own_has_none() -> None:
    moment = Moment(1800.0, 60.0, announced=True)
    said, unsaid = temperature(25.0, 0.0), temperature(25.0)
    assert said.update(COLD, 24.5, moment).weights == pytest.approx(
        unsaid.update(COLD, 24.5, moment).weights
    )


@pytest.mark.parametrize("announced", [True, False])
def test_hypotheses_that_pour_gain_as_much_as_they_do_together(announced: bool) -> None:
    """Where water was announced, all of them pour."""
    never = [index_of("disturbance"), index_of("steady-influence")]
    theta, poured = level(15.0), np.linspace(0.0, 0.2, N)
    particles = particles_with({IN_C: theta}, {POURED: poured})
    channel = WaterStep(IN_C, 25.0, 0.2, 0.0, 0.0, 8.0, 100.0)
    after = channel.update(particles, 24.0, Moment(0.0, 100.0, announced))
    expected = -10.0 * poured
    grown = WEIGHTS * growth_of(-1.0 - expected, expected, (0.2, 0.0, 0.0), 8.0, 0.0)
    before, gained = WEIGHTS.reshape(-1, EACH).sum(axis=1), grown.reshape(-1, EACH).sum(axis=1)
    pours = np.array([announced or n not in never for n in range(len(HYPOTHESES))])
    gained[pours] = before[pours] * gained[pours].sum() / before[pours].sum()
    found = after.weights.reshape(-1, EACH).sum(axis=1)
    assert found == pytest.approx(gained / gained.sum())
    assert grown_within(after) == pytest.approx((grown[0] / grown[1]) / (WEIGHTS[0] / WEIGHTS[1]))


def test_a_look_at_the_temperature_loses_no_particle_for_good() -> None:
    weights = np.where(np.arange(N) == 0, 1e-250, 1.0 / N)
    lost = COLD.with_weights(weights)
    for _ in range(3):
        lost = temperature(25.0).update(lost, 30.0, Moment(0.0, 600.0, announced=False))
    assert np.min(lost.weights) >= 1e-250
    assert lost.weights.sum() == pytest.approx(1.0)


def test_a_hypothesis_that_weighs_nothing_is_no_error_and_can_come_back() -> None:
    weights = np.where(np.arange(N) < EACH, 0.0, 1.0 / (N - EACH))
    moment = Moment(0.0, 600.0, announced=True)
    after = temperature(25.0).update(COLD.with_weights(weights), 24.0, moment).weights
    assert np.all(after[FIRST] == 1e-250)
    assert after.sum() == pytest.approx(1.0)


def test_particles_of_one_group_are_told_apart_as_any_are() -> None:
    """A past watch has no hypotheses any more, whether its water was announced or not."""
    past = Particles(COLD.parameters, COLD.state, COLD.weights, (N,))
    told, felt = (
        temperature(25.0).update(past, 24.0, Moment(0.0, 600.0, announced)).weights
        for announced in (True, False)
    )
    assert told == pytest.approx(felt)
    assert not np.allclose(told, WEIGHTS)


# --- a chlorine kit ------------------------------------------------------------------------------


@pytest.mark.parametrize("shown", [0.005, 0.5, 0.9])
def test_a_chlorine_test(shown: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """One in twenty reads anything below the truth; one in fifty what is no chlorine, anything up
    to 2 mg/L here."""
    monkeypatch.setattr(priors, "KIT_HIGH_MG_L", 2.0)
    of = np.resize([0.0, 0.01, 0.3, 0.5, 1.0], N)
    floor, share = priors.KIT_FLOOR_MG_L, priors.KIT_SHARE
    low = np.where(shown < of, 0.05 / np.maximum(of, floor), 0.0)
    fits = student(shown - of, floor**2 + (share * of) ** 2)
    likelihood = 0.93 * fits + low + 0.02 / 2.0
    after = ChlorineKit(of).update(particles_with({}, {}), shown)
    assert after.weights == pytest.approx(WEIGHTS * likelihood / (WEIGHTS @ likelihood))
