"""Every number of the chemistry, with its source and how far it is confirmed.

`status` says how the source was reached: "read" in the source itself, "secondary" in a source that
quotes it, "from memory" not confirmed, "computed" from other constants here, "definition" exact,
"common practice" a fact of the trade without a source.
"""

from dataclasses import dataclass
from typing import Literal

Status = Literal["read", "secondary", "from memory", "computed", "definition", "common practice"]


@dataclass(frozen=True, slots=True)
class Constant:
    """One number: its value, unit, source line and status."""

    value: float
    unit: str
    source: str
    status: Status


@dataclass(frozen=True, slots=True)
class Coefficients:
    """The numbers of one published equation, in the order in which the equation names them."""

    values: tuple[float, ...]
    equation: str
    source: str
    status: Status


KELVIN = 273.15  # 0 degrees C [K]; definition of the Celsius scale

# --- molar masses [g/mol] ------------------------------------------------------------------------

_MASSES = "standard atomic weights as in the packages molmass, periodictable and chemicals (2026)"
CL2 = Constant(70.906, "g/mol", _MASSES, "read")
N = Constant(14.007, "g/mol", _MASSES, "read")
NH3 = Constant(17.031, "g/mol", _MASSES, "read")
NH4 = Constant(18.039, "g/mol", _MASSES, "read")
CACO3 = Constant(100.087, "g/mol", _MASSES, "read")
O2 = Constant(31.998, "g/mol", _MASSES, "read")

# --- acids and bases -----------------------------------------------------------------------------

HOCL_PK = Coefficients(
    (3000.00, -10.0686, 0.0253),
    "pK = a/T + b + c T, T in K, 0-35 degrees C, ionic strength 0",
    "Morris J.C. 1966, J. Phys. Chem. 70:3798-3805, constants as quoted by four secondary sources",
    "secondary",
)
NH4_PK = Coefficients(
    (0.09018, 2729.92),
    "pK = a + b/T, T in K, 0-50 degrees C, ionic strength 0",
    "Emerson, Russo, Lund & Thurston 1975, J. Fish. Res. Board Can. 32:2379-2383, constants as "
    "quoted by eight public codes",
    "secondary",
)
DAVIES_B = Constant(
    0.3,
    "L/mol",
    "Davies C.W. 1962, Ion Association: the linear term of his equation",
    "from memory",
)
DEBYE_HUECKEL = Constant(
    1.8246e6,
    "L^0.5 mol^-0.5 K^1.5",
    "Stumm & Morgan, Aquatic Chemistry: A = c (eps T)^-1.5",
    "from memory",
)
WATER_PERMITTIVITY = Coefficients(
    (87.740, -0.40008, 9.398e-4, -1.410e-6),
    "eps = a + b t + c t^2 + d t^3, t in degrees C, 0-100",
    "Malmberg & Maryott 1956, J. Res. NBS 56:1-8",
    "from memory",
)
IONIC_STRENGTH_PER_CONDUCTIVITY = Constant(
    1.6e-5,
    "mol/L per uS/cm",
    "Snoeyink & Jenkins 1980, Water Chemistry: fresh waters; other books give 1.3e-5",
    "from memory",
)

# --- electrodes ----------------------------------------------------------------------------------

GAS_CONSTANT = Constant(8.314462618, "J/(mol K)", "SI 2019, exact product", "definition")
FARADAY = Constant(96485.33212, "C/mol", "SI 2019, exact product", "definition")
