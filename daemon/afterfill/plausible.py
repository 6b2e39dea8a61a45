"""What is said of a tank beside what the tank is: slips by a factor of a hundred are not believed,
and what is merely strange is asked about before it is taken.

The one place for it: the command line, MQTT and the inbox of a service say the same. A recording
is read as it is.
"""

from collections.abc import Mapping
from typing import Any

from afterfill.chemistry.constants import DPD_KIT, LEGAL_RESIDUAL
from afterfill.chemistry.doses import DoseUnit, dose_from, dose_words
from afterfill.config import Config
from afterfill.errors import ModelDomainError, PayloadError
from afterfill.records import Dose, Event, KitResult, Refill, SourceTest, Stock
from afterfill.sentences import nearest

# Chlorine of a tap [mg/L as Cl2]: from what a kit shows to what the law allows.
TAP_MG_L = (DPD_KIT.values[0], LEGAL_RESIDUAL.value)
# Stranger than what keepers see; our judgement. Hobby kits of ammonia end at 8 mg/L.
STRANGE_PH, STRANGE_AMMONIA_MG_L, STRANGE_CHLORINE_MG_L = (4.0, 10.5), 10.0, 10.0
STRANGE_DOSE, STRANGE_TANK_DOSE = 20.0, 2.0  # times the need of a refill, of the whole tank
MOST_TANKFULS = 5.0  # a refill that runs through: flushed so often, a tank is new; our judgement


def unit_of(config: Config, tank: str) -> DoseUnit:
    """What the neutraliser of `tank` is measured in; mL where it is not known which is used."""
    neutraliser = config.neutraliser_of(tank)
    return "mL" if neutraliser is None else neutraliser.unit


def with_amounts_read(payload: Mapping[str, Any], tank: str, config: Config) -> Mapping[str, Any]:
    """The payload with an amount of neutraliser that is a text as a number in the unit in which the
    neutraliser of `tank`, one of the configured, is measured. Raises PayloadError for another."""
    text = payload.get("neutraliser_ml")
    if not isinstance(text, str):
        return payload
    try:
        return {**payload, "neutraliser_ml": dose_from(text, unit_of(config, tank))}
    except ModelDomainError as error:
        several = config.neutraliser_of(tank) is None and len(config.neutraliser) > 1
        which = f"; name the neutraliser of [tank.{tank}], which has several" if several else ""
        raise PayloadError(f"key 'neutraliser_ml' is not usable: {error}{which}") from error


def refuse_slips(event: Event, config: Config) -> None:
    """Raises PayloadError when an event cannot be meant so, or names an unknown source.

    `event.tank` must be one of the configured tanks.
    """
    litres, unit = config.tank[event.tank].litres, unit_of(config, event.tank)
    if isinstance(event, Refill):
        _check_volume(event.litres, event.tank, litres)
        check_dose(event.neutraliser_ml, event.tank, litres, unit)
        _check_source(event.source, config)
    elif isinstance(event, SourceTest):
        _check_source(event.source, config)
    elif isinstance(event, Dose):
        check_dose(event.neutraliser_ml, event.tank, litres, unit)
    elif isinstance(event, Stock):
        _check_stock(event, config)


def doubt(event: Event, config: Config) -> str:
    """What is strange in an event that may be meant so all the same, in one clause; empty where
    nothing is. `event.tank` must be one of the configured tanks."""
    litres = config.tank[event.tank].litres
    if isinstance(event, Refill):
        if event.mode == "replace" and event.litres is not None and event.litres > litres:
            return (
                f"{event.litres:g} L replaced is more than tank '{event.tank}' holds ({litres:g} L)"
            )
        given = event.litres or litres
        return _dose_doubt(event.neutraliser_ml, event.tank, given, event.source, config)
    if isinstance(event, Dose):
        return _dose_doubt(event.neutraliser_ml, event.tank, litres, None, config)
    if isinstance(event, KitResult):
        return _chlorine_doubt(event) or _kit_doubt(event)
    return _chlorine_doubt(event) if isinstance(event, SourceTest) else ""


