"""Amounts of neutraliser, and the strength of pure powders."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.chemistry.doses import DoseUnit, dose_from, dose_words, mg_cl2_per_g
from afterfill.errors import ModelDomainError

UNITS: list[DoseUnit] = ["mL", "g", "drop", "tablet"]


# Own balance of 2 S2O3 -> S4O6 (two electrons for two thiosulfates, two for one Cl2): 2 M / M(Cl2).
# Laboratories count 7 mg of the pentahydrate to a mg of chlorine (an analyser maker, secondary).
@pytest.mark.parametrize(
    ("agent", "anhydrous", "mg_per_mg"),
    [
        ("thiosulfate", False, 2 * 248.18 / 70.906),
        ("thiosulfate", True, 2 * 158.11 / 70.906),
        ("sulfite", False, 126.04 / 70.906),
        ("metabisulfite", False, 190.11 / 2 / 70.906),
        ("ascorbate", False, 198.11 / 70.906),
    ],
)
def test_a_gram_of_powder(agent: str, anhydrous: bool, mg_per_mg: float) -> None:
    assert 1000.0 / mg_cl2_per_g(agent, anhydrous=anhydrous) == pytest.approx(mg_per_mg, rel=2e-4)


@pytest.mark.parametrize(
    ("agent", "anhydrous"), [("other", False), ("sulfite", True), ("x", False)]
)
def test_what_is_no_pure_powder_is_refused(agent: str, anhydrous: bool) -> None:
    with pytest.raises(ModelDomainError):
        mg_cl2_per_g(agent, anhydrous=anhydrous)


@pytest.mark.parametrize(
    ("text", "unit"),
    [("2 g", "mL"), ("5 ml", "g"), ("20 drops", "mL"), ("1 tablet", "drop"), ("5 ml", "tablet")],
)
def test_an_amount_in_another_unit_is_refused(text: str, unit: DoseUnit) -> None:
    with pytest.raises(ModelDomainError, match="is not an amount of this neutraliser: write"):
        dose_from(text, unit)


@given(amount=st.floats(0, 1e5), unit=st.sampled_from(UNITS))
def test_what_is_shown_is_read_back(amount: float, unit: DoseUnit) -> None:
    assert dose_from(dose_words(amount, unit), unit) == pytest.approx(amount, rel=6e-4)
