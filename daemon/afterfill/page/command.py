"""`afterfill page`: the page on the local network."""

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from afterfill.cli.configured import config_path
from afterfill.cli.options import ConfigOption
from afterfill.config import Page
from afterfill.config_file import load
from afterfill.errors import ConfigError, UsageError
from afterfill.service.page_needs import MISSING_PACKAGES, has_packages


def page(
    listen: Annotated[
        str | None,
        typer.Option(help="Address and port of this machine, 192.168.1.20:8420; else [page]."),
    ] = None,
    password_file: Annotated[
        Path | None, typer.Option(help="The file that holds the password; else [page].")
    ] = None,
    config: ConfigOption = None,
) -> None:
    """Serve the page on the local network, until stopped (SIGTERM).

    How each tank stands and what to do, live; refills, tests and work logged, alarms answered,
    plans made. A process of its own: it reads the journal and leaves what you say for the service.
    Off unless [page] (or the options) names an address and a password. Exit 2 when that is wrong
    or missing, 3 when the address or the password's file cannot be had.
    """
    path = config_path(config)
    settings = load(path)
    given = settings.page or Page()
    listen, secret = listen or given.listen, password_file or given.password_file
    if listen is None or secret is None:
        raise ConfigError(
            "the page is off: set listen and password_file in [page], or give --listen and "
            "--password-file"
        )
    if not has_packages():
        raise UsageError(MISSING_PACKAGES)
    # in place of this process, which has loaded what reads a command line, and would keep it
    question = [str(path), listen, str(secret), given.url or ""]
    os.execv(sys.executable, [sys.executable, "-m", "afterfill.page.serve", *question])
