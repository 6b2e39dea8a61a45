"""A tank, a source and a bottle for tests of the planning."""

from dataclasses import replace
from typing import Any

from afterfill.chemistry.standing import Interval
from afterfill.planning.asked import Asked, Bottle, Bounds, TankBefore, Tap
from afterfill.planning.refill import RefillPlan, plan_refill

TANK = TankBefore(100.0, Interval(0.02, 0.05, 0.2), 7.4, 25.0, 80.0)
CHLORAMINE = Tap("chloramine", 2.0, 3.0, 4.5, None, 7.8, 60.0, 22.0)
CHLORINE = replace(CHLORAMINE, disinfectant="chlorine", residual_mg_l=0.5, residual_max_mg_l=1.0)
THIOSULFATE = Bottle("thiosulfate", 40.0, False, 5.0, 200.0)
BOUNDS = Bounds(0.011, 0.0156, (6.0, 8.2), (20.0, 28.0))


def planned(litres: float = 25.0, **changes: Any) -> RefillPlan:
    """A plan with `tank`, `tap`, `bottle`, `bounds` or any part of `Asked` changed."""
    tank = changes.pop("tank", TANK)
    tap = changes.pop("tap", CHLORAMINE)
    bottle = changes.pop("bottle", THIOSULFATE)
    bounds = changes.pop("bounds", BOUNDS)
    return plan_refill(tank, tap, bottle, bounds, Asked(litres, **changes))
