"""What the keeper said of a probe that is to be held in liquids, as typed."""

from dataclasses import dataclass
from typing import Annotated

import typer

from afterfill.cli.options import ConfigOption, JsonOption, TankOption
from afterfill.cli.typed import chlorine_option, number_option


@dataclass(frozen=True, slots=True, kw_only=True)
class Which:
    """The probe that is meant, and how the answer is printed."""

    probe: Annotated[
        str | None, typer.Option(help="Its name, if the tank has several of them.")
    ] = None
    tank: TankOption = None
    config: ConfigOption = None
    as_json: JsonOption = False


@dataclass(frozen=True, slots=True)
class Patience:
    """How long a value must stand still [s], between readings [s], and for how long at most [s]."""

    still_s: float
    every_s: float
    most_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Liquids:
    """Buffers for a pH probe; for an ORP probe a standard, or what it must show [mV]."""

    buffers: Annotated[
        list[str] | None,
        typer.Option(
            "--buffer",
            help="pH buffers, in order: 7.00 4.00 10.01 (technical) or phosphate phthalate borax "
            "(NIST). Give it twice or thrice. Default: 7.00 and 4.00.",
        ),
    ] = None
    standard: Annotated[
        str | None, typer.Option(help="ORP standard: zobell, quinhydrone-4 or quinhydrone-6.86.")
    ] = None
    standard_mv: Annotated[
        float | None,
        number_option(
            "--standard-mv",
            help="Instead: what the bottle says the probe must show at this temperature.",
        ),
    ] = None
    temperature: Annotated[
        str | None, typer.Option(help="Of the liquids: 22.5 or '72 F'. Left out: asked.")
    ] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RawWater:
    """Total chlorine by a test [mg/L as Cl2] and pH, as far as known, and the source's name."""

    residual_mg_l: Annotated[
        float | None,
        chlorine_option(
            "--residual",
            help="Total chlorine of the raw water, mg/L, by a DPD test of it. Left out: "
            "what [source.ID] says, which teaches less.",
        ),
    ] = None
    ph: Annotated[
        float | None, number_option("--ph", low=4, high=11, help="pH of the raw water, if known.")
    ] = None
    source: Annotated[
        str | None, typer.Option(help="Which [source.ID] the water is; default: the tank's own.")
    ] = None
