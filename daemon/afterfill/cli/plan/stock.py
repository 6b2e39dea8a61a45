"""What a plan says of the bottle that its dose comes from."""

from collections.abc import Iterator

from afterfill.cli.bottle import TO_LOG
from afterfill.tank_bottle import BottleNow


def bottle_lines(bottle: BottleNow | None, ml: float | None, what: str) -> Iterator[str]:
    """Whether the bottle holds the `ml` that `what` takes, as far as was counted, and keeps."""
    if bottle is None:
        return
    if bottle.left_ml is not None and ml:
        held = bottle.held()
        line = f"{held[0].upper()}{held[1:]}; {what} takes {bottle.amount(ml)}"
        yield f"{line}: NOT ENOUGH, {TO_LOG}." if bottle.left_ml < ml else f"{line}."
    if bottle.past:
        yield f"It is PAST ITS TIME, {bottle.kept()}: {TO_LOG}."
