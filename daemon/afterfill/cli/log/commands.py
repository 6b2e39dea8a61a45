"""`afterfill log`: tell what was done to a tank. Works whether the service runs or not."""

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Annotated, Any

import typer

from afterfill.cli.options import Asked, ConfigOption, JsonOption, TankOption
from afterfill.cli.typed import (
    ammonia_option,
    chlorine_option,
    free_chlorine_option,
    number_option,
)

if TYPE_CHECKING:
    from _typeshed import DataclassInstance


TotalChlorine = Annotated[
    float | None,
    chlorine_option(
        "--total-chlorine", help="Total chlorine (DPD total), mg/L as Cl2, or '1 NH2Cl'."
    ),
]
FreeChlorine = Annotated[
    float | None,
    free_chlorine_option("--free-chlorine", help="Free chlorine, mg/L as Cl2 (DPD free)."),
]
SourceOption = Annotated[
    str | None, typer.Option("--source", help="Which [source.ID]; default: the tank's own.")
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Telling:
    """When it was, of which tank and configuration, and how the answer is printed."""

    at: Annotated[
        str | None,
        typer.Option(
            help="When it began: 2026-03-01T07:30:00Z, 07:30 (today), 'yesterday 07:30' or "
            "'20 min ago'. Default: now."
        ),
    ] = None
    yes: Annotated[
        bool, typer.Option("--yes", help="It is meant so, however strange: do not ask.")
    ] = False
    tank: TankOption = None
    config: ConfigOption = None
    as_json: JsonOption = False


@dataclass(frozen=True, slots=True, kw_only=True)
class RefillOptions:
    """As `payloads.PAYLOADS` has it."""

    litres: Annotated[
        str | None,
        typer.Option(help="New water: 25 (litres), '6 US gal', '5 imp gal'. Left out: not known."),
    ] = None
    minutes: Annotated[
        float | None, number_option("--minutes", help="How long it ran, min. Left out: not known.")
    ] = None
    neutraliser_ml: Annotated[
        str | None,
        typer.Option(
            help="Neutraliser given with it: 5 (mL), '2 g', '1 tablet'; 0 for none. "
            "Left out: not known."
        ),
    ] = None
    mode: Annotated[
        str, typer.Option(help="replace (drained first) or add (a top-off onto what is there).")
    ] = "replace"
    source: SourceOption = None


def refill(it: RefillOptions, telling: Telling) -> None:
    """Water was (or is being) poured. Best told when it begins."""
    _told("refill", it, telling)


@dataclass(frozen=True, slots=True, kw_only=True)
class KitOptions:
    """As `payloads.PAYLOADS` has it."""

    total_ammonia_mg_l: Annotated[
        float | None,
        ammonia_option(
            "--total-ammonia",
            help="Total ammonia, mg/L as N, or as the kit says: '0.5 NH3', '0.5 NH4+'.",
        ),
    ] = None
    total_chlorine_mg_l: TotalChlorine = None
    free_chlorine_mg_l: FreeChlorine = None
    ph: Annotated[float | None, number_option("--ph", help="pH.")] = None


def kit(it: KitOptions, telling: Telling) -> None:
    """A test kit was used on the tank's water. Any of the values may be left out."""
    _told("kit", it, telling)


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceTestOptions:
    """As `payloads.PAYLOADS` has it."""

    total_chlorine_mg_l: TotalChlorine = None
    free_chlorine_mg_l: FreeChlorine = None
    source: SourceOption = None


def source_test(it: SourceTestOptions, telling: Telling) -> None:
    """A test kit was used on the source's own water, before anything was put into it."""
    _told("source-test", it, telling)


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseOptions:
    """As `payloads.PAYLOADS` has it."""

    neutraliser_ml: Annotated[
        str, typer.Option(help="Neutraliser put into the tank: 5 (mL), '2 g', '1 tablet'.")
    ]


def dose(it: DoseOptions, telling: Telling) -> None:
    """Neutraliser was put into the tank itself, not into a refill's water."""
    _told("dose", it, telling)


@dataclass(frozen=True, slots=True, kw_only=True)
class StockOptions:
    """As `payloads.PAYLOADS` has it."""

    what: Annotated[
        str,
        typer.Option(
            help="bought (a closed bottle more), opened (the bottle used from now on) or counted "
            "(all that is there)."
        ),
    ]
    neutraliser_ml: Annotated[
        str | None,
        typer.Option(
            help="How much: 250 (mL), '40 g'. Left out: a bottle of bottle_ml, but for a count."
        ),
    ] = None
    neutraliser: Annotated[
        str | None, typer.Option(help="Which [neutraliser.ID]; default: the tank's own.")
    ] = None


def stock(it: StockOptions, telling: Telling) -> None:
    """Neutraliser was bought, opened or counted; what is logged as used is booked down."""
    _told("stock", it, telling)


@dataclass(frozen=True, slots=True, kw_only=True)
class ServiceOptions:
    """As `payloads.PAYLOADS` has it."""

    what: Annotated[
        str,
        typer.Option(
            help="probe, feeding, cleaning or other; lamp, ozone or medicine, which oxidise."
        ),
    ]
    quantity: Annotated[
        str | None, typer.Option(help="Which probe: orp, ph or temperature. Left out: not said.")
    ] = None
    minutes: Annotated[
        float | None,
        number_option(
            "--minutes", help="It is out of the tank from now on, so long at most; 0: it is back."
        ),
    ] = None


def service(it: ServiceOptions, telling: Telling) -> None:
    """Work that moves the readings without any disinfectant: a probe cleaned, fish fed."""
    _told("service", it, telling)


def note(
    text: Annotated[str, typer.Argument(metavar="TEXT", help="What is worth remembering.")],
    telling: Telling,
) -> None:
    """Anything worth remembering; nothing is concluded from it."""
    _told_as("note", {"text": text}, telling)


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectionOptions:
    """What is said instead; as the options of the word's own command."""

    remove: Annotated[
        bool, typer.Option("--remove", help="Take it back: as if it had never been said.")
    ] = False
    litres: Annotated[str | None, typer.Option(help="Of a refill.")] = None
    minutes: Annotated[
        float | None, number_option("--minutes", help="Of a refill, or of work on a probe.")
    ] = None
    neutraliser_ml: Annotated[str | None, typer.Option(help="Of a refill, a dose or a stock.")] = (
        None
    )
    mode: Annotated[str | None, typer.Option(help="Of a refill.")] = None
    source: SourceOption = None
    total_ammonia_mg_l: Annotated[
        float | None, ammonia_option("--total-ammonia", help="Of a kit.")
    ] = None
    total_chlorine_mg_l: TotalChlorine = None
    free_chlorine_mg_l: FreeChlorine = None
    ph: Annotated[float | None, number_option("--ph", help="Of a kit.")] = None
    what: Annotated[str | None, typer.Option(help="Of work, or of a stock.")] = None
    quantity: Annotated[str | None, typer.Option(help="Of work on a probe.")] = None
    neutraliser: Annotated[str | None, typer.Option(help="Of a stock.")] = None
    text: Annotated[str | None, typer.Option(help="Of a note.")] = None
    not_known: Annotated[
        list[str] | None,
        typer.Option(
            "--not-known", help="A value that is not known after all, such as litres; repeatable."
        ),
    ] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Correcting:
    """When it really was, and how the answer is printed."""

    at: Annotated[str | None, typer.Option(help="When it really began; not after it was said.")] = (
        None
    )
    yes: Annotated[
        bool, typer.Option("--yes", help="It is meant so, however strange: do not ask.")
    ] = False
    tank: TankOption = None
    config: ConfigOption = None
    as_json: JsonOption = False


def correct(
    number: Annotated[int, typer.Argument(metavar="NUMBER", help="As `log list` shows it.")],
    it: CorrectionOptions,
    telling: Correcting,
) -> None:
    """Take back something that was logged, or say it otherwise. What is left out stays as it was.

    The old word stays in the journal; what was concluded from it is concluded again without it.
    """
    from afterfill.cli.log.told import corrected

    corrected(number, asdict(it), telling)


def list_(
    limit: Annotated[
        int, typer.Option(min=1, max=10_000, help="So many of the newest, of each tank.")
    ] = 20,
    *,
    asked: Asked,
) -> None:
    """What was logged, the newest first, with the numbers by which it can be corrected."""
    from afterfill.cli.log.listed import listed

    listed(limit, asked)


def _told(kind: str, options: "DataclassInstance", telling: Telling) -> None:
    _told_as(kind, asdict(options), telling)


def _told_as(kind: str, payload: dict[str, Any], telling: Telling) -> None:
    from afterfill.cli.log.told import told  # help needs nothing of it

    told(kind, payload, telling)
