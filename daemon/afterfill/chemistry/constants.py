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
CACO3 = Constant(100.087, "g/mol", _MASSES, "read")
CAO = Constant(56.077, "g/mol", "atomic weights of Ca 40.078 and O 15.999", "from memory")
HYDROGEN = Constant(1.008, "g/mol", _MASSES, "from memory")
SODIUM_THIOSULFATE = Constant(158.11, "g/mol", "Na2S2O3, handbooks", "from memory")
SODIUM_THIOSULFATE_PENTAHYDRATE = Constant(
    248.18, "g/mol", "Na2S2O3.5H2O, handbooks", "from memory"
)
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

# --- electrodes ----------------------------------------------------------------------------------

GAS_CONSTANT = Constant(8.314462618, "J/(mol K)", "SI 2019, exact product", "definition")
FARADAY = Constant(96485.33212, "C/mol", "SI 2019, exact product", "definition")
ELECTRODE_ACCEPTANCE = Coefficients(
    (30.0, 0.95, 0.90, 0.85, 1.05, 5.0),
    "offset [mV]; slope shares: good, maintain, renew soon, too high; misfit [mV]",
    "pages of makers of electrodes; the misfit is own judgement",
    "secondary",
)
ORP_ACCEPTANCE_MV = Constant(15.0, "mV", "a maker of meters: +-15 mV in quinhydrone", "secondary")

# --- carbonates: log K = a + b T + c/T + d log10 T + e/T^2 + f T^2, T in K -----------------------

_AMM = "PHREEQC 3.8 database Amm.dat"
_PLUMMER = f"{_AMM}, after Plummer & Busenberg 1982, Geochim. Cosmochim. Acta 46:1011-1040"
CO3_H = Coefficients(
    (107.8871, 0.03252849, -5151.79, -38.92561, 563713.9, 0.0),
    "CO3-2 + H+ = HCO3-",
    _PLUMMER,
    "read",
)
CO3_2H = Coefficients(
    (464.1965, 0.09344813, -26986.16, -165.75951, 2248628.9, 0.0),
    "CO3-2 + 2 H+ = CO2 + H2O",
    _PLUMMER,
    "read",
)
CO2_GAS = Coefficients(
    (10.5624, -2.3547e-2, -3972.8, 0.0, 5.8746e5, 1.9194e-5),
    "CO2(g) = CO2, atm to mol/kg",
    _AMM,
    "read",
)
WATER_ION_PRODUCT = Coefficients(
    (293.29227, 0.1360833, -10576.913, -123.73158, 0.0, -6.996455e-5),
    "H2O = H+ + OH-",
    _AMM,
    "read",
)
CA_CO3 = Coefficients(
    (-1228.732, -0.29944, 35512.75, 485.818, 0.0, 0.0), "Ca+2 + CO3-2 = CaCO3", _PLUMMER, "read"
)
CA_HCO3 = Coefficients(
    (-6.009, 3.377e-2, 2044.0, 0.0, 0.0, 0.0), "Ca+2 + CO3-2 + H+ = CaHCO3+", _AMM, "read"
)
MG_CO3 = Coefficients((0.991, 0.00667, 0.0, 0.0, 0.0, 0.0), "Mg+2 + CO3-2 = MgCO3", _AMM, "read")
MG_HCO3 = Coefficients(
    (48.6721, 0.03252849, -2614.335, -18.00263, 563713.9, 0.0),
    "Mg+2 + CO3-2 + H+ = MgHCO3+",
    _AMM,
    "read",
)
MG_OH = Coefficients(
    (0.2532, 0.0, -3486.3, 0.0, 0.0, 0.0),
    "Mg+2 + H2O = MgOH+ + H+; from log K -11.44 and 15.952 kcal/mol",
    _AMM,
    "read",
)
CA_OH = Coefficients(
    (-12.78, 0.0, 0.0, 0.0, 0.0, 0.0), "Ca+2 + H2O = CaOH+ + H+ at 25 degrees C", _AMM, "read"
)
ION_SIZES = {  # log gamma = -A z^2 sqrt I / (1 + B a sqrt I) + b I; a in angstrom, b in kg/mol
    name: Coefficients(values, "extended Debye-Hueckel: ion size a, b", _AMM, "read")
    for name, values in {
        "H": (9.0, 0.0),
        "OH": (3.5, 0.0),
        "HCO3": (5.4, 0.0),
        "CO3": (5.4, 0.0),
        "Ca": (5.0, 0.165),
        "Mg": (5.5, 0.2),
        "CaHCO3": (6.0, 0.0),
        "MgHCO3": (4.0, 0.0),
    }.items()
}
CO2_SALTING = Constant(0.066, "kg/mol", f"{_AMM}: Rumpf et al. 1994, log gamma = b I", "read")
NEUTRAL_SALTING = Constant(0.1, "kg/mol", "PHREEQC's rule for uncharged species: b I", "read")
DEBYE_HUECKEL_B = Constant(
    50.29, "L^0.5 mol^-0.5 K^0.5 per angstrom", "Stumm & Morgan: B = c (eps T)^-0.5", "from memory"
)
CALCIUM_SHARE = Constant(
    0.7,
    "mol/mol",
    "share of calcium in the hardness of tap waters, an assumption",
    "common practice",
)
AIR_CO2 = Constant(420e-6, "atm", "carbon dioxide in outdoor air of the 2020s", "from memory")
CO2_EXCHANGE_QUIET = Constant(
    0.2, "1/h", "gas exchange of a still, covered tank; own judgement", "common practice"
)
CO2_EXCHANGE_AERATED = Constant(
    1.5, "1/h", "gas exchange of a tank with an air stone; own judgement", "common practice"
)

