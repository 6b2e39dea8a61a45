"""What a plan calls within limits breaks none by a balance that shares no code with it.

Thousands of random situations. pH is PHREEQC's (package phreeqc, Amm.dat); un-ionised ammonia is
Emerson et al. 1975 (constants secondary) without ionic strength, which overstates it a little;
oxygen saturation is Benson & Krause 1984 (secondary), its course integrated step by step; acid and
oxygen of the agents are written out here from the reactions.
"""

from dataclasses import dataclass, replace
from math import exp, log10
from typing import Any

import numpy as np
import pytest

from afterfill.chemistry.standing import Interval
from afterfill.planning import refill as refill_module
from afterfill.planning.asked import PLACES, Asked, Bottle, Bounds, TankBefore, Tap
from afterfill.planning.found import found_by_kit
from afterfill.planning.refill import RefillPlan, plan_refill
from afterfill.planning.rescue import RescuePlan, plan_rescue
from chemistry.phreeqc_waters import engine

AGENTS = ("thiosulfate", "sulfite", "metabisulfite", "ascorbate")
# per Cl2 that was free, or combined, or is left over: protons at once and in the end, O2 in the end
FREE = {"thiosulfate": (-1, 5, 3.5), "sulfite": (1, 1, 0.0), "metabisulfite": (2, 2, 0.0)}
COMBINED = {"thiosulfate": (-2, 4, 3.5), "sulfite": (0, 0, 0.0), "metabisulfite": (1, 1, 0.0)}
LEFT = {"thiosulfate": (0, 4, 4.0), "sulfite": (0, 0, 0.5), "metabisulfite": (0, 1, 0.5)}
for of, in_the_end in ((FREE, (0, 0, 4.5)), (COMBINED, (-1, -1, 4.5)), (LEFT, (0, 0, 5.0))):
    of["ascorbate"] = in_the_end
SIGMA = {"thiosulfate": 0.15, "sulfite": 0.2, "metabisulfite": 0.2, "ascorbate": 0.2}
CL2, N, O2 = 70.906, 14.007, 31.998
ACID_TO_SPARE = 0.03  # pH: PHREEQC's hardness is one of those that a plan leaves open
EMERSON_TO_SPARE = 1.07  # ionic strength, in no more than 300 mg/L of alkalinity


def emerson(ph: float, celsius: float) -> float:
    return float(1.0 / (1.0 + 10.0 ** (0.09018 + 2729.92 / (celsius + 273.15) - ph)))


def saturation(celsius: float) -> float:
    t = celsius + 273.15
    terms = (-139.34411, 1.575701e5 / t, -6.642308e7 / t**2, 1.2438e10 / t**3, -8.621949e11 / t**4)
    return exp(sum(terms))


def least_oxygen(full: float, taken: float, slow: bool) -> float:
    """Explicit steps of six minutes over five days: a demand of a day's mean, air at 0.2 per h."""
    if not slow:
        return full - taken
    left, deficit, worst, step_h = taken, 0.0, 0.0, 0.1
    for _ in range(1200):
        demand = left / 24.0 * step_h
        left, deficit = left - demand, deficit + demand - 0.2 * deficit * step_h
        worst = max(worst, deficit)
    return full - worst


@dataclass(frozen=True)
class Truth:
    """What may really be the case: the residual poured [mg/L], the strength times the nominal."""

    residual: float
    strength: float


@dataclass(frozen=True)
class Outcome:
    """The tank after it all: residual and oxygen [mg/L], protons at once and in the end [mmol/L],
    ammonia brought [mg/L as N]."""

    residual: float
    oxygen: float
    at_once: float
    in_the_end: float
    brought: float


def outcome(
    tap: Tap, agent: str, given: float, truth: Truth, fraction: float, celsius: float
) -> Outcome:
    """`given`: neutraliser in the tank at its nominal strength [mg/L as Cl2]."""
    poured, given = fraction * truth.residual, given * truth.strength
    combined = 0.0 if tap.disinfectant == "chlorine" else poured
    used = min(poured, given)
    share = used / poured if poured > 0.0 else 0.0
    met = {"free": share * (poured - combined), "combined": share * combined, "left": given - used}
    tables = {"free": FREE, "combined": COMBINED, "left": LEFT}
    at_once, end, oxygen = (
        sum(met[kind] / CL2 * tables[kind][agent][i] for kind in met) for i in range(3)
    )
    nitrogen = (tap.uncombined_ammonia_mg_l or 0.0) * fraction + combined * N / CL2
    if tap.uncombined_ammonia_mg_l is None and combined > 0.0:
        nitrogen = fraction * max(truth.residual / tap.chlorine_to_nitrogen, combined * N / CL2)
    end += 2.0 * nitrogen / N
    slow = agent in ("thiosulfate", "ascorbate")
    left = least_oxygen(saturation(celsius), oxygen * O2, slow)
    return Outcome(poured - used, left, at_once, end, nitrogen)


