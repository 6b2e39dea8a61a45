"""`afterfill demo`: a virtual tank on real serial lines, in fast time."""

from pathlib import Path
from typing import Annotated

import typer


def demo(
    out: Annotated[
        Path, typer.Option(help="Folder for the demo's journal, recording and picture.")
    ] = Path("afterfill-demo"),
    seed: Annotated[int, typer.Option(help="Another seed is another week.")] = 11,
    fast: Annotated[bool, typer.Option(help="Do not slow down where it is interesting.")] = False,
    page: Annotated[
        bool, typer.Option("--page", help="Leave the page open to look at, until Ctrl-C.")
    ] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Only findings, one JSON object a line.")
    ] = False,
) -> None:
    """Show the whole job on a virtual tank: no probes, no broker, no database needed.

    Some ordinary days, a well-dosed water change, then an automated top-off whose neutraliser ran
    out. The probes are byte streams on pseudo-terminals, read by the ordinary drivers; time runs
    fast. It takes a minute.
    """
    from afterfill.cli.demo.play import shown

    folder = shown(out, seed, fast=fast, as_json=as_json)
    if page:
        from afterfill.cli.demo.page import left_open

        left_open(folder)
