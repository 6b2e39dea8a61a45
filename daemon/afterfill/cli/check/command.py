"""`afterfill check`: prove that everything the service needs is there and works."""

from typing import Annotated

import typer

from afterfill.cli.options import ConfigOption, JsonOption


def check(
    config: ConfigOption = None,
    send_test: Annotated[
        bool, typer.Option("--send-test", help="Send a test message by each [[notify]] way.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Prove configuration, ports, probes, broker, database, page, clock, disk and journal.

    Prints a line for each. Opens every port and takes one reading of every probe; a port that the
    running service holds is judged by what the service recorded. Ends with 1 when something is
    faulty, with 2 when the configuration is wrong.
    """
    from afterfill.cli.check.findings import sound

    if not sound(config, send_test=send_test, as_json=as_json):
        raise typer.Exit(1)