def phs(
    machine: Any,
    tank: TankBefore,
    tap: Tap,
    fraction: float,
    it: Outcome,
) -> dict[str, float]:
    """pH at once; as warm and with as much CO2 as before; in the end; and in air."""
    usual = f"{log10(_co2_atm(machine, tank)):.5f}"
    texts = ["SELECTED_OUTPUT 1\n-reset false\n-pH true"]
    for number, (ph, alkalinity, celsius) in enumerate(
        (
            (tank.ph, tank.alkalinity_mg_l_caco3, tank.temperature_c),
            (tap.ph, tap.alkalinity_mg_l_caco3, tap.temperature_c),
        ),
        start=1,
    ):
        texts.append(_solution(number, ph or 0.0, alkalinity or 0.0, celsius or 0.0))
    texts.append(f"END\nMIX 1\n1 {1.0 - fraction}\n2 {fraction}\n{_acid(it.at_once)}")
    texts.append("SAVE solution 3\nEND")
    warm = f"USE solution 3\nREACTION_TEMPERATURE 1\n{tank.temperature_c}\n"
    later = _acid(it.in_the_end - it.at_once)
    for reaction, log_co2 in (("", usual), (later, usual), ("", "-3.3768"), (later, "-3.3768")):
        texts.append(f"{warm}EQUILIBRIUM_PHASES 1\nCO2(g) {log_co2} 10\n{reaction}\nEND")
    machine.RunString("\n".join(texts))
    shown = [float(value) for value in machine.GetSelectedOutput()["pH"]][-5:]
    return dict(zip(("closed", "settled", "later", "air", "later air"), shown, strict=True))


def _acid(mmol: float) -> str:
    if abs(mmol) < 1e-9:
        return ""
    what = "HCl" if mmol > 0.0 else "NaOH"
    return f"REACTION 1\n{what} 1\n{abs(mmol)} mmol\n"


def _solution(number: int, ph: float, alkalinity: float, celsius: float) -> str:
    hardness = alkalinity / 100.087
    return (
        f"SOLUTION {number}\n-units mmol/kgw\n-temp {celsius}\n-pH {ph}\n"
        f"Alkalinity {alkalinity / 50.0435}\nCa {0.7 * hardness}\nMg {0.3 * hardness}\n"
        f"Na 1e-9\nCl 1e-9"
    )


def _co2_atm(machine: Any, tank: TankBefore) -> float:
    solution = _solution(
        1, tank.ph or 0.0, tank.alkalinity_mg_l_caco3 or 0.0, tank.temperature_c or 0
    )
    machine.RunString(f"SELECTED_OUTPUT 1\n-reset false\n-si CO2(g)\n{solution}\nEND")
    return float(10.0 ** float(machine.GetSelectedOutput()["si_CO2(g)"][-1]))


@dataclass(frozen=True)
class Situation:
    tank: TankBefore
    tap: Tap
    bottle: Bottle
    bounds: Bounds
    asked: Asked


def situation(rng: np.random.Generator) -> Situation:
    """Soft and hard, sour and alkaline, chlorine and chloramine, well dosed and far from it."""
    litres = float(rng.choice([20.0, 54.0, 100.0, 450.0]))
    alkalinity = float(rng.choice([4.0, 8.0, 15.0, 30.0, 80.0, 200.0]) * rng.uniform(0.8, 1.2))
    ammonia = float(rng.choice([0.0, 0.05, 0.3])) * float(rng.uniform(0.5, 1.5))
    tank = TankBefore(
        litres,
        Interval(0.5 * ammonia, ammonia, 1.5 * ammonia),
        float(rng.uniform(6.2, 8.2)),
        float(rng.uniform(19.0, 29.0)),
        alkalinity,
    )
    typical = float(rng.uniform(0.1, 2.5))
    tap = Tap(
        "chlorine" if rng.random() < 0.5 else "chloramine",
        typical,
        typical * float(rng.uniform(1.0, 2.0)),
        float(rng.uniform(3.0, 5.06)),
        float(rng.uniform(0.0, 0.1)) if rng.random() < 0.3 else None,
        float(rng.uniform(6.5, 8.3)),
        alkalinity * float(rng.uniform(0.5, 2.0)),
        float(tank.temperature_c or 0.0) + float(rng.uniform(-8.0, 2.0)),
    )
    share = float(rng.uniform(0.05, 0.95))
    own = None
    strength = float(rng.choice([1.0, 10.0, 40.0]))
    if rng.random() < 0.4:
        own = (
            litres * share * tap.residual_max_mg_l / strength * float(rng.choice([0.5, 1.5, 5, 30]))
        )
    asked = Asked(
        litres * share,
        "add" if rng.random() < 0.1 else "replace",
        PLACES[int(rng.integers(len(PLACES)))],
        0.0,
        own,
    )
    bounds = Bounds(0.019, 0.0206, (6.0, 8.8), (18.0, 30.0))
    return Situation(tank, tap, Bottle(str(rng.choice(AGENTS)), strength), bounds, asked)


