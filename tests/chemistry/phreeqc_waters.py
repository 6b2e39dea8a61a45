"""Waters mixed by PHREEQC, closed or open to air: the oracle of the carbonate system."""

from math import log10
from typing import Any, NamedTuple

import phreeqc

from afterfill.chemistry.carbonate import Water


class Case(NamedTuple):
    """A tank, a source and the refilled fraction."""

    tank: Water
    source: Water
    fraction: float


def engine(database: str = "Amm.dat") -> Any:
    """PHREEQC with a bundled database."""
    machine = phreeqc.Phreeqc()
    machine.LoadBuiltInDatabase(database)
    return machine


def mixed_ph(machine: Any, case: Case, log_co2_atm: float) -> tuple[float, float]:
    """pH of the mixture, closed and in equilibrium with air."""
    text = "\n".join(
        (
            "SELECTED_OUTPUT 1\n-reset false\n-pH true",
            _solution(1, case.tank),
            _solution(2, case.source),
            "END",
            f"MIX 1\n1 {1.0 - case.fraction}\n2 {case.fraction}\nSAVE solution 3\nEND",
            f"USE solution 3\nEQUILIBRIUM_PHASES 1\nCO2(g) {log_co2_atm}\nEND",
        )
    )
    machine.RunString(text)
    shown = [float(value) for value in machine.GetSelectedOutput()["pH"]]
    return shown[-2], shown[-1]


def ph_in_air(
    machine: Any,
    water: Water,
    hours: list[float],
    exchange_per_h: float,
    co2_atm: float,
) -> list[float]:
    """pH after each of `hours`, CO2 leaving by PHREEQC's own kinetics."""
    head = "SELECTED_OUTPUT 1\n-reset false\n-pH true\n-molalities CO2"
    machine.RunString(
        f"{head}\n{_solution(1, water)}\nEND\n"
        f"USE solution 1\nEQUILIBRIUM_PHASES 1\nCO2(g) {log10(co2_atm)}\nEND"
    )
    at_air = float(machine.GetSelectedOutput()["m_CO2(mol/kgw)"][-1])
    found = []
    for hour in hours:
        machine.RunString(
            f"{head}\nRATES\nDegassing\n-start\n"
            f'10 SAVE {exchange_per_h / 3600.0} * (MOL("CO2") - {at_air}) * TIME\n-end\n'
            f"{_solution(1, water)}\nKINETICS 1\nDegassing\n-formula CO2 -1\n-m0 1\n-tol 1e-10\n"
            f"-steps {3600.0 * hour}\nEND"
        )
        found.append(float(machine.GetSelectedOutput()["pH"][-1]))
    return found


def _solution(number: int, water: Water) -> str:
    hardness = water.hardness_mg_l_caco3 / 100.087
    missing = water.alkalinity_mg_l_caco3 / 50.0435 - 2.0 * hardness
    return (
        f"SOLUTION {number}\n-units mmol/kgw\n-temp {water.temperature_c}\n-pH {water.ph}\n"
        f"Alkalinity {water.alkalinity_mg_l_caco3 / 50.0435}\n"
        f"Ca {0.7 * hardness}\nMg {0.3 * hardness}\n"
        f"Na {max(missing, 1e-9)}\nCl {max(-missing, 1e-9)}"
    )
