"""What may be going on, a class each: how likely it is beforehand, and how its particles differ.

A hypothesis shapes what was drawn from the common priors (`parameters`): whether water is poured,
what dose it got, what else moves the ORP, and what was in the tank. To add one: a class, its priors
and a row in HYPOTHESES; nothing else changes.
"""

from dataclasses import replace
from typing import Protocol

import numpy as np

from afterfill.inference.filter.streams import Array, log_normal, normal, uniform
from afterfill.inference.model import disturbance, priors
from afterfill.inference.model.parameters import Start, is_filtered, raw_share, tap_chlorine
from afterfill.inference.model.particles import (
    ANSWER,
    DISTURBANCE_FALL_S,
    DISTURBANCE_MOST_MV,
    DISTURBANCE_MV,
    DISTURBANCE_RISE_S,
    DISTURBANCE_START_S,
    FRACTION,
    IN_COMBINED,
    IN_FREE,
    IN_NEUTRALISER,
    START_S,
)


class Hypothesis(Protocol):
    """`name` tells it from the others; `size` is its number of particles; `pours`: whether water
    comes in also where none was announced; `untreated`: its water may be as the source gives it."""

    @property
    def name(self) -> str: ...

    @property
    def size(self) -> int: ...

    @property
    def pours(self) -> bool: ...

    @property
    def untreated(self) -> bool: ...

    def weight(self, start: Start) -> float:
        """How likely it is beforehand, beside the others."""

    def shaped(self, start: Start, parameters: Array) -> Array:
        """Its parameters, from those drawn of the common priors, shape (25, n)."""

    def neutraliser_mg_l(self, start: Start, n: int) -> Array:
        """What of neutraliser is in the tank before the pour that was not told of, shape (n,) [mg/L
        as Cl2]."""


class _Refill:
    """What the hypotheses have in common."""

    size = 192
    pours = True
    untreated = False

    def neutraliser_mg_l(self, start: Start, n: int) -> Array:
        """None, unless a hypothesis says otherwise."""
        del start
        return np.zeros(n)


class Disturbance(_Refill):
    """No oxidant: the probe moved for another reason. Announced water was dosed."""

    name = "disturbance"
    pours = False

    def weight(self, start: Start) -> float:
        """See Hypothesis."""
        if not start.pour.announced:
            return _suspected(start)[self.name]
        share = priors.DISTURBANCE_WHEN_DISTURBED if start.disturbed else priors.DISTURBANCE
        return share * (1.0 - _short_share(start))

    def shaped(self, start: Start, parameters: Array) -> Array:
        """See Hypothesis."""
        announced, n = start.pour.announced, parameters.shape[1]
        after = _dosed(start, parameters)
        moved = disturbance.of_other_work(n, parameters[START_S], announced=announced)
        for row, values in moved.items():
            after[row] = values
        if not announced:
            after[FRACTION] = 0.0
        return after


class Dosed(_Refill):
    """Neutraliser was given with the water, and mostly suffices; or a filter let nothing through
    that wants any."""

    name = "dosed"

    def weight(self, start: Start) -> float:
        """See Hypothesis."""
        if not start.pour.announced:
            suspected = _suspected(start)
            return suspected[self.name] + suspected["short"] * (1.0 - raw_share(start.pour.water))
        share = priors.DISTURBANCE_WHEN_DISTURBED if start.disturbed else priors.DISTURBANCE
        return (1.0 - share) * (1.0 - _short_share(start))

    def shaped(self, start: Start, parameters: Array) -> Array:
        """See Hypothesis."""
        return _dosed(start, parameters)


class Short(_Refill):
    """Neutraliser was forgotten, used up or too little: nothing in half of the particles, and
    always where none was said to be dosed. Behind a filter it is raw water that was let through in
    all particles: among those drawn at large, few would hold any, and none perhaps like this probe.
    """

    name = "short"
    untreated = True

    def weight(self, start: Start) -> float:
        """See Hypothesis."""
        share = _short_share(start)
        if not start.pour.announced:
            share = _suspected(start)["short"] * raw_share(start.pour.water)
        return share * (1.0 - priors.FAINT)

    def shaped(self, start: Start, parameters: Array) -> Array:
        """See Hypothesis."""
        parameters = _let_through(start, parameters)
        part = np.zeros(parameters.shape[1])
        if start.pour.neutraliser_ml != 0.0:
            part = np.maximum(uniform(part.size, "short part") - 0.5, 0.0) * 1.8
        raw = parameters[IN_FREE] + parameters[IN_COMBINED]
        return _neutralised(parameters, raw * part)


class ShortUnanswered(Short):
    """The same, and the electrode hardly answers combined chlorine: fouled, aged, or of a law that
    is blind to little. Without it an ORP that stands still would be proof of clean water."""

    name = "short-unanswered"
    size = 64

    def weight(self, start: Start) -> float:
        """See Hypothesis."""
        return super().weight(start) * priors.FAINT / (1.0 - priors.FAINT)

    def shaped(self, start: Start, parameters: Array) -> Array:
        """See Hypothesis."""
        after = super().shaped(start, parameters)
        after[ANSWER] = priors.FAINT_ANSWER * uniform(parameters.shape[1], "answer")
        return after


