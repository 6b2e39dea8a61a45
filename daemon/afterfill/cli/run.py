"""`afterfill run`: the service itself."""

import logging
import signal
import sys
import threading
from typing import Annotated

import typer

from afterfill.cli.configured import loaded
from afterfill.cli.options import ConfigOption
from afterfill.service.log_lines import LogLines


def run(
    config: ConfigOption = None,
    verbose: Annotated[bool, typer.Option(help="Say more in the log.")] = False,
) -> None:
    """Read the probes, watch every refill, raise alarms and deliver, until stopped (SIGTERM).

    Runs in the foreground and logs to standard error; a service manager does the rest. Exit 2
    when the configuration is wrong, 3 when the journal cannot be had.
    """
    _log_to_stderr(verbose)  # before what may say something while it loads
    from afterfill.service.service import run_service
    from afterfill.service.stop_signals import stop_on_signals

    settings = loaded(config)
    stop = threading.Event()
    stop_on_signals(stop, signal.SIGTERM, signal.SIGINT)
    run_service(settings, settings.journal.path, stop)


def _log_to_stderr(verbose: bool) -> None:
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(LogLines())
    logging.basicConfig(handlers=[handler], level=logging.DEBUG if verbose else logging.INFO)
    for chatty in ("apscheduler", "urllib3", "matplotlib", "asyncio"):
        logging.getLogger(chatty).setLevel(logging.WARNING)
