"""A recording through the fold: the same function as live, as fast as it goes."""

from collections.abc import Iterable, Iterator

from afterfill.records import Input, Output
from afterfill.tank import TankState, folded
from afterfill.tank_setup import TankSetup


def replayed(setup: TankSetup, inputs: Iterable[Input], every_s: float = 60.0) -> Iterator[Output]:
    """What is found in `inputs`, in their order, with an estimate every `every_s` [s]."""
    state = TankState()
    for record in inputs:
        state, found = folded(setup, state, record, every_s)
        yield from found
