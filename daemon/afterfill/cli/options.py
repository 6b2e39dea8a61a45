"""The options that commands share."""

from pathlib import Path
from typing import Annotated

import typer

FILE_NAME = "afterfill.toml"
SYSTEM_FILE = Path("/etc/afterfill") / FILE_NAME

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
