"""Two waters mixed by PHREEQC, closed and then open to air: the oracle of the carbonate system."""

from typing import Any, NamedTuple

import phreeqc

from afterfill.chemistry.carbonate import Water


class Case(NamedTuple):
    """A tank, a source and the refilled fraction."""

    tank: Water
    source: Water
    fraction: float


def engine(database: str = "Amm.dat") -> Any:  # noqa: ANN401 - the package ships no types
    """PHREEQC with a bundled database."""
    machine = phreeqc.Phreeqc()
    machine.LoadBuiltInDatabase(database)
    return machine


def mixed_ph(machine: Any, case: Case, log_co2_atm: float) -> tuple[float, float]:  # noqa: ANN401
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


def _solution(number: int, water: Water) -> str:
    hardness = water.hardness_mg_l_caco3 / 100.087
    missing = water.alkalinity_mg_l_caco3 / 50.0435 - 2.0 * hardness
    return (
        f"SOLUTION {number}\n-units mmol/kgw\n-temp {water.temperature_c}\n-pH {water.ph}\n"
        f"Alkalinity {water.alkalinity_mg_l_caco3 / 50.0435}\n"
        f"Ca {0.7 * hardness}\nMg {0.3 * hardness}\n"
        f"Na {max(missing, 1e-9)}\nCl {max(-missing, 1e-9)}"
    )
