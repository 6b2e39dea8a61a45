"""Members that explain little make room for variations of those that explain much.

Within each kind only, so that a kind's total weight stays what the evidence made it. Each copy
is shrunk towards the mean and moved by another member's own deviation, so that means, variances
and correlations stay as they were (the kernel shrinkage of Liu & West 2001, in: Sequential Monte
Carlo Methods in Practice, ch. 10, with draws from the population itself; from memory).
"""

from dataclasses import fields, replace

import numpy as np
from numpy.typing import NDArray

from afterfill.inference.bank import PER_KIND, Bank, Traits, weights_of
from afterfill.inference.draws import Array, uniform

_SHRINK = 0.7  # wide: the law is only a shape, and a narrow kernel made intervals too narrow
_MOVE = float(np.sqrt(1.0 - _SHRINK**2))
_LEAST_SHARE = 0.25  # of the kind's members still effective
_TRAITS = (
    "b_mv", "c0_mg_l", "w_combined", "rise_s", "fall_s", "k_free_per_s", "k_combined_per_s",
)  # fmt: skip
_WATER = ("free", "combined", "peak")
_ELECTRODE = ("response_mv", "base_mv")
_NOTHING_MG_L = 1e-4  # stands for zero where logarithms are taken


def refreshed(bank: Bank) -> Bank:
    """The bank with each kind resampled that has run thin; the same bank when none has."""
    weights = weights_of(bank)
    thin = [kind for kind in range(3) if _effective(weights, kind) < _LEAST_SHARE * PER_KIND]
    if not thin:
        return bank
    index = np.arange(weights.size)
    log_weight = np.log(np.maximum(weights, 1e-300))
    for kind in thin:
        rows = _rows(kind)
        index[rows] = rows.start + _systematic(weights[rows])
        log_weight[rows] = np.log(max(float(np.sum(weights[rows])), 1e-12) / PER_KIND)
    return _varied(_taken(bank, index, log_weight), thin)


def _rows(kind: int) -> slice:
    return slice(kind * PER_KIND, (kind + 1) * PER_KIND)


def _effective(weights: Array, kind: int) -> float:
    """How many members of equal weight would tell as much; all of them where none matters."""
    part = weights[_rows(kind)]
    total = float(np.sum(part))
    return total * total / float(np.dot(part, part)) if total > 1e-12 else PER_KIND


def _systematic(weights: Array) -> NDArray[np.intp]:
    reached = np.cumsum(weights) / np.sum(weights)
    points = (np.arange(weights.size) + 0.5) / weights.size
    return np.minimum(np.searchsorted(reached, points), weights.size - 1)


def _taken(bank: Bank, index: NDArray[np.intp], log_weight: Array) -> Bank:
    traits = Traits(**{f.name: getattr(bank.traits, f.name)[index] for f in fields(Traits)})
    moving = {
        f.name: getattr(bank, f.name)[index]
        for f in fields(Bank)
        if f.name not in ("traits", "log_weight")
    }
    return Bank(traits=traits, log_weight=log_weight, **moving)


def _varied(bank: Bank, kinds: list[int]) -> Bank:
    traits = {n: np.exp(_moved(np.log(getattr(bank.traits, n)), kinds)) for n in _TRAITS}
    water = {n: _moved_water(getattr(bank, n), kinds) for n in _WATER}
    too_much = _too_much(bank, water["free"] + water["combined"], kinds)
    water["free"], water["combined"] = water["free"] / too_much, water["combined"] / too_much
    water["peak"] = np.maximum(water["peak"], water["free"] + water["combined"])
    electrode = {n: _moved(getattr(bank, n), kinds) for n in _ELECTRODE}
    return replace(bank, traits=replace(bank.traits, **traits), **water, **electrode)


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
