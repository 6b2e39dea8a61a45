"""Volumes and temperatures in the units that the keeper used, and commands that can be typed."""

from dataclasses import dataclass
from typing import Literal

from afterfill.chemistry.units import LITRES_PER_IMPERIAL_GALLON, LITRES_PER_US_GALLON

Gallon = Literal["us", "imperial"]
_LITRES: dict[Gallon, float] = {
    "us": LITRES_PER_US_GALLON,
    "imperial": LITRES_PER_IMPERIAL_GALLON,
}
_WORD: dict[Gallon, str] = {"us": "US gal", "imperial": "imp gal"}


@dataclass(frozen=True, slots=True)
class Shown:
    """How to write a volume and a temperature: plain litres and Celsius unless told otherwise; and
    a command, which names `tank` where there are several, and `source` where it is not its usual.
    """

    gallon: Gallon | None = None
    fahrenheit: bool = False
    tank: str | None = None
    source: str | None = None

    def command(self, words: str) -> str:
        """A command of afterfill as it is typed.

        >>> Shown(tank="window").command("log dose --neutraliser-ml 2")
        '`afterfill log dose --neutraliser-ml 2 --tank window`'
        """
        source = f" --source {self.source}" if self.source and "log refill" in words else ""
        tank = f" --tank {self.tank}" if self.tank else ""
        return f"`afterfill {words}{source}{tank}`"

    def volume(self, litres: float) -> str:
        """A volume [L].

        >>> Shown().volume(25.0), Shown("us").volume(25.0)
        ('25 L', '6.6 US gal (25 L)')
        """
        if self.gallon is None:
            return f"{litres:.3g} L"
        return f"{litres / _LITRES[self.gallon]:.3g} {_WORD[self.gallon]} ({litres:.3g} L)"

    def temperature(self, celsius: float) -> str:
        """A temperature [degrees C].

        >>> Shown(fahrenheit=True).temperature(25.0)
        '77.0 °F (25.0 °C)'
        """
        if not self.fahrenheit:
            return f"{celsius:.1f} °C"
        return f"{32.0 + 1.8 * celsius:.1f} °F ({celsius:.1f} °C)"

    def step(self, celsius: float) -> str:
        """A difference of temperatures [degrees C], signed.

        >>> Shown(fahrenheit=True).step(-1.0)
        '-1.8 °F (-1.0 °C)'
        """
        if not self.fahrenheit:
            return f"{celsius:+.1f} °C"
        return f"{1.8 * celsius:+.1f} °F ({celsius:+.1f} °C)"
