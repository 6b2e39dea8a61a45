"""Volumes, temperatures and alkalinity in the units that the keeper chose, and commands that can
be typed."""

import re
from dataclasses import dataclass
from typing import Literal

from afterfill.chemistry.kit_units import MG_CACO3_PER_DKH, MG_CACO3_PER_MEQ
from afterfill.chemistry.units import LITRES_PER_IMPERIAL_GALLON, LITRES_PER_US_GALLON, fahrenheit

Gallon = Literal["us", "imperial"]
_LITRES: dict[Gallon, float] = {
    "us": LITRES_PER_US_GALLON,
    "imperial": LITRES_PER_IMPERIAL_GALLON,
}
Hardness = Literal["dKH", "meq/L", "mg/L"]
_MG_CACO3: dict[Hardness, float] = {"dKH": MG_CACO3_PER_DKH, "meq/L": MG_CACO3_PER_MEQ}
_CELSIUS = re.compile(r"(?<![\w.(])([-+]?\d+(?:\.\d+)?)(?: to (\d+(?:\.\d+)?))? °C")
_VOLUME = re.compile(r"(?<![\w.(/])(\d+(?:\.\d+)?) L\b(?!/)")
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
    hardness: Hardness = "mg/L"

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

    def typed_volume(self, litres: float) -> str:
        """A volume [L] as its keeper would type it.

        >>> Shown().typed_volume(25.0), Shown("us").typed_volume(25.0)
        ('25 L', '6.6 US gal')
        """
        if self.gallon is None:
            return f"{litres:.4g} L"
        return f"{litres / _LITRES[self.gallon]:.3g} {_WORD[self.gallon]}"

    def temperature(self, celsius: float) -> str:
        """A temperature [degrees C].

        >>> Shown(fahrenheit=True).temperature(25.0)
        '77.0 °F (25.0 °C)'
        """
        if not self.fahrenheit:
            return f"{celsius:.1f} °C"
        return f"{fahrenheit(celsius):.1f} °F ({celsius:.1f} °C)"

    def step(self, celsius: float) -> str:
        """A difference of temperatures [degrees C], signed.

        >>> Shown(fahrenheit=True).step(-1.0)
        '-1.8 °F (-1.0 °C)'
        """
        if not self.fahrenheit:
            return f"{celsius:+.1f} °C"
        return f"{1.8 * celsius:+.1f} °F ({celsius:+.1f} °C)"

    def alkalinity(self, mg_l_caco3: float) -> str:
        """An alkalinity, or a change of it [mg/L as CaCO3], with two digits at least.

        >>> Shown().alkalinity(1.42), Shown(hardness="dKH").alkalinity(89.24)
        ('1.4 mg/L as CaCO3', '5 dKH (89 mg/L as CaCO3)')
        """
        figure = f"{mg_l_caco3:.0f}" if mg_l_caco3 >= 10.0 else f"{mg_l_caco3:.2g}"
        plain = f"{figure} mg/L as CaCO3"
        if self.hardness not in _MG_CACO3:
            return plain
        return f"{mg_l_caco3 / _MG_CACO3[self.hardness]:.2g} {self.hardness} ({plain})"

    def text(self, plain: str) -> str:
        """A sentence that was written down in litres and degrees C. A number with a sign is a
        difference: alarms write no temperature so, and water below 0 °C is no tank's.

        >>> Shown("us", fahrenheit=True).text("+1.0 °C; limits 20 to 25 °C; 100 L, 2 mg/L")
        '+1.8 °F (+1.0 °C); limits 68.0 to 77.0 °F (20 to 25 °C); 26.4 US gal (100 L), 2 mg/L'
        """
        found = _CELSIUS.sub(self._degrees, plain) if self.fahrenheit else plain
        if self.gallon is None:
            return found
        return _VOLUME.sub(lambda it: self.volume(float(it[1])), found)

    def _degrees(self, found: re.Match[str]) -> str:
        low, high = found[1], found[2]
        if low[0] in "+-":
            return self.step(float(low))
        to = "" if high is None else f" to {fahrenheit(float(high)):.1f}"
        return f"{fahrenheit(float(low)):.1f}{to} °F ({found[0]})"


PLAIN = Shown()
