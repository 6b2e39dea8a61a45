"""Amounts of neutraliser: what a bottle is measured in, and how strong a powder is.

Wherever an amount is stored as mL, that of a powder counts grams, that of tablets or drops their
number: a strength is then mg Cl2 per gram, tablet or drop, and all else stays the same.
"""

from typing import Literal

from afterfill.chemistry.constants import (
    SODIUM_THIOSULFATE,
    SODIUM_THIOSULFATE_PENTAHYDRATE,
)
from afterfill.chemistry.neutraliser import routes
from afterfill.chemistry.typed import typed
from afterfill.errors import ModelDomainError

DoseUnit = Literal["mL", "g", "drop", "tablet"]
_UNITS: dict[DoseUnit, dict[str, float]] = {
    "mL": {"": 1.0, "ml": 1.0, "l": 1000.0},
    "g": {"": 1.0, "g": 1.0, "gram": 1.0, "grams": 1.0, "mg": 1e-3},
    "drop": dict.fromkeys(("", "drop", "drops"), 1.0),
    "tablet": dict.fromkeys(("", "tablet", "tablets"), 1.0),
}
_EXAMPLES: dict[DoseUnit, str] = {
    "mL": "5 or '5 ml'",
    "g": "2, '2 g' or '200 mg', since it is a powder",
    "drop": "20 or '20 drops', since its label counts drops",
    "tablet": "1 or '1 tablet', since its label counts tablets",
}


def dose_from(text: object, unit: DoseUnit) -> float:
    """An amount of neutraliser that is measured in `unit`. Raises ModelDomainError for another.

    >>> dose_from("2,5 ml", "mL"), dose_from("200 mg", "g"), dose_from("1 tablet", "tablet")
    (2.5, 0.2, 1.0)
    """
    what, examples = "an amount of this neutraliser", _EXAMPLES[unit]
    value, written = typed(text, what, examples)
    if written not in _UNITS[unit]:
        raise ModelDomainError(f"'{text}' is not {what}: write {examples}")
    return value * _UNITS[unit][written]


def dose_of_label(text: object) -> tuple[float, DoseUnit]:
    """An amount as a label says it, and in what it counts; a bare number is mL.

    Raises ModelDomainError when the text is none.

    >>> dose_of_label("5"), dose_of_label("2,5 g"), dose_of_label("20 drops")
    ((5.0, 'mL'), (2.5, 'g'), (20.0, 'drop'))
    """
    what = "an amount that a label says"
    examples = "5, '5 ml', '2 g', '20 drops' or '1 tablet'"
    value, written = typed(text, what, examples)
    for unit, factors in _UNITS.items():
        if written in factors:
            return value * factors[written], unit
    raise ModelDomainError(f"'{text}' is not {what}: write {examples}")


def dose_words(amount: float, unit: DoseUnit = "mL") -> str:
    """An amount of neutraliser in words that `dose_from` reads.

    >>> dose_words(1.25), dose_words(0.5, "g"), dose_words(20.0, "drop"), dose_words(1.0, "tablet")
    ('1.25 mL', '0.5 g', '20 drops', '1 tablet')
    """
    many = "s" if unit in ("drop", "tablet") and amount != 1.0 else ""
    figure = f"{amount:.4g}" if amount < 1000.0 else f"{amount:.0f}"
    return f"{figure} {unit}{many}"


def mg_cl2_per_g(agent: str, *, anhydrous: bool = False) -> float:
    """Chlorine [mg as Cl2] that a gram of a pure powder removes, by its safe route.

    Thiosulfate is the pentahydrate unless `anhydrous`, ascorbate the sodium salt: of each pair the
    one that removes less. Raises ModelDomainError for "other" and unknown names, and for an
    anhydrous agent that is no thiosulfate.

    >>> round(mg_cl2_per_g("thiosulfate"), 1), round(mg_cl2_per_g("thiosulfate", anhydrous=True), 1)
    (142.8, 224.2)
    """
    strength = 1000.0 / routes(agent)[0].mg_per_mg_cl2
    if not anhydrous:
        return strength
    if agent != "thiosulfate":
        raise ModelDomainError(f"'{agent}' has no form with crystal water: leave out anhydrous")
    return strength * SODIUM_THIOSULFATE_PENTAHYDRATE.value / SODIUM_THIOSULFATE.value
