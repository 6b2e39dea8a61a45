"""Members that explain little make room for variations of those that explain much.

Within each kind only, so that a kind's total weight stays what the evidence made it. Traits are
shrunk towards their mean and spread again so that the mean and the variance stay as they were
(Liu & West 2001, in: Sequential Monte Carlo Methods in Practice, ch. 10; from memory).
"""

from dataclasses import fields, replace

import numpy as np
from numpy.typing import NDArray

from afterfill.inference.bank import PER_KIND, Bank, Traits, weights_of
from afterfill.inference.draws import Array, normal

_SHRINK = 0.98
_LEAST_SHARE = 0.25  # of the kind's members still effective
_SPREAD_ANEW = (
    "b_mv", "c0_mg_l", "w_combined", "rise_s", "fall_s", "k_free_per_s", "k_combined_per_s",
)  # fmt: skip


def refreshed(bank: Bank) -> Bank:
    """The bank with each kind resampled that has run thin; the same bank when none has."""
    weights = weights_of(bank)
    index = np.arange(weights.size)
    log_weight = np.log(np.maximum(weights, 1e-300))
    thin = [kind for kind in range(3) if _effective(weights, kind) < _LEAST_SHARE * PER_KIND]
    if not thin:
        return bank
    for kind in thin:
        rows = _rows(kind)
        total = float(np.sum(weights[rows]))
        index[rows] = rows.start + _systematic(weights[rows])
        log_weight[rows] = np.log(max(total, 1e-12) / PER_KIND)
    return _spread(_taken(bank, index, log_weight), thin)


def _rows(kind: int) -> slice:
    return slice(kind * PER_KIND, (kind + 1) * PER_KIND)


def _effective(weights: Array, kind: int) -> float:
    part = weights[_rows(kind)]
    total = float(np.sum(part))
    return total * total / max(float(np.sum(part * part)), 1e-300) if total > 1e-12 else PER_KIND


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


def _spread(bank: Bank, kinds: list[int]) -> Bank:
    changed = {name: getattr(bank.traits, name).copy() for name in _SPREAD_ANEW}
    for kind in kinds:
        rows = _rows(kind)
        for column, values in enumerate(changed.values()):
            values[rows] = _varied(values[rows], column)
    return replace(bank, traits=replace(bank.traits, **changed))


def _varied(values: Array, column: int) -> Array:
    """Shrunk and spread again in the logarithm: all these traits are positive."""
    logs = np.log(values)
    mean, deviation = float(np.mean(logs)), float(np.std(logs))
    noise = normal(PER_KIND, 40 + column) * deviation * np.sqrt(1.0 - _SHRINK**2)
    return np.asarray(np.exp(mean + _SHRINK * (logs - mean) + noise))
