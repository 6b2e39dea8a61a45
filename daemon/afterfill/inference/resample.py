"""Members that explain little make room for variations of those that explain much.

Within each kind only, so that a kind's total weight stays what the evidence made it. Each copy
is shrunk towards the mean and moved by another member's own deviation, so that means, variances
and correlations stay as they were (the kernel shrinkage of Liu & West 2001, in: Sequential Monte
Carlo Methods in Practice, ch. 10, with draws from the population itself; from memory).
"""

from dataclasses import fields, replace

import numpy as np
from numpy.typing import NDArray

from afterfill.inference import disturbances
from afterfill.inference.bank import PER_KIND, SHORT, Bank, Traits
from afterfill.inference.draws import Array, uniform
from afterfill.inference.response import PH_REFERENCE, dip_share
from afterfill.inference.ridge import Ridge, moved_along

_SHRINK = 0.7  # wide: the law is only a shape, and a narrow kernel made intervals too narrow
_MOVE = float(np.sqrt(1.0 - _SHRINK**2))
_LEAST_SHARE = 0.4  # of the kind's members still effective; less often makes too narrow
_TRAITS = (
    "b_mv", "c0_mg_l", "w_combined", "rise_s", "fall_s", "k_free_per_s", "k_combined_per_s",
)  # fmt: skip
_WATER = ("free", "combined", "peak")
_LEAST_TOTAL = 1e-12  # of a kind: it can still come back
_SHOWN = 0.2  # of a nuisance or dip: less cannot be moved by what shows
_NOTHING_MG_L = 1e-4  # stands for zero where logarithms are taken


def refreshed(bank: Bank, at_s: float, ph: float | None, ridge: Ridge | None = None) -> Bank:
    """The bank at `at_s` [s] with each kind resampled that has run thin; the same bank when none
    has. `ridge`: where the tap's strength may be drawn anew, along what readings cannot tell."""
    thin = _thin(bank.weights)
    if not thin:
        return bank
    weights = bank.weights.copy()
    index = np.arange(weights.size)
    for kind in thin:
        rows = _rows(kind)
        index[rows] = rows.start + _systematic(bank.weights[rows])
        weights[rows] = max(float(np.sum(weights[rows])), _LEAST_TOTAL) / PER_KIND
    varied = _varied(
        _taken(bank, index, weights), thin, at_s, 0.0 if ph is None else ph - PH_REFERENCE
    )
    return varied if ridge is None or SHORT not in thin else moved_along(varied, ridge, at_s)


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
    """Copies that differ in law and water, and in all parts of the ORP."""
    moved = {n: np.exp(_moved(np.log(getattr(bank.traits, n)), kinds)) for n in _TRAITS}
    varied = _with_moved_parts(bank, kinds, at_s, ph_off)
    traits = replace(varied.traits, **moved)
    return replace(varied, traits=traits, **_moved_waters(bank, kinds))


def _with_moved_parts(bank: Bank, kinds: list[int], at_s: float, ph_off: float) -> Bank:
    """All parts of the ORP moved by one linear map, so that what copies expect together is what
    their likes expect; a copy of which a part would leave its kind's range keeps them all. So a
    background known to a millivolt does not wander off to where refuted readings are. What hardly
    shows of a nuisance or dip stays: copies then differ by a little more."""
    traits, by_ph = bank.traits, bank.traits.ph_slope_mv * ph_off
    shares = disturbances.share(traits, at_s), dip_share(bank)
    parts = np.array([bank.response_mv, bank.base_mv + by_ph,
                      traits.nuisance_mv * shares[0], traits.dip_mv * shares[1]])  # fmt: skip
    moved = np.array([_moved(part, kinds) for part in parts])
    height = _height(moved[2], shares[0], traits.nuisance_mv)
    fits = _in_range(moved, parts, kinds) & (np.abs(height) <= disturbances.highest_mv(traits))
    response, base, nuisance, dip = np.where(fits, moved, parts)
    traits = replace(
        traits,
        nuisance_mv=_height(nuisance, shares[0], traits.nuisance_mv),
        dip_mv=_height(dip, shares[1], traits.dip_mv),
    )
    return replace(bank, traits=traits, response_mv=response, base_mv=base - by_ph)


def _height(part: Array, share: Array, before: Array) -> Array:
    """The height [mV] of which `share` shows as `part`; as before where hardly any of it shows."""
    return np.where(share > _SHOWN, part / np.maximum(share, _SHOWN), before)


def _in_range(moved: Array, before: Array, kinds: list[int]) -> NDArray[np.bool_]:
    """Where all of a copy's parts, arrays of shape (4, n), are within what its kind's were."""
    fits = np.ones(moved.shape[1], dtype=np.bool_)
    for kind in kinds:
        rows = _rows(kind)
        low, high = (f(before[:, rows], axis=1, keepdims=True) for f in (np.min, np.max))
        fits[rows] = np.all((moved[:, rows] >= low) & (moved[:, rows] <= high), axis=0)
    return fits


def _moved_waters(bank: Bank, kinds: list[int]) -> dict[str, Array]:
    water = {n: _moved_water(getattr(bank, n), kinds) for n in _WATER}
    too_much = _too_much(bank, water["free"] + water["combined"], kinds)
    free, combined = water["free"] / too_much, water["combined"] / too_much
    return {
        "free": free, "combined": combined, "peak": np.maximum(water["peak"], free + combined),
    }  # fmt: skip


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
