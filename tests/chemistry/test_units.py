"""What keepers type."""

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.chemistry.doses import dose_from
from afterfill.chemistry.typed import number_from, typed
from afterfill.chemistry.units import celsius_from, litres_from, litres_in_file
from afterfill.errors import ModelDomainError


# Litres in a gallon: NIST Handbook 44, appendix C (US), UK Units of Measurement Regulations 1995
# (imperial); both from memory.
@pytest.mark.parametrize(
    ("text", "litres"),
    [
        (25, 25.0),
        ("25", 25.0),
        ("25 L", 25.0),
        ("2,5 l", 2.5),
        ("0,125 l", 0.125),
        ("750 ml", 0.75),
        ("30 US gal.", 113.562),
        ("7,5 us gallons", 28.3906),
        ("10 imp gal", 45.461),
        ("10 Imperial gallons", 45.461),
        ("113.562 L", 113.562),
    ],
)
def test_volumes_as_typed(text: str | float, litres: float) -> None:
    assert litres_from(text) == pytest.approx(litres, abs=1e-3)


@pytest.mark.parametrize("text", ["30 gal", "30 Gallons", "30gal."])
def test_a_bare_gallon_is_not_guessed_and_both_are_named(text: str) -> None:
    with pytest.raises(ModelDomainError, match=r"'30 US gal' \(113.6 L\) or '30 imp gal' \(136.4"):
        litres_from(text)
    assert litres_in_file(text) == pytest.approx(113.562, abs=1e-3)  # as files were always read


@pytest.mark.parametrize(
    ("text", "ml"), [(5, 5.0), ("5 ml", 5.0), ("2,5 mL", 2.5), ("0.5 L", 500.0)]
)
def test_doses_as_typed(text: str | float, ml: float) -> None:
    assert dose_from(text, "mL") == pytest.approx(ml)


@pytest.mark.parametrize(
    ("text", "celsius"),
    [(25, 25.0), ("25 C", 25.0), ("77 F", 25.0), ("25 °C", 25.0), ("-4F", -20.0), ("25,5", 25.5)],
)
def test_temperatures_as_typed(text: str | float, celsius: float) -> None:
    assert celsius_from(text) == pytest.approx(celsius)


@pytest.mark.parametrize("text", ["", "a lot", "25 cups", "1 2 L", "25 F", "1e999 L", True, None])
def test_what_is_no_volume_is_refused_with_examples(text: object) -> None:
    with pytest.raises(ModelDomainError, match="write 25, '25 L', '30 US gal', '30 imp gal' or"):
        litres_from(text)


@pytest.mark.parametrize("text", ["", "warm", "25 K", "25 gal"])
def test_what_is_no_temperature_is_refused_with_examples(text: str) -> None:
    with pytest.raises(ModelDomainError, match="write 25, '25 C' or '78 F'"):
        celsius_from(text)


@pytest.mark.parametrize("text", ["1,200", " 1,200 ", "+1,200", "-1,200"])
def test_a_comma_before_three_digits_has_two_readings(text: str) -> None:
    with pytest.raises(ModelDomainError, match=r"may be -?1.2 or -?1200"):
        number_from(text)


@pytest.mark.parametrize("text", ["1,200.5", "1.200,5", "1,200,000", "1 200", "1'200", "nan"])
def test_signs_for_thousands_are_never_read(text: str) -> None:
    with pytest.raises(ModelDomainError, match="without signs for thousands"):
        number_from(text)


FINITE = st.floats(-1e9, 1e9)
FORMS = st.sampled_from(["{!r}", "{:g}", "{:.1f}", "{:.2f}", "{:.3f}", "{:.4f}", "{:.3g}", "{:e}"])


@given(value=FINITE, form=FORMS, unit=st.sampled_from(["", " L", "ml", " US gal", " °C", " mg/L"]))
def test_what_is_shown_is_read_back_the_same(value: float, form: str, unit: str) -> None:
    shown = form.format(value)
    assert typed(f"{shown}{unit}", "it", "25").value == float(shown)


@given(value=FINITE, digits=st.integers(0, 6))
def test_a_comma_is_the_decimal_sign_or_refused(value: float, digits: int) -> None:
    """Python's own formatting is what it is held against."""
    shown = f"{value:.{digits}f}"
    comma = shown.replace(".", ",")
    if digits == 3 and 1.0 <= abs(float(shown)) < 1000.0:
        with pytest.raises(ModelDomainError, match="may be"):
            number_from(comma)
    else:
        assert number_from(comma) == float(shown)


SIGNS = st.sampled_from([",.", ".,", " .", " ,", "'.", "\u202f,", "_."])


@given(value=st.floats(1000, 1e9), digits=st.integers(0, 4), signs=SIGNS)
def test_nothing_written_with_thousands_is_read_as_a_thousandth(
    value: float, digits: int, signs: str
) -> None:
    """`1.200` alone is 1.2: a point is documented to be the decimal sign, and is shown as such."""
    plain = f"{value:,.{digits}f}"
    local = plain.translate(str.maketrans(",.", signs))
    if local.count(".") == 1 and "," not in local:
        return
    with pytest.raises(ModelDomainError):
        number_from(local)


@given(st.text(max_size=12))
def test_no_text_breaks_the_parser(text: str) -> None:
    for reads in (number_from, litres_from, celsius_from):
        with suppress(ModelDomainError):
            assert isinstance(reads(text), float)
