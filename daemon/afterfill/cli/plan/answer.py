"""Makes the plan that is asked for, and prints it."""

from dataclasses import replace
from pathlib import Path

from afterfill.cli.configured import config_path, named, one_tank
from afterfill.cli.console import tell
from afterfill.cli.options import Asked
from afterfill.cli.plan.inputs import inputs
from afterfill.cli.plan.refill import PlannedRefill, planned
from afterfill.cli.plan.rescue import PlannedRescue, rescued
from afterfill.cli.plan.said import Said
from afterfill.cli.plan.units import units
from afterfill.config import Config
from afterfill.config_file import load
from afterfill.errors import ModelDomainError, UsageError


def safe(said: Said, asked: Asked) -> bool:
    """Print the plan; whether it can be made safe, as far as that can be told. Raises as
    `plan_of`."""
    path = config_path(asked.config)
    settings = load(path)
    plan = plan_of(said, settings, path, one_tank(settings, asked.tank))
    tell(plan.words(), plan.wire(), as_json=asked.as_json)
    return plan.is_safe


def plan_of(said: Said, settings: Config, path: Path, name: str) -> PlannedRefill | PlannedRescue:
    """The plan for the tank `name`, of the settings that stand in the file at `path`.

    Raises UsageError for what cannot be planned, JournalError when a rescue has nothing to go by.
    """
    if said.source is not None:
        named(said.source, settings.source, "source")
    _check_question(said)
    temperatures = (said.tank_temperature, said.source_temperature)
    shown = replace(
        units(settings.units, path, name, said.litres, *temperatures),
        tank=name if len(settings.tank) > 1 else None,
        source=said.source,
    )
    try:
        known = inputs(settings, name, said, shown)
        if said.rescue:
            return rescued(settings.journal.path, known, said.residual_mg_l)
        return planned(known, said)
    except ModelDomainError as error:
        raise UsageError(str(error)) from error


def _check_question(it: Said) -> None:
    if it.rescue and (it.litres, it.share, it.dose_ml) != (None, None, None):
        raise UsageError("--rescue is about the whole tank: leave out --litres, --share, --dose-ml")
    if not it.rescue and it.residual_mg_l is not None:
        raise UsageError("--residual is what is in the tank now: add --rescue")
    if not it.rescue and (it.litres is None) == (it.share is None):
        raise UsageError("say how much water, with --litres 25 or --share 25%")