class DosedBeforehand(_Refill):
    """Neutraliser was put into the tank before the pour, which nothing was said of: the water comes
    as the source gives it, and meets a surplus."""

    name = "dosed-beforehand"
    size = 64

    def weight(self, start: Start) -> float:
        """See Hypothesis."""
        if not start.pour.announced:
            return priors.BEFOREHAND_WHEN_SUSPECTED
        return _short_share(start) * priors.BEFOREHAND_OF_SHORT

    def shaped(self, start: Start, parameters: Array) -> Array:
        """See Hypothesis."""
        del start
        return parameters

    def neutraliser_mg_l(self, start: Start, n: int) -> Array:
        """A dose for the whole tank at the source's usual strength, or some times that."""
        usual_mg_l = start.pour.water.residual_mg_l
        return log_normal(n, "dosed beforehand", usual_mg_l, priors.BEFOREHAND_SIGMA)


class SteadyInfluence(_Refill):
    """A steady oxidising influence that is no refill: a lamp, ozone, a medicine. The ORP rises in
    minutes to an hour, by more than feeding does, and stays for hours."""

    name = "steady-influence"
    size = 64
    pours = False

    def weight(self, start: Start) -> float:
        """See Hypothesis."""
        if start.oxidised:  # water that was told of untreated is not dosed by a lamp
            dosed = 1.0 - _short_share(start) if start.pour.announced else 1.0
            return dosed * priors.STEADY_WHEN_TOLD
        return priors.STEADY_WHEN_DISTURBED if start.disturbed else priors.STEADY

    def shaped(self, start: Start, parameters: Array) -> Array:
        """See Hypothesis."""
        n = parameters.shape[1]
        after = _dosed(start, parameters)
        after[DISTURBANCE_MV] = log_normal(
            n, "steady height", priors.STEADY_MV, priors.STEADY_SIGMA
        )
        after[DISTURBANCE_START_S] = parameters[START_S]
        after[DISTURBANCE_RISE_S] = 60.0 * log_normal(
            n, "steady rise", priors.STEADY_RISE_MIN, priors.STEADY_RISE_SIGMA
        )
        after[DISTURBANCE_FALL_S] = 3600.0 * log_normal(
            n, "steady fall", priors.STEADY_FALL_H, priors.STEADY_FALL_SIGMA
        )
        after[DISTURBANCE_MOST_MV] = priors.STEADY_MOST_MV
        if not start.pour.announced:
            after[FRACTION] = 0.0
        return after


HYPOTHESES: tuple[Hypothesis, ...] = (
    Disturbance(), Dosed(), Short(), DosedBeforehand(), SteadyInfluence(), ShortUnanswered(),
)  # fmt: skip
SIZES = tuple(hypothesis.size for hypothesis in HYPOTHESES)
N = sum(SIZES)
NEVER_POURS = frozenset(n for n, h in enumerate(HYPOTHESES) if not h.pours)
UNTREATED = frozenset(n for n, h in enumerate(HYPOTHESES) if h.untreated)


def index_of(name: str) -> int:
    """The place of a hypothesis in the registry. Raises ValueError for a name that is none."""
    return [hypothesis.name for hypothesis in HYPOTHESES].index(name)


def prior_weights(start: Start, sizes: tuple[int, ...] = SIZES) -> Array:
    """Weight of each particle before any reading, adding up to one."""
    weights = np.array([max(h.weight(start), 1e-9) for h in HYPOTHESES])
    return np.asarray(np.repeat(weights / weights.sum() / np.array(sizes), sizes))


def _suspected(start: Start) -> dict[str, float]:
    return priors.SUSPECTED_WHEN_DISTURBED if start.disturbed else priors.SUSPECTED


def _short_share(start: Start) -> float:
    """How likely it is that water comes which holds chlorine and got too little."""
    return raw_share(start.pour.water) * _undosed_share(start.pour.neutraliser_ml)


def _undosed_share(ml: float | None) -> float:
    if ml is None:
        return priors.SHORT_WHEN_UNKNOWN
    return priors.SHORT_WHEN_DOSED if ml > 0 else priors.SHORT_WHEN_SAID_NONE


def _let_through(start: Start, parameters: Array) -> Array:
    """The parameters with raw water where a filter should have kept it from being that."""
    water = start.pour.water
    if not is_filtered(water):
        return parameters
    after = parameters.copy()
    raw = replace(water, breakthrough=1.0)
    after[IN_FREE], after[IN_COMBINED] = tap_chlorine(raw, parameters.shape[1])
    return after


def _dosed(start: Start, parameters: Array) -> Array:
    """As dosed as was said, or else to the label, and rather too much."""
    setup, n = start.setup, parameters.shape[1]
    z = normal(n, "dose strength")
    if start.pour.neutraliser_ml and setup.mg_cl2_per_ml is not None:
        litres = np.maximum(parameters[FRACTION] * setup.litres, 1e-3)
        given_mg = start.pour.neutraliser_ml * setup.mg_cl2_per_ml
        capacity = np.exp(priors.STRENGTH_SIGMA * z) * given_mg / litres
    else:
        capacity = (parameters[IN_FREE] + parameters[IN_COMBINED]) * (1.0 + np.abs(z))
    return _neutralised(parameters, capacity)


def _neutralised(parameters: Array, capacity: Array) -> Array:
    """The incoming water after neutraliser for `capacity` (n,) [mg/L as Cl2]: one chlorine takes
    one equivalent whether free or combined."""
    after = parameters.copy()
    raw = parameters[IN_FREE] + parameters[IN_COMBINED]
    left = np.maximum(raw - capacity, 0.0) / np.maximum(raw, 1e-9)
    after[IN_FREE] *= left
    after[IN_COMBINED] *= left
    after[IN_NEUTRALISER] = np.maximum(capacity - raw, 0.0)
    return after