def broken(machine: Any, it: Situation, plan: RefillPlan) -> list[str]:
    """The limits that this refill breaks in any of nine truths."""
    dose, tank, tap, bounds = plan.dose, it.tank, it.tap, it.bounds
    assert dose is not None
    fraction, agent = it.asked.litres / tank.litres, it.bottle.agent
    given = dose.ml * (it.bottle.mg_cl2_per_ml or 0.0) / tank.litres
    low = tap.residual_mg_l**2 / tap.residual_max_mg_l
    spread = exp(1.645 * (SIGMA[agent] ** 2 + 0.01) ** 0.5)
    after_c = (1.0 - fraction) * (tank.temperature_c or 0.0) + fraction * (tap.temperature_c or 0.0)
    ammonia = (1.0 - fraction) * (tank.ammonia_mg_l.high if tank.ammonia_mg_l else 0.0)
    found = [] if bounds.temperature_c[0] <= after_c <= bounds.temperature_c[1] else ["temperature"]
    for residual in (low, tap.residual_mg_l, tap.residual_max_mg_l):
        for strength in (1.0 / spread, 1.0, spread):
            truth = Truth(residual, strength)
            end = outcome(tap, agent, given, truth, fraction, after_c)
            if agent == "ascorbate" and tap.disinfectant != "chlorine":
                end = replace(end, residual=fraction * residual)
            course = phs(machine, tank, tap, fraction, end)
            if not plan.ammonia.free_mg_l or not plan.ammonia.free_mg_l.aerated:
                course = {k: v for k, v in course.items() if "air" not in k}
            total = ammonia + end.brought
            shares = [
                emerson(ph, after_c if k == "closed" else tank.temperature_c or 0.0)
                for k, ph in course.items()
            ]
            found += ["residual"] * (end.residual > bounds.residual_oxidant_mg_l + 1e-9)
            found += ["oxygen"] * (end.oxygen < bounds.oxygen_mg_l - 0.05)
            found += ["pH"] * (min(course.values()) < bounds.ph[0] - ACID_TO_SPARE)
            found += ["pH"] * (max(course.values()) > bounds.ph[1] + ACID_TO_SPARE)
            over = total * max(shares) / EMERSON_TO_SPARE > bounds.free_ammonia_mg_l
            found += ["free ammonia"] * over
    if given - fraction * tap.residual_mg_l > 2.0 * tap.residual_max_mg_l + 1e-9:
        found.append("surplus")
    return sorted(set(found))


