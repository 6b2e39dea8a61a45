"""What test kits read in."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.chemistry.kit_units import (
    alkalinity_from,
    ammonia_from,
    chlorine_from,
    free_chlorine_from,
)
from afterfill.errors import ModelDomainError


# 1.216 and 1.288 mg of NH3 and NH4+ to a mg of N, as laboratories' and makers' tables have them
# (from memory).
@pytest.mark.parametrize(
    ("text", "as_n"),
    [
        (0.25, 0.25),
        ("0,25", 0.25),
        ("0.25 mg/L", 0.25),
        ("0.25 ppm as N", 0.25),
        ("0.25 mg/L NH3-N", 0.25),
        ("1.216 NH3", 1.0),
        ("1.216 mg/L as NH₃", 1.0),
        ("1.288 mg/l NH4+", 1.0),
        ("1.288 NH₄⁺", 1.0),
    ],
)
def test_ammonia_as_kits_read_it(text: str | float, as_n: float) -> None:
    assert ammonia_from(text) == pytest.approx(as_n, rel=3e-4)


# 70.9 / 51.48 and 70.9 / 14.007, from atomic weights of N 14.007, H 1.008, Cl 35.453 (CIAAW
# abridged values, from memory).
@pytest.mark.parametrize(
    ("text", "as_cl2"),
    [
        (1.5, 1.5),
        ("1,5 mg/L as Cl2", 1.5),
        ("1 mg/L as NH2Cl", 70.906 / (14.007 + 2 * 1.008 + 35.453)),
        ("1 NH2Cl", 1.3775),
        ("0.3 mg/L NH2Cl-N", 0.3 * 5.0622),
    ],
)
def test_chlorine_as_kits_read_it(text: str | float, as_cl2: float) -> None:
    assert chlorine_from(text) == pytest.approx(as_cl2, rel=1e-4)


# A German degree is 10 mg/L CaO, 17.848 mg/L CaCO3, 0.3566 meq/L (tables of hardness, from memory).
@pytest.mark.parametrize(
    ("text", "as_caco3"),
    [
        (80, 80.0),
        ("80 mg/L as CaCO3", 80.0),
        ("80 ppm", 80.0),
        ("1 dKH", 17.848),
        ("4,5 °dKH", 80.316),
        ("1 meq/L", 50.04),
        ("0.3566 mmol/L", 17.848),
    ],
)
def test_alkalinity_as_kits_read_it(text: str | float, as_caco3: float) -> None:
    assert alkalinity_from(text) == pytest.approx(as_caco3, rel=3e-4)


@pytest.mark.parametrize("text", ["8 dGH", "8 °dH", "8 GH"])
def test_general_hardness_is_no_alkalinity(text: str) -> None:
    with pytest.raises(ModelDomainError, match="general hardness, which does not buffer"):
        alkalinity_from(text)


@pytest.mark.parametrize("text", ["0.5 NH3/NH4+", "0.5 Cl2", "0.5 mg", "much"])
def test_ammonia_that_is_counted_otherwise_is_refused(text: str) -> None:
    with pytest.raises(ModelDomainError, match=r"'0.25 NH3' or '0.25 NH4\+', as the kit's leaflet"):
        ammonia_from(text)


def test_free_chlorine_is_no_chloramine() -> None:
    assert free_chlorine_from("0,5 mg/L as Cl2") == 0.5
    with pytest.raises(ModelDomainError, match="is not an amount of free chlorine"):
        free_chlorine_from("0.5 NH2Cl")


@given(st.floats(0, 100), st.sampled_from(["", " mg/L", " ppm", " mg/L as N"]))
def test_what_is_shown_of_ammonia_is_read_back(value: float, unit: str) -> None:
    shown = f"{value:.4g}"
    assert ammonia_from(f"{shown}{unit}") == float(shown)
