"""What test kits read in: mg/L as N, NH3, NH4+, Cl2 or NH2Cl, and degrees of hardness.

Factors are molar masses of constants; a German degree of carbonate hardness (dKH) is that of
10 mg/L CaO (the degree's definition, DIN 38409-6, from memory).
"""

from collections.abc import Mapping

from afterfill.chemistry.constants import CACO3, CAO, CL2, HYDROGEN, NH3, N
from afterfill.chemistry.typed import typed
from afterfill.errors import ModelDomainError

MG_CACO3_PER_DKH = 10.0 * CACO3.value / CAO.value  # 17.848
MG_CACO3_PER_MEQ = CACO3.value / 2.0
_NH4 = NH3.value + HYDROGEN.value
_NH2CL = NH3.value - HYDROGEN.value + CL2.value / 2.0

_AS_N = {
    **dict.fromkeys(("", "n", "nh3-n", "nh4-n", "nh4+-n"), 1.0),
    "nh3": N.value / NH3.value,
    **dict.fromkeys(("nh4", "nh4+"), N.value / _NH4),
}
_AS_CL2 = {"": 1.0, "cl2": 1.0, "nh2cl": CL2.value / _NH2CL, "nh2cl-n": CL2.value / N.value}
_AS_FREE_CL2 = {"": 1.0, "cl2": 1.0}
_ALKALINITY = {
    **dict.fromkeys(("", "caco3"), 1.0),
    **dict.fromkeys(("dkh", "kh"), MG_CACO3_PER_DKH),
    **dict.fromkeys(("meq/l", "mmol/l"), MG_CACO3_PER_MEQ),
}
_GENERAL = ("dgh", "gh", "dh")
_ASCII = str.maketrans("₂₃₄⁺", "234+")


def ammonia_from(text: object) -> float:
    """Total ammonia [mg/L as N] from such a number, or text with what the kit reads in.

    Raises ModelDomainError when the text is none.

    >>> round(ammonia_from("0,5 mg/L as NH3"), 4)
    0.4112
    """
    examples = "0.25, '0.25 mg/L as N', '0.25 NH3' or '0.25 NH4+', as the kit's leaflet says"
    return _read(text, _AS_N, "an amount of ammonia", examples)


def chlorine_from(text: object) -> float:
    """Total chlorine [mg/L as Cl2] from such a number, or text such as ``1 mg/L as NH2Cl``.

    Raises ModelDomainError when the text is none.

    >>> round(chlorine_from("1 NH2Cl"), 4)
    1.3775
    """
    examples = "1.5, '1.5 mg/L as Cl2', '1.5 NH2Cl' or '0.3 NH2Cl-N', as the kit's leaflet says"
    return _read(text, _AS_CL2, "an amount of chlorine", examples)


def free_chlorine_from(text: object) -> float:
    """Free chlorine [mg/L as Cl2], which is no chloramine. Raises ModelDomainError.

    >>> free_chlorine_from("0.5 ppm")
    0.5
    """
    examples = "0.5 or '0.5 mg/L as Cl2'"
    return _read(text, _AS_FREE_CL2, "an amount of free chlorine", examples)


def alkalinity_from(text: object) -> float:
    """Alkalinity [mg/L as CaCO3] from such a number, or text such as ``5 dKH``.

    Raises ModelDomainError when the text is none, and for general hardness, which is none either.

    >>> round(alkalinity_from("5 dKH"), 2)
    89.24
    """
    unit = _bare(typed(text, "an alkalinity", "80, '80 mg/L' or '4.5 dKH'").unit)
    if unit in _GENERAL:
        raise ModelDomainError(
            f"'{text}' is general hardness, which does not buffer: give carbonate hardness, "
            "such as '4.5 dKH'"
        )
    return _read(text, _ALKALINITY, "an alkalinity", "80, '80 mg/L', '4.5 dKH' or '1.6 meq/L'")


def _read(text: object, known: Mapping[str, float], what: str, examples: str) -> float:
    value, unit = typed(text, what, examples)
    if _bare(unit) not in known:
        raise ModelDomainError(f"'{text}' is not {what}: write {examples}")
    return value * known[_bare(unit)]


def _bare(unit: str) -> str:
    """What it is counted as, without ``mg/L as`` or ``ppm``, which say the same in fresh water."""
    plain = unit.translate(_ASCII)
    for before in ("mg/l", "ppm", "as "):
        plain = plain.removeprefix(before).strip()
    return plain
