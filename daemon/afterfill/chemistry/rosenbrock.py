"""A small stiff integrator for reactions of first and second order: RODAS, order 4 with error 3.

Every rate is k y_i y_j, with a constant 1 as last y, so the Jacobian is exact and cheap.
Coefficients: Hairer & Wanner, Solving Ordinary Differential Equations II, method RODAS (from
memory; the tests show order 4, and agreement with SciPy's Radau).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from afterfill.chemistry.domain import Array
from afterfill.errors import ModelDomainError

_GAMMA = 0.25
_A = (
    (),
    (1.544,),
    (0.9466785280815826, 0.2557011698983284),
    (3.314825187068521, 2.896124015972201, 0.9986419139977817),
    (1.221224509226641, 6.019134481288629, 12.53708332932087, -0.6878860361058950),
    (1.221224509226641, 6.019134481288629, 12.53708332932087, -0.6878860361058950, 1.0),
)
_C = (
    (),
    (-5.6688,),
    (-2.430093356833875, -0.2063599157091915),
    (-0.1073529058151375, -9.594562251023355, -20.47028614809616),
    (7.496443313967647, -10.24680431464352, -33.99990352819905, 11.70890893206160),
    (
        8.083246795921522,
        -7.981132988064893,
        -31.52159432874371,
        16.31930543123136,
        -6.058818238834054,
    ),
)
_STAGES = len(_A)
_ROWS_A = [np.array(row) for row in _A]
_ROWS_C = [np.array(row) for row in _C]
_MOST_STEPS = 20_000


@dataclass(frozen=True)
class Network:
    """Reactions as arrays: rate constants, the indices of their two reactants (the last index is
    the constant 1), and what one event adds to each species."""

    rates: Array
    first: NDArray[np.intp]
    second: NDArray[np.intp]
    stoichiometry: Array  # species x reactions

    def jacobian_tensor(self) -> Array:
        """T with d(dy/dt)/dy = T @ (y, 1)."""
        species, reactions = self.stoichiometry.shape
        tensor = np.zeros((species, species + 1, species + 1))
        for r in range(reactions):
            effect = self.stoichiometry[:, r] * self.rates[r]
            tensor[:, self.first[r], self.second[r]] += effect
            tensor[:, self.second[r], self.first[r]] += effect
        kept: Array = tensor[:, :species, :]
        return kept


@dataclass(frozen=True, slots=True)
class Step:
    """A tried step: the new state and its error over tolerance."""

    state: Array
    error: float


class Integrator:
    """Steps a network from one time to the next, keeping its step size between calls.

    `relative` and `absolute` (in the units of the state) bound the error of each step.
    """

    def __init__(self, network: Network, relative: float = 1e-4, absolute: float = 1e-10) -> None:
        self._network = network
        self._weights = network.stoichiometry * network.rates
        self._tensor = network.jacobian_tensor()
        self._eye = np.eye(network.stoichiometry.shape[0])
        self._with_one = np.ones(network.stoichiometry.shape[0] + 1)
        self._relative, self._absolute = relative, absolute
        self._step_s = 1e-3
        self.steps = 0

    def advance(self, state: Array, seconds: float) -> Array:
        """The state after `seconds` (>= 0). Raises ModelDomainError when it cannot be reached."""
        left = seconds
        while left > 0.0:
            step_s = min(self._step_s, left)
            tried = self._try(state, step_s)
            self.steps += 1
            if self.steps > _MOST_STEPS or not np.isfinite(tried.error):
                raise ModelDomainError("the kinetics could not be integrated: check the amounts")
            factor = min(6.0, max(0.2, 0.9 * max(tried.error, 1e-6) ** -0.25))
            if tried.error <= 1.0:
                state, left = tried.state, left - step_s
                # a step cut short by the end of the interval says nothing against the longer one
                self._step_s = (
                    max(self._step_s, step_s * factor)
                    if step_s < self._step_s
                    else (step_s * factor)
                )
            else:
                self._step_s = step_s * factor
        return state

    def fixed(self, state: Array, seconds: float, steps: int) -> Array:
        """The state after `steps` equal steps, without error control: shows the order."""
        for _ in range(steps):
            state = self._try(state, seconds / steps).state
        return state

    def _try(self, state: Array, step_s: float) -> Step:
        self._with_one[:-1] = state
        jacobian = self._tensor @ self._with_one
        solve = np.linalg.inv(self._eye / (_GAMMA * step_s) - jacobian)
        k = np.empty((_STAGES, state.size))
        for i in range(_STAGES):
            at = state + _ROWS_A[i] @ k[:i] if i else state
            right = self._derivative(at)
            if i:
                right = right + (_ROWS_C[i] @ k[:i]) / step_s
            k[i] = solve @ right
        new = at + k[-1]
        scale = self._absolute + self._relative * np.maximum(np.abs(state), np.abs(new))
        ratio = k[-1] / scale
        return Step(new, float(np.sqrt(ratio @ ratio / ratio.size)))

    def _derivative(self, state: Array) -> Array:
        net, with_one = self._network, self._with_one
        with_one[:-1] = state
        change: Array = self._weights @ (with_one[net.first] * with_one[net.second])
        return change
