"""Members that explain little make room for variations of those that explain much.

Within each kind only, so that a kind's total weight stays what the evidence made it. Each copy
is shrunk towards the mean and moved by another member's own deviation, so that means, variances
and correlations stay as they were (the kernel shrinkage of Liu & West 2001, in: Sequential Monte
Carlo Methods in Practice, ch. 10, with draws from the population itself; from memory).
"""

from dataclasses import fields, replace

import numpy as np
from numpy.typing import NDArray

from afterfill.inference.bank import PER_KIND, Bank, Traits
from afterfill.inference.draws import Array, uniform
from afterfill.inference.response import PH_REFERENCE, signal_mv

_SHRINK = 0.7  # wide: the law is only a shape, and a narrow kernel made intervals too narrow
_MOVE = float(np.sqrt(1.0 - _SHRINK**2))
_LEAST_SHARE = 0.25  # of the kind's members still effective
_TRAITS = (
    "b_mv", "c0_mg_l", "w_combined", "rise_s", "fall_s", "k_free_per_s", "k_combined_per_s",
)  # fmt: skip
_WATER = ("free", "combined", "peak")
_LEAST_TOTAL = 1e-12  # of a kind: it can still come back
_NOTHING_MG_L = 1e-4  # stands for zero where logarithms are taken


def refreshed(bank: Bank, at_s: float, ph: float | None) -> Bank:
    """The bank at `at_s` [s] with each kind resampled that has run thin; the same bank when none
    has."""
    thin = _thin(bank.weights)
    if not thin:
        return bank
    weights = bank.weights.copy()
    index = np.arange(weights.size)
    for kind in thin:
        rows = _rows(kind)
        index[rows] = rows.start + _systematic(bank.weights[rows])
        weights[rows] = max(float(np.sum(weights[rows])), _LEAST_TOTAL) / PER_KIND
    return _varied(
        _taken(bank, index, weights), thin, at_s, 0.0 if ph is None else ph - PH_REFERENCE
    )


def _thin(weights: Array) -> list[int]:
    """The kinds of which too few members still matter; none of a kind that itself matters not."""
    parts = weights.reshape(3, PER_KIND)
    totals, squares = parts.sum(axis=1), (parts * parts).sum(axis=1)
    too_few = totals * totals < _LEAST_SHARE * PER_KIND * squares
    return [k for k in range(3) if too_few[k] and totals[k] > _LEAST_TOTAL]


def _rows(kind: int) -> slice:
    return slice(kind * PER_KIND, (kind + 1) * PER_KIND)


def _systematic(weights: Array) -> NDArray[np.intp]:
    reached = np.cumsum(weights) / np.sum(weights)
    points = (np.arange(weights.size) + 0.5) / weights.size
    return np.minimum(np.searchsorted(reached, points), weights.size - 1)


def _taken(bank: Bank, index: NDArray[np.intp], weights: Array) -> Bank:
    traits = Traits(**{f.name: getattr(bank.traits, f.name)[index] for f in fields(Traits)})
    moving = {
        f.name: getattr(bank, f.name)[index]
        for f in fields(Bank)
        if f.name not in ("traits", "weights")
    }
    return Bank(traits=traits, weights=weights, **moving)


def _varied(bank: Bank, kinds: list[int], at_s: float, ph_off: float) -> Bank:
    """Copies that differ in the law and the water, yet expect the ORP that their likes expect:
    what the readings have taught of the sum of background and signal is not thrown away."""
    traits = {n: np.exp(_moved(np.log(getattr(bank.traits, n)), kinds)) for n in _TRAITS}
    water = {n: _moved_water(getattr(bank, n), kinds) for n in _WATER}
    too_much = _too_much(bank, water["free"] + water["combined"], kinds)
    water["free"], water["combined"] = water["free"] / too_much, water["combined"] / too_much
    water["peak"] = np.maximum(water["peak"], water["free"] + water["combined"])
    by_ph = bank.traits.ph_slope_mv * ph_off
    expected = _moved(bank.base_mv + signal_mv(bank, at_s) + by_ph, kinds)
    varied = replace(
        bank,
        traits=replace(bank.traits, **traits),
        response_mv=_moved(bank.response_mv, kinds),
        **water,
    )
    return replace(varied, base_mv=expected - signal_mv(varied, at_s) - by_ph)


def _too_much(bank: Bank, residual: Array, kinds: list[int]) -> Array:
    """By what factor each copy holds more than the fullest member of its kind; 1 where not."""
    factor = np.ones_like(residual)
    for kind in kinds:
        rows = _rows(kind)
        most = max(float(np.max(bank.residual[rows])), _NOTHING_MG_L)
        factor[rows] = np.maximum(residual[rows] / most, 1.0)
    return factor


def _moved_water(values: Array, kinds: list[int]) -> Array:
    """No copy gets more than the fullest member of its kind had: there was no more water."""
    moved = np.exp(_moved(np.log(values + _NOTHING_MG_L), kinds)) - _NOTHING_MG_L
    for kind in kinds:
        rows = _rows(kind)
        moved[rows] = np.clip(moved[rows], 0.0, np.max(values[rows]))
    return np.asarray(moved)


def _moved(values: Array, kinds: list[int]) -> Array:
    moved = values.copy()
    partner = np.argsort(uniform(PER_KIND, 50), kind="stable")
    for kind in kinds:
        off = values[_rows(kind)] - np.mean(values[_rows(kind)])
        moved[_rows(kind)] += (_SHRINK - 1.0) * off + _MOVE * off[partner]
    return moved
