"""What the service believes of a tank."""

from afterfill.inference.belief import Belief
from afterfill.journal.store import Journal
from afterfill.service.restore import restored
from afterfill.tank_setup import TankSetup


def belief_now(journal: Journal, setup: TankSetup) -> tuple[Belief, float]:
    """What the service believes after its last committed input, and when that was [s]."""
    state, last_s = restored(journal, setup)
    return state.belief, last_s