def test_nothing_within_limits_breaks_one_by_an_independent_balance(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(refill_module, "reaches", lambda *_, **__: ())  # no part of the verdict
    rng, machine = np.random.default_rng(20261128), engine()
    wrong, safe, over = [], 0, dict[str, int]()
    for number in range(2500):
        it = situation(rng)
        plan = plan_refill(it.tank, it.tap, it.bottle, it.bounds, it.asked)
        for name in plan.over:
            over[name] = over.get(name, 0) + 1
        if plan.judgement != "within-limits":
            continue
        safe += 1
        breaks = broken(machine, it, plan)
        if breaks:
            wrong.append((number, breaks, it))
    assert not wrong, f"{len(wrong)} of {safe}: {wrong[:3]}"
    assert safe > 500
    for name in ("residual", "oxygen", "pH", "free ammonia", "surplus of neutraliser"):
        assert over[name] > 50, over
    assert over["oxygen of the drained tank"] > 5


def test_a_drained_tank_never_holds_more_than_twice_what_the_full_one_will(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(refill_module, "reaches", lambda *_, **__: ())
    rng = np.random.default_rng(7)
    for _ in range(1500):
        it = situation(rng)
        asked = replace(it.asked, dose_at="tank", mode="replace", dose_ml=None)
        dose = plan_refill(it.tank, it.tap, it.bottle, it.bounds, asked).dose
        assert dose is not None
        held = it.tank.litres - asked.litres
        given, poured = 0.0, 0.0
        for part in dose.parts:
            given += part.ml
            full = dose.ml / it.tank.litres
            assert given / held <= 2.0 * full * 1.05 + 0.02 / held
            # enough for all the water poured so far, by a weak bottle
            needed = (poured + part.litres) * it.tap.residual_max_mg_l
            weak = exp(-1.645 * (SIGMA[it.bottle.agent] ** 2 + 0.01) ** 0.5)
            strength = it.bottle.mg_cl2_per_ml or 0.0
            assert given * strength * weak >= needed * 0.99 - 0.02 * strength
            held, poured = held + part.litres, poured + part.litres
        if dose.parts:
            assert given == pytest.approx(dose.ml, abs=0.03)
            assert poured == pytest.approx(asked.litres)


@pytest.mark.parametrize("seed", range(4))
def test_what_a_plan_advises_is_no_excess_by_the_alarm(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(refill_module, "reaches", lambda *_, **__: ())
    rng = np.random.default_rng(seed)
    for _ in range(400):
        it = situation(rng)
        agent = str(rng.choice([*AGENTS, "other"]))
        bottle = replace(it.bottle, agent=agent)
        plan = plan_refill(it.tank, it.tap, bottle, it.bounds, replace(it.asked, dose_ml=None))
        assert plan.dose is not None
        booked = (
            plan.dose.ml * (bottle.mg_cl2_per_ml or 0.0) - it.asked.litres * it.tap.residual_mg_l
        )
        smallest = 0.01 * (bottle.mg_cl2_per_ml or 0.0)  # a step of the syringe
        most = 2.0 * it.tap.residual_max_mg_l
        assert (booked - smallest) / it.tank.litres <= most or "surplus of neutraliser" in plan.over


def rescue_breaks(machine: Any, it: Situation, plan: RescuePlan, upper: float) -> list[str]:
    """The limits that a rescue done as advised breaks, residual and strength at either end."""
    tank, bounds, agent = it.tank, it.bounds, it.bottle.agent
    given = (plan.dose_ml or 0.0) * (it.bottle.mg_cl2_per_ml or 0.0) / tank.litres
    spread = exp(1.645 * (SIGMA[agent] ** 2 + 0.01) ** 0.5)
    itself = Tap(
        it.tap.disinfectant,
        1.0,
        1.0,
        5.0622,
        0.0,
        tank.ph,
        tank.alkalinity_mg_l_caco3,
        tank.temperature_c,
    )
    found = []
    for residual in (plan.found.residual_mg_l.low, upper):
        for strength in (1.0, spread):
            truth, celsius = Truth(residual, strength), tank.temperature_c or 0.0
            end = outcome(itself, agent, given, truth, 1.0, celsius)
            course = phs(machine, tank, itself, 1e-6, end)
            found += ["residual"] * (end.residual > 1e-9)
            found += ["oxygen"] * (end.oxygen < bounds.oxygen_mg_l - 0.05)
            found += ["pH"] * (
                min(course["later"], course["settled"]) < bounds.ph[0] - ACID_TO_SPARE
            )
            total = (tank.ammonia_mg_l.high if tank.ammonia_mg_l else 0.0) + end.brought
            aired = max(course["closed"], plan.air.ph if plan.air else 0.0)
            over = total * emerson(aired, celsius) / EMERSON_TO_SPARE > bounds.free_ammonia_mg_l
            found += ["free ammonia"] * over
    if plan.air is not None and plan.air.ph > max(bounds.ph[1], (tank.ph or 0.0) + 0.02):
        found.append("pH")
    return sorted(set(found))


def test_a_rescue_that_keeps_the_limits_keeps_them_by_an_independent_balance() -> None:
    rng, machine = np.random.default_rng(3), engine()
    wrong, safe, over = [], 0, dict[str, int]()
    for number in range(600):
        it = situation(rng)
        shown = float(rng.choice([0.1, 0.5, 1.0, 3.0])) * float(rng.uniform(0.8, 1.2))
        found = found_by_kit(shown, it.tap.disinfectant)
        plan = plan_rescue(it.tank, found, it.bottle, it.bounds, ammonia_counts_bound=False)
        for name in plan.over:
            over[name] = over.get(name, 0) + 1
        if plan.over or plan.ph_lowest is None or plan.minutes is None:
            continue
        safe += 1
        breaks = rescue_breaks(machine, it, plan, found.upper.mg_l)
        if breaks:
            wrong.append((number, breaks, it))
    assert not wrong, f"{len(wrong)} of {safe}: {wrong[:3]}"
    assert safe > 100
    assert over["pH"] > 20, over
    assert over["free ammonia"] > 20, over
