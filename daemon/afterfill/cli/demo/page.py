"""The page on the demo's journal, left open to look at."""

import os
import secrets
import socket
import sys
from pathlib import Path

import typer

from afterfill.simulation.demo_run import CONFIG_NAME

_HERE = "127.0.0.1"


def left_open(folder: Path) -> None:
    """Serve it on this machine alone until stopped, in place of this process."""
    password, file = secrets.token_urlsafe(9), folder / "page-password"
    file.touch(mode=0o600)
    file.write_text(password)
    listen = f"{_HERE}:{_free_port()}"
    typer.echo(f"\nThe page: http://{listen}/   password: {password}   (Ctrl-C ends it)")
    typer.echo("It says CANNOT TELL, since no service runs here now: look at History and Log.")
    sys.stdout.flush()
    question = ["page", "--listen", listen, "--password-file", str(file)]
    question += ["--config", str(folder / CONFIG_NAME)]
    os.execv(sys.executable, [sys.executable, "-m", "afterfill.cli.main", *question])


def _free_port() -> int:
    with socket.socket() as asked:
        asked.bind((_HERE, 0))
        return int(asked.getsockname()[1])
