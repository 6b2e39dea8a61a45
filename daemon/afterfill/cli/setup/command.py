"""`afterfill setup`: write a starter configuration."""

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Annotated

import typer

from afterfill.cli.options import JsonOption
from afterfill.cli.places import FILE_NAME


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """Answers to the questions, as typed."""

    tank: Annotated[str | None, typer.Option(help="A short name for the tank.")] = None
    litres: Annotated[
        str | None, typer.Option(help="Water in the full tank: 120 (litres) or '30 US gal'.")
    ] = None
    livestock: Annotated[
        str | None, typer.Option(help="salmonid, warmwater or sensitive (shrimp, fry).")
    ] = None
    top_off: Annotated[
        str | None,
        typer.Option(
            help="Evaporated water is made up for: treated, told (each time logged), or unknown."
        ),
    ] = None
    alkalinity: Annotated[
        str | None, typer.Option(help="The tank's, by a KH test: '4.5 dKH'; - if not known.")
    ] = None
    disinfectant: Annotated[
        str | None, typer.Option(help="In the tap water: chlorine, chloramine or unknown.")
    ] = None
    residual: Annotated[
        str | None, typer.Option(help="Typical total chlorine at the tap, mg/L as Cl2.")
    ] = None
    residual_max: Annotated[str | None, typer.Option(help="The most it may be, mg/L as Cl2.")] = (
        None
    )
    source_ph: Annotated[str | None, typer.Option(help="The tap water's pH; - if not known.")] = (
        None
    )
    source_alkalinity: Annotated[
        str | None, typer.Option(help="The tap water's alkalinity; - if not known.")
    ] = None
    source_temperature: Annotated[
        str | None, typer.Option(help="The tap water's temperature; - if not known.")
    ] = None
    agent: Annotated[
        str | None,
        typer.Option(help="thiosulfate, sulfite, metabisulfite, ascorbate, or other (not said)."),
    ] = None
    label_ml: Annotated[
        str | None,
        typer.Option(
            help="Neutraliser, as its label says: 5 ml, '2 g', '20 drops' or '1 tablet' ..."
        ),
    ] = None
    label_litres: Annotated[
        str | None, typer.Option(help="... treat so much water (200, '50 US gal') ...")
    ] = None
    label_mg_l: Annotated[
        str | None, typer.Option(help="... that holds so much chlorine, mg/L as Cl2.")
    ] = None
    binds_ammonia: Annotated[
        str | None, typer.Option(help="Whether its label says that it binds ammonia: yes or no.")
    ] = None
    orp_port: Annotated[str | None, typer.Option(help="Port of the ORP probe; - for none.")] = None
    orp_driver: Annotated[str | None, typer.Option(help="Its driver.")] = None
    ph_port: Annotated[str | None, typer.Option(help="Port of the pH probe; - for none.")] = None
    ph_driver: Annotated[str | None, typer.Option(help="Its driver.")] = None
    temperature_port: Annotated[
        str | None, typer.Option(help="Port of the temperature probe; - for none.")
    ] = None
    temperature_driver: Annotated[str | None, typer.Option(help="Its driver.")] = None
    broker: Annotated[
        str | None, typer.Option(help="Host of the MQTT broker, for probes whose port is mqtt.")
    ] = None


def setup(
    config: Annotated[
        Path, typer.Option("--config", envvar="AFTERFILL_CONFIG", help="The file to write.")
    ] = Path(FILE_NAME),
    *,
    given: Given,
    set_: Annotated[
        list[str] | None,
        typer.Option(
            "--set",
            help="A driver's key, as in TOML: orp.device=7, 'orp.request=\"R\\r\"'.",
        ),
    ] = None,
    yes: Annotated[
        bool, typer.Option("--yes", help="Ask nothing; defaults for all that is not given.")
    ] = False,
    force: Annotated[bool, typer.Option("--force", help="Replace a file that is there.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Write a commented starter configuration; asks the few questions that matter.

    Every answer can be given as an option instead; with --yes nothing is asked. A probe head that
    speaks in lines is listened to, or asked, and what it says is shown. A probe without a port is
    left out and can be added later. Who leaves early is offered their answers the next time.
    """
    from afterfill.cli.setup.written import written

    answers = {name: answer for name, answer in asdict(given).items() if answer is not None}
    written(config, answers, set_ or [], ask=not yes, force=force, as_json=as_json)
