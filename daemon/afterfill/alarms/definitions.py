"""All alarms, the gravest first: the order of `afterfill alarm list`, and of first-out when
several come at once."""

from afterfill.alarms.definition import Definition
from afterfill.alarms.machine_definitions import MACHINE
from afterfill.alarms.probe_definitions import PROBE
from afterfill.alarms.source_definitions import SOURCE
from afterfill.alarms.water_definitions import FREE_AMMONIA, REFILL, RESIDUAL_OXIDANT, WATER

__all__ = ["DANGERS", "DEFINITIONS", "FREE_AMMONIA", "RESIDUAL_OXIDANT", "Definition"]

DEFINITIONS: dict[str, Definition] = {
    d.name: d for d in (*WATER, *REFILL, *SOURCE, *PROBE, *MACHINE)
}
DANGERS = tuple(name for name, definition in DEFINITIONS.items() if definition.danger)
