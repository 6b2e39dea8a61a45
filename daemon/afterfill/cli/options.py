"""The options that commands share."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from afterfill.cli.places import FILE_NAME, SYSTEM_FILE

ConfigOption = Annotated[
    Path | None,
    typer.Option(
        "--config",
        envvar="AFTERFILL_CONFIG",
        help=f"The configuration; else {FILE_NAME} in this folder, else {SYSTEM_FILE}.",
        show_default=False,
    ),
]
TankOption = Annotated[
    str | None,
    typer.Option("--tank", help="Which tank; may be left out when there is only one."),
]
JsonOption = Annotated[
    bool, typer.Option("--json", help="Print JSON, one object a line, instead of words.")
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """Of which tank and configuration, and how the answer is printed: all as `Later` fills it."""

    tank: TankOption = None
    config: ConfigOption = None
    as_json: JsonOption = False