def _dose_doubt(
    ml: float | None, tank: str, litres: float, source: str | None, config: Config
) -> str:
    """Neutraliser for the whole tank is usual also with a small refill, and no reason to ask."""
    neutraliser, water = config.neutraliser_of(tank), config.source_of(tank, source)
    if ml is None or neutraliser is None or neutraliser.strength is None:
        return ""
    tap_mg_l = LEGAL_RESIDUAL.value if water is None else water.residual_max_mg_l
    a_litre_ml = (tap_mg_l or LEGAL_RESIDUAL.value) / neutraliser.strength
    need_ml, whole_ml = litres * a_litre_ml, config.tank[tank].litres * a_litre_ml
    if ml <= max(STRANGE_DOSE * need_ml, STRANGE_TANK_DOSE * whole_ml):
        return ""
    given, needed = (dose_words(it, neutraliser.unit) for it in (ml, need_ml))
    return f"{given} of neutraliser is {ml / need_ml:.0f} times what {litres:g} L need ({needed})"


def _chlorine_doubt(test: KitResult | SourceTest) -> str:
    total, free = test.total_chlorine_mg_l, test.free_chlorine_mg_l
    if total is not None and free is not None and free > total:
        part = f"total chlorine {total:.4g} mg/L, of which it is a part"
        return f"free chlorine {free:.4g} mg/L is more than {part}"
    shown = max((mg_l for mg_l in (total, free) if mg_l is not None), default=0.0)
    if shown > STRANGE_CHLORINE_MG_L:
        return f"{shown:.4g} mg/L of chlorine is more than taps and tanks hold"
    return ""


def _kit_doubt(kit: KitResult) -> str:
    low, high = STRANGE_PH
    if kit.ph is not None and not low <= kit.ph <= high:
        return f"pH {kit.ph:g} is none of a fish tank"
    ammonia = kit.total_ammonia_mg_l
    if ammonia is not None and ammonia > STRANGE_AMMONIA_MG_L:
        return f"{ammonia:.4g} mg/L of ammonia is more than test kits show"
    return ""


def _check_stock(stock: Stock, config: Config) -> None:
    """The neutraliser is the tank's own, and how much of it is given here or configured."""
    tank, own = stock.tank, config.neutraliser_name_of(stock.tank)
    if stock.neutraliser is not None and stock.neutraliser not in config.neutraliser:
        raise PayloadError(
            f"there is no neutraliser '{stock.neutraliser}'; "
            f"{nearest(stock.neutraliser, config.neutraliser)}"
        )
    if own is None:
        raise PayloadError(
            f"which neutraliser tank '{tank}' uses is not known; configure a table "
            f"[neutraliser.ID], and name it as neutraliser in [tank.{tank}] if there are several"
        )
    if stock.neutraliser not in (None, own):
        raise PayloadError(
            f"tank '{tank}' uses neutraliser '{own}', not '{stock.neutraliser}'; tell it of a tank "
            "that uses that"
        )
    if stock.neutraliser_ml is None and config.neutraliser[own].bottle_ml is None:
        raise PayloadError(
            f"how much was {stock.what}? Give neutraliser_ml, or bottle_ml in [neutraliser.{own}]"
        )


def _check_source(source: str | None, config: Config) -> None:
    if source is not None and source not in config.source:
        raise PayloadError(f"there is no source '{source}'; {_known(source, config)}")


def _known(source: str, config: Config) -> str:
    guess = nearest(source, config.source)
    names = ", ".join(sorted(config.source))
    return f"{guess} (known here: {names})" if guess.startswith("did you mean") else guess


def _check_volume(given: float | None, tank: str, litres: float) -> None:
    if given is not None and given > MOST_TANKFULS * litres:
        raise PayloadError(
            f"{given:g} L into tank '{tank}' of {litres:g} L cannot be meant: a refill is at most "
            f"{MOST_TANKFULS:g} times the tank; look for a slip of the decimal point"
        )


def check_dose(ml: float | None, tank: str, litres: float, unit: DoseUnit = "mL") -> None:
    """Raises PayloadError when neutraliser [`unit`] is more than a tank of `litres` can hold."""
    if ml is not None and ml > 1000.0 * litres:
        raise PayloadError(
            f"{dose_words(ml, unit)} of neutraliser is more than tank '{tank}' of {litres:g} L can "
            "hold; look for a slip of the decimal point"
        )
