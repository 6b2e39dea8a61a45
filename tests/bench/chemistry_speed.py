"""How fast the chemistry is beside PHREEQC and SciPy, in one run: ``python chemistry_speed.py``.

Kinetics are compared at equal accuracy: each SciPy method runs at the loosest tolerance whose error
against Radau at 1e-10 is no worse than ours, with the same rates and the exact Jacobian.
"""

import time
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import phreeqc
from scipy.integrate import solve_ivp

from afterfill.chemistry.acid_base import hocl_fraction, nh3_fraction
from afterfill.chemistry.carbonate import Water, mixed_totals, totals_of
from afterfill.chemistry.carbonate_system import closed
from afterfill.chemistry.chloramine import Amounts, molar
from afterfill.chemistry.chloramine_binding import binding_rate, bound_mg_l
from afterfill.chemistry.chloramine_scheme import Conditions, network
from afterfill.chemistry.domain import Array
from afterfill.chemistry.rosenbrock import Integrator, Network

DAYS = 7.0
SECONDS = DAYS * 86400.0
START = molar(Amounts(2.0, 0.5))
WATER = Conditions(7.5, 25.0, 100.0)
TOLERANCES = (1e-2, 1e-3, 1e-4, 1e-5, 1e-6, 1e-7, 1e-8)
ABSOLUTE = 1e-12


class Row(NamedTuple):
    """One way to the same answer: its time, and its error where it has one."""

    what: str
    ms: float
    error_mg_l: float | None = None


def best_ms(run: Callable[[], object], repeats: int = 5) -> float:
    """Shortest of some runs [ms]: the least disturbed by others on the machine."""
    times = []
    for _ in range(repeats):
        began = time.perf_counter()
        run()
        times.append(time.perf_counter() - began)
    return 1000.0 * min(times)


def kinetics() -> list[Row]:
    """Seven days from the meeting of chlorine and ammonia, per simulated day."""
    net = network(WATER)
    exact = _scipy(net, "Radau", 1e-10)

    def ours() -> Array:
        return Integrator(net, 1e-4).advance(START, SECONDS)

    goal = _error(ours(), exact)
    rows = [Row("ours", best_ms(ours) / DAYS, goal)]
    for method in ("LSODA", "BDF", "Radau"):
        rows.append(_at_equal_accuracy(net, method, exact, goal))
    return rows


def fractions() -> list[Row]:
    """One share of ammonia: ours and PHREEQC's, per call."""
    machine = phreeqc.Phreeqc()
    machine.LoadBuiltInDatabase("Amm.dat")
    machine.RunString("SELECTED_OUTPUT 1\n-reset false\n-molalities AmmH+ Amm\nEND")
    text = "SOLUTION 1\n-temp 24.5\n-pH 7.9\nAmm 0.05\nNa 1\nCl 1\nEND"
    calls = 2000
    phs = np.linspace(6.5, 9.0, 1000)
    return [
        Row(
            "NH3 share, ours", best_ms(_many(lambda: nh3_fraction(7.9, 24.5, 0.004), calls)) / calls
        ),
        Row("HOCl share, ours", best_ms(_many(lambda: hocl_fraction(7.9, 24.5), calls)) / calls),
        Row(
            "NH3 share, ours, of an array of 1000", best_ms(lambda: nh3_fraction(phs, 24.5)) / 1000
        ),
        Row("NH3 share, PHREEQC", best_ms(_many(lambda: machine.RunString(text), 100)) / 100),
    ]


def others() -> list[Row]:
    """What a service calls each step or each refill, per call."""
    tank, tap = Water(7.2, 60.0, 90.0, 25.0), Water(7.8, 120.0, 150.0, 15.0)

    def mixture() -> float:
        return closed(mixed_totals(totals_of(tank), totals_of(tap), 0.25)).ph

    waters, rate = np.linspace(0.0, 2.0, 768), binding_rate(7.5, 25.0)

    def bound() -> Array:
        return bound_mg_l(waters, waters[::-1], rate, 30.0)

    return [
        Row("chlorine bound in 768 waters", best_ms(_many(bound, 500)) / 500),
        Row("pH of a mixture", best_ms(_many(mixture, 50)) / 50),
    ]


def table(title: str, rows: list[Row]) -> str:
    """Rows beside the ratio of each to the first."""
    lines = [f"{title:<44} {'ms':>10} {'ratio':>8} {'error mg/L':>11}"]
    for row in rows:
        error = "" if row.error_mg_l is None else f"{row.error_mg_l:.1e}"
        lines.append(f"{row.what:<44} {row.ms:>10.5f} {row.ms / rows[0].ms:>8.1f} {error:>11}")
    return "\n".join(lines)


def _many(call: Callable[[], object], calls: int) -> Callable[[], None]:
    def run() -> None:
        for _ in range(calls):
            call()

    return run


def _at_equal_accuracy(net: Network, method: str, exact: Array, goal: float) -> Row:
    for tolerance in TOLERANCES:
        error = _error(_scipy(net, method, tolerance), exact)
        if error <= goal:
            break
    ms = best_ms(lambda: _scipy(net, method, tolerance), 3) / DAYS
    return Row(f"SciPy {method}, rtol {tolerance:g}", ms, error)


def _scipy(net: Network, method: str, relative: float) -> Array:
    weights, tensor = net.stoichiometry * net.rates, net.jacobian_tensor()

    def change(_: float, state: Array) -> Array:
        one = np.append(state, 1.0)
        return np.asarray(weights @ (one[net.first] * one[net.second]))

    def jacobian(_: float, state: Array) -> Array:
        return np.asarray(tensor @ np.append(state, 1.0))

    absolute = 1e-17 if relative < 1e-9 else ABSOLUTE
    found = solve_ivp(
        change, (0.0, SECONDS), START, method, rtol=relative, atol=absolute, jac=jacobian
    )
    return np.asarray(found.y[:, -1])


def _error(found: Array, exact: Array) -> float:
    return float(np.abs(found - exact)[:5].max()) * 70906.0


if __name__ == "__main__":
    print(table("chloramine kinetics, per simulated day", kinetics()))
    print(table("shares, per call", fractions()))
    print(table("others, per call", others()))
