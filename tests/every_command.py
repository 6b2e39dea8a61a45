"""Every command of the program that does something."""

import typer

from afterfill.cli.lazy_group import leaves
from afterfill.cli.main import app

COMMANDS = dict(leaves(typer.main.get_command(app)))
