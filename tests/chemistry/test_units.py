"""What keepers type."""

import pytest

from afterfill.chemistry.units import celsius_from, litres_from
from afterfill.errors import ModelDomainError


@pytest.mark.parametrize(
    ("text", "litres"),
    [
        (25, 25.0),
        ("25", 25.0),
        ("25 L", 25.0),
        ("2,5 l", 2.5),
        ("750 ml", 0.75),
        ("30 gal", 113.562),
        ("30 US gal.", 113.562),
        ("10 imp gal", 45.461),
    ],
)
def test_volumes_as_typed(text: str | float, litres: float) -> None:
    assert litres_from(text) == pytest.approx(litres, abs=1e-3)


@pytest.mark.parametrize(
    ("text", "celsius"),
    [(25, 25.0), ("25 C", 25.0), ("77 F", 25.0), ("25 °C", 25.0), ("-4F", -20.0)],
)
def test_temperatures_as_typed(text: str | float, celsius: float) -> None:
    assert celsius_from(text) == pytest.approx(celsius)


@pytest.mark.parametrize("text", ["", "a lot", "25 cups", "1 2 L", "25 F"])
def test_what_is_no_volume_is_refused_with_examples(text: str) -> None:
    with pytest.raises(ModelDomainError, match="write 25, '25 L', '30 gal' or '750 ml'"):
        litres_from(text)


@pytest.mark.parametrize("text", ["", "warm", "25 K", "25 gal"])
def test_what_is_no_temperature_is_refused_with_examples(text: str) -> None:
    with pytest.raises(ModelDomainError, match="write 25, '25 C' or '78 F'"):
        celsius_from(text)
