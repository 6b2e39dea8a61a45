"""What `afterfill setup` asks about the tank, its water and its neutraliser."""

from collections.abc import Callable

from afterfill.chemistry.constants import LEGAL_RESIDUAL
from afterfill.chemistry.doses import dose_of_label, dose_words
from afterfill.chemistry.kit_units import alkalinity_from, chlorine_from
from afterfill.chemistry.typed import number_from
from afterfill.chemistry.units import celsius_from, gallon_of, litres_from
from afterfill.cli.setup.asking import Asking, one_of
from afterfill.cli.setup.starter_file import (
    NeutraliserAnswers,
    SourceAnswers,
    TankAnswers,
)
from afterfill.errors import UsageError
from afterfill.tank_setup import usual_max_mg_l

_LIVESTOCK = ("salmonid", "warmwater", "sensitive")
_TOP_OFFS = ("treated", "told", "unknown")
_DISINFECTANTS = ("chlorine", "chloramine", "unknown")
_AGENTS = ("thiosulfate", "sulfite", "metabisulfite", "ascorbate", "other")


def about_tank(asking: Asking) -> TankAnswers:
    """Raises UsageError for an option of no use; so do the others."""
    name = asking.text("tank", "A short name for the tank", "tank", _plain_name)
    litres = asking.number("litres", "Water in the full tank, litres or '30 US gal'", "120", volume)
    livestock = asking.text(
        "livestock", f"Livestock: {', '.join(_LIVESTOCK)}", "sensitive", one_of(_LIVESTOCK)
    )
    top_off = asking.text(
        "top_off", "Evaporated water is made up for with treated water (treated), each time "
        "logged or published (told), or unknown", "unknown", one_of(_TOP_OFFS),
    )  # fmt: skip
    alkalinity = asking.number_if_known(
        "alkalinity",
        "The tank's alkalinity by a KH test, '4.5 dKH' or mg/L as CaCO3",
        alkalinity_of,
    )
    gallon = gallon_of(asking.typed["litres"])
    return TankAnswers(name, litres, livestock, top_off, alkalinity, gallon)


def about_source(asking: Asking) -> SourceAnswers:
    """The tap, by the utility's report, a test, or a guess on the safe side."""
    disinfectant = asking.text(
        "disinfectant", f"Tap water holds {', '.join(_DISINFECTANTS)}", "unknown",
        one_of(_DISINFECTANTS),
    )  # fmt: skip
    usual = "1.0"
    residual = asking.number("residual", "Typical total chlorine at the tap, mg/L", usual, chlorine)
    # Who does not know what is typical does not know the most either: then what the law allows.
    known = asking.typed["residual"] != usual or asking.is_given("residual")
    most = usual_max_mg_l(residual) if known else LEGAL_RESIDUAL.value
    residual_max = asking.number(
        "residual_max", "The most it may be, mg/L", f"{max(residual, most):g}", no_less(residual)
    )
    ph = asking.number_if_known("source_ph", "The tap water's pH", ph_of)
    alkalinity = asking.number_if_known(
        "source_alkalinity", "The tap water's alkalinity, '4.5 dKH' or mg/L as CaCO3", alkalinity_of
    )
    temperature = asking.number_if_known(
        "source_temperature", "The tap water's temperature, C or '55 F'", celsius_from
    )
    return SourceAnswers(disinfectant, residual, residual_max, ph, alkalinity, temperature)


def about_neutraliser(asking: Asking) -> NeutraliserAnswers:
    """What its label says."""
    agent = asking.text(
        "agent", f"Neutraliser: {', '.join(_AGENTS)} (the label does not say)", "other",
        one_of(_AGENTS),
    )  # fmt: skip
    label = asking.text(
        "label_ml", "Its label: how much (5 ml, 2 g, 20 drops, 1 tablet) ...", "5 ml", dose
    )
    litres = asking.number("label_litres", "... treat how much water", "200", volume)
    mg_l = asking.number("label_mg_l", "... holding chlorine, mg/L", "1.0", chlorine)
    binds = asking.yes("binds_ammonia", "Does its label say that it binds ammonia (yes, no)", "no")
    return NeutraliserAnswers(agent, dose_of_label(label), litres, mg_l, binds)


def volume(text: str) -> float:
    """A volume [L], above 0. Raises ModelDomainError or UsageError."""
    litres = litres_from(text)
    if not 0.0 < litres <= 100_000.0:
        raise UsageError(f"'{text}' is no volume of a tank: give more than 0 and at most 100000 L")
    return litres


def dose(text: str) -> str:
    """What a label says, above 0, as `dose_of_label` reads it. Raises ModelDomainError or
    UsageError."""
    amount, unit = dose_of_label(text)
    if not 0.0 < amount <= 100_000.0:
        raise UsageError(f"'{text}' is no dose of a label: give more than 0, such as 5 ml")
    return dose_words(amount, unit)


def chlorine(text: str) -> float:
    """Chlorine [mg/L as Cl2], from 0 to 100. Raises ModelDomainError or UsageError."""
    value = chlorine_from(text)
    if not 0.0 <= value <= 100.0:
        raise UsageError(f"'{text}' is not usable: give mg/L from 0 to 100, such as 1.5")
    return value


def no_less(typical_mg_l: float) -> Callable[[str], float]:
    """Proves a maximum [mg/L as Cl2] that is not below what is typical."""

    def proved(text: str) -> float:
        most_mg_l = chlorine(text)
        if most_mg_l < typical_mg_l:
            raise UsageError(
                f"'{text}' lies below the typical {typical_mg_l:g} mg/L: give {typical_mg_l:g} or "
                "more (to correct the typical, leave with Ctrl-C: what you answered is kept)"
            )
        return most_mg_l

    return proved


def alkalinity_of(text: str) -> float:
    """Alkalinity [mg/L as CaCO3], from 0 to 1000. Raises ModelDomainError or UsageError."""
    value = alkalinity_from(text)
    if not 0.0 <= value <= 1000.0:
        raise UsageError(f"'{text}' is no alkalinity of a tap or tank: give 0 to 1000 mg/L")
    return value


def ph_of(text: str) -> float:
    """A pH, from 4 to 11. Raises ModelDomainError or UsageError."""
    value = number_from(text)
    if not 4.0 <= value <= 11.0:
        raise UsageError(f"'{text}' is no pH of tap water: give 4 to 11")
    return value


def _plain_name(text: str) -> str:
    if not text or not all(c.isalnum() or c in "-_" for c in text):
        raise UsageError(f"'{text}' cannot name a tank: use letters, digits, - and _")
    return text
