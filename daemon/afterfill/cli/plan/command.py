"""`afterfill plan`: what to dose and expect before a refill, or what to do after a carry-over."""

import typer

from afterfill.cli.options import Asked
from afterfill.cli.plan.said import Said


def plan(said: Said, asked: Asked) -> None:
    """Plan a refill: the dose, what to do in order, and what the tank will hold after it.

    Uses the journal's newest pH, temperature and ammonia when they are fresh, and says so. Residual
    is mg/L as Cl2, ammonia mg/L as N; intervals hold 90 %. Ends with 1 when the plan cannot be
    made safe. A plan is arithmetic, no measurement: test the water.
    """
    from afterfill.cli.plan.answer import safe

    if not safe(said, asked):
        raise typer.Exit(1)
