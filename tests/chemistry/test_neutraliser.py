"""Neutraliser doses against balanced reactions and practice tables."""

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.chemistry.neutraliser import (
    behaviour,
    effect,
    mg_cl2_per_ml_from_label,
    needed_ml,
    removed_mg_l,
    routes,
)
from afterfill.chemistry.neutraliser_agents import AGENTS, ROUTES

Oracle = Callable[[str], list[dict[str, str]]]
Agree = Callable[..., None]

some = st.floats(0.01, 1000.0)


ELEMENTS = {"Na": 22.990, "S": 32.06, "O": 15.999, "H": 1.008, "C": 12.011}  # IUPAC, abridged
FORMULAS: dict[str, dict[str, int]] = {
    "sodium thiosulfate pentahydrate": {"Na": 2, "S": 2, "O": 8, "H": 10},
    "sodium sulfite": {"Na": 2, "S": 1, "O": 3},
    "sodium metabisulfite": {"Na": 2, "S": 2, "O": 5},
    "sodium ascorbate": {"C": 6, "H": 7, "O": 6, "Na": 1},
    "ascorbic acid": {"C": 6, "H": 8, "O": 6},
}
# electrons that one formula unit gives on the way to each product; one Cl takes two
ELECTRONS = {
    ("sodium thiosulfate pentahydrate", "tetrathionate"): 1,
    ("sodium thiosulfate pentahydrate", "sulfate and sulfur"): 2,
    ("sodium thiosulfate pentahydrate", "sulfate"): 8,
    ("sodium sulfite", "sulfate"): 2,
    ("sodium metabisulfite", "sulfate"): 4,
    ("sodium ascorbate", "dehydroascorbate"): 2,
    ("ascorbic acid", "dehydroascorbate"): 2,
}


def _rows(oracle: Oracle, oxidant: str) -> dict[tuple[str, float], dict[str, str]]:
    rows = [r for r in oracle("dechlorination.csv") if r["oxidant"] == oxidant]
    return {(r["agent"], float(r["mg_agent_per_mg_Cl2"])): r for r in rows}


def _row(rows: dict[tuple[str, float], dict[str, str]], form: str, mg: float) -> dict[str, str]:
    return min(
        (row for (agent, _), row in rows.items() if agent == form),
        key=lambda row: abs(float(row["mg_agent_per_mg_Cl2"]) - mg),
    )


def test_masses_follow_from_the_electrons_an_agent_gives(agree: Agree) -> None:
    errors = []
    for route in (r for agent in ROUTES.values() for r in agent):
        mass = sum(ELEMENTS[e] * count for e, count in FORMULAS[route.form].items())
        expected = mass * 2.0 / ELECTRONS[route.form, route.products] / 70.906
        errors.append(route.mg_per_mg_cl2 / expected - 1.0)
    agree("neutraliser mass per mg Cl2, electrons and masses", errors, 1e-3, "relative")


def test_routes_are_the_balanced_reactions(oracle: Oracle, agree: Agree) -> None:
    free, combined = _rows(oracle, "HOCl"), _rows(oracle, "NH2Cl")
    masses, acids = [], []
    for route in (r for agent in ROUTES.values() for r in agent):
        row = _row(free, route.form, route.mg_per_mg_cl2)
        masses.append(route.mg_per_mg_cl2 / float(row["mg_agent_per_mg_Cl2"]) - 1.0)
        acids.append(route.alkalinity_used_free - float(row["alk_used_mg_CaCO3_per_mg_Cl2"]))
        row = _row(combined, route.form, route.mg_per_mg_cl2)
        acids.append(route.alkalinity_used_combined - float(row["alk_used_mg_CaCO3_per_mg_Cl2"]))
    agree("neutraliser mass per mg Cl2, balanced reactions", masses, 1e-4, "relative")
    agree("alkalinity used per mg Cl2, balanced reactions", acids, 1e-3, "mg/mg")


@pytest.mark.parametrize("agent", sorted(ROUTES))
def test_the_default_route_removes_least(agent: str) -> None:
    first, *rest = routes(agent)
    assert all(route.mg_per_mg_cl2 <= first.mg_per_mg_cl2 for route in rest)


def test_a_label_round_trips_to_its_own_dose() -> None:
    strength = mg_cl2_per_ml_from_label(5.0, 200.0, 1.0)
    assert needed_ml(200.0, 1.0, strength) == pytest.approx(5.0)


def test_white_1955_lies_between_the_two_common_thiosulfate_routes() -> None:
    grams = routes("thiosulfate")[0].mg_per_mg_cl2 * 3.785411784
    assert grams / 2.0 < 23.48 < grams


@given(some, some, some)
def test_what_is_needed_is_what_is_removed(litres: float, chlorine: float, strength: float) -> None:
    ml = needed_ml(litres, chlorine, strength)
    assert removed_mg_l(ml, litres, strength) == pytest.approx(chlorine)


@given(some, some)
def test_ammonia_comes_from_combined_chlorine_only(free: float, combined: float) -> None:
    both, none = effect("thiosulfate", free, combined), effect("thiosulfate", free, 0.0)
    assert none.ammonia_released_mg_l == 0.0
    assert both.ammonia_released_mg_l == pytest.approx(combined / 5.0622, rel=1e-4)


def test_thiosulfate_makes_alkalinity_and_metabisulfite_uses_it() -> None:
    # per mg Cl2: 1:2 thiosulfate -0.7058 free, -1.4115 combined; metabisulfite 1.4115, 0.7058
    assert effect("thiosulfate", 1.0, 0.5).alkalinity_used_mg_l_caco3 == pytest.approx(
        -0.7058 - 0.5 * 1.4115, abs=1e-3
    )
    assert effect("metabisulfite", 1.0, 0.5).alkalinity_used_mg_l_caco3 == pytest.approx(
        1.4115 + 0.5 * 0.7058, abs=1e-3
    )


def test_every_surplus_takes_oxygen_in_the_end_and_sulfite_as_a_fact_sheet_says() -> None:
    # 7.87 mg Na2SO3 per mg O2 (fact sheet, read); 1.7776 mg Na2SO3 per mg Cl2
    surplus = effect("sulfite", 0.0, 0.0, 7.87 / 1.7776)
    assert surplus.oxygen_at_risk_mg_l == pytest.approx(1.0, rel=0.01)
    assert effect("other", 0.5, 0.5, 5.0).oxygen_at_risk_mg_l is None
    for agent in ("thiosulfate", "ascorbate"):
        assert (effect(agent, 0.0, 0.0, 5.0).oxygen_at_risk_mg_l or 0.0) > 5.0


def test_ascorbate_is_not_counted_on_for_chloramine() -> None:
    assert behaviour("ascorbate").minutes_combined is None
    assert "uncertain" in behaviour("ascorbate").source


@pytest.mark.parametrize("agent", AGENTS)
def test_free_chlorine_goes_within_minutes(agent: str) -> None:
    low, high = behaviour(agent).minutes_free
    assert 0.0 < low < high <= 5.0