# --- chloramine scheme: k = A exp(-E/T), T in K; L, mol, s ---------------------------------------

_EPA_CODE = (
    "US EPA research code of D.G. Wahman (2016-2018), citing Jafvert & Valentine 1992, Environ. "
    "Sci. Technol. 26:577-586 and Vikesland et al. 2001, Water Res. 35:1766-1776"
)
SCHEME_RATES = {
    name: Coefficients(values, reaction, _EPA_CODE, "secondary")
    for name, values, reaction in (
        ("k1", (6.6e8, 1510.0), "HOCl + NH3 -> NH2Cl"),
        ("k2", (1.38e8, 8800.0), "NH2Cl -> HOCl + NH3"),
        ("k3", (3.0e5, 2010.0), "HOCl + NH2Cl -> NHCl2"),
        ("k4", (6.5e-7, 0.0), "NHCl2 -> HOCl + NH2Cl"),
        ("k5_h", (1.05e7, 2169.0), "2 NH2Cl (+ H+) -> NHCl2 + NH3"),
        ("k5_hco3", (4.2e31, 22144.0), "2 NH2Cl (+ HCO3-) -> NHCl2 + NH3; E is suspiciously high"),
        ("k5_h2co3", (8.19e6, 4026.0), "2 NH2Cl (+ H2CO3) -> NHCl2 + NH3"),
        ("k6", (6.0e4, 0.0), "NHCl2 + NH3 (+ H+) -> 2 NH2Cl"),
        ("k7", (1.1e2, 0.0), "NHCl2 (+ OH-) -> intermediate"),
        ("k8", (2.8e4, 0.0), "intermediate + NHCl2 -> HOCl + N2"),
        ("k9", (8.3e3, 0.0), "intermediate + NH2Cl -> N2"),
        ("k10", (1.5e-2, 0.0), "NH2Cl + NHCl2 -> N2"),
        ("k11_oh", (3.28e9, 0.0), "HOCl + NHCl2 (+ OH-) -> NCl3"),
        ("k11_co3", (6.0e6, 0.0), "HOCl + NHCl2 (+ CO3-2) -> NCl3"),
        ("k12", (5.56e10, 0.0), "NHCl2 + NCl3 (+ OH-) -> 2 HOCl + N2"),
        ("k13", (1.39e9, 0.0), "NH2Cl + NCl3 (+ OH-) -> HOCl + N2"),
        ("k14", (2.31e2, 0.0), "NHCl2 + OCl- (+ HOCl) -> NO3-"),
    )
}
SCHEME_EQUILIBRIA = tuple(  # pK = a T^2 + b T + c: HOCl, NH4+, H2CO3, HCO3-, water
    Coefficients(values, f"pK of {what} = a T^2 + b T + c, T in K", _EPA_CODE, "secondary")
    for values, what in (
        ((1.18e-4, -7.86e-2, 20.5), "HOCl"),
        ((1.03e-4, -9.21e-2, 27.6), "NH4+"),
        ((1.48e-4, -9.39e-2, 21.2), "H2CO3"),
        ((1.19e-4, -7.99e-2, 23.6), "HCO3-"),
        ((1.5e-4, -0.123, 37.3), "water"),
    )
)

# --- neutralising and standing -------------------------------------------------------------------

FREE_STANDING_HOURS = Coefficients(
    (3.0, 8.5, 24.0),
    "half-life of free chlorine standing indoors [h]: 5, 50, 95 % of a log-normal belief",
    "own judgement from White C.E. 1955, MSc thesis, Auburn (3.1 h, sealed glass, 27 degrees C, "
    "abstract read) and a Japanese waterworks' page (gone in 2 d at 25 degrees C, read)",
    "common practice",
)
COMBINED_LOSS_PER_DAY = {
    way: Coefficients(
        (loss,),
        f"loss of monochloramine, {way} [1/d]",
        "Garcia & Anderson 2017, Chemosphere 192:244-249, abstract (no temperature, pH given)",
        "read",
    )
    for way, loss in (("sealed", 0.04), ("open", 0.08), ("aerated", 0.35))
}
STANDING_SPREAD = Constant(
    1.6, "factor", "90 % interval of those loss rates, own judgement", "common practice"
)

DPD_KIT = Coefficients(
    (0.03, 0.20),
    "error of a hobby DPD kit [mg/L as Cl2]: standard deviation sqrt(a^2 + (b C)^2)",
    "own judgement from colour steps; DPD detects about 0.04 mg/L (an automation firm, secondary)",
    "common practice",
)
AMMONIA_KIT = Coefficients(
    (0.08, 0.15),
    "error of a hobby ammonia kit [mg/L as N]: standard deviation sqrt(a^2 + (b C)^2)",
    "a colour step of a hobby kit; no source",
    "common practice",
)
LEGAL_RESIDUAL = Constant(
    4.0, "mg/L as Cl2", "US maximum residual disinfectant level, 40 CFR 141.65", "secondary"
)

# --- the tank's own processes --------------------------------------------------------------------

OXYGEN_SATURATION = Coefficients(
    (-139.34411, 1.575701e5, -6.642308e7, 1.2438e10, -8.621949e11),
    "ln C = a + b/T + c/T^2 + d/T^3 + e/T^4, C in mg/L, T in K, 0-40 degrees C, fresh, 1 atm",
    "Benson & Krause 1984, Limnol. Oceanogr. 29:620-632, as coded in ten public projects",
    "secondary",
)
NITRIFICATION_PER_DAY = Coefficients(
    (1.0, 3.5, 10.0),
    "first-order removal of ammonia in a tank with a mature filter [1/d]: low, middle, high",
    "range in common use (from memory); first order below 1 mg/L: Ebeling & Wheaton 2006, abstract",
    "from memory",
)
