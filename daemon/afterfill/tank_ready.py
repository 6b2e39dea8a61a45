"""Whether a refill may begin, as far as can be told: a record that is told when it changes.

It is what an automation asks before it pours; nothing is switched here. Top-offs not logged
are left out: they are possible before each refill, and a refill does not make them worse.
"""

from collections.abc import Callable, Iterator

from afterfill import tank_sources
from afterfill.alarms.definitions import DANGERS
from afterfill.alarms.standing import SAFE_BELOW
from afterfill.inference import source
from afterfill.inference.model import priors
from afterfill.inference.posterior.present import Present
from afterfill.planning import practice
from afterfill.records import RefillReady
from afterfill.tank_bottle import bottle_now
from afterfill.tank_setup import TankSetup
from afterfill.tank_state import TankState

_SPENT = 1.0  # of what a cartridge's maker says it treats
_LETS_THROUGH = 0.5  # the raw water is more likely than not
_POSSIBLE = "residual-oxidant-possible"
_RUNNING_ON = "refill-running-on"


def ready(setup: TankSetup, state: TankState, now: Present) -> tuple[TankState, list[RefillReady]]:
    """The state, and whether a refill may begin now if that is not what was told."""
    why = tuple(words for reason in _REASONS for words in reason(setup, state, now))
    told = state.ready
    if told is not None and told.why == why:
        return state, []
    ready_now = RefillReady(now.time_s, setup.inference.tank, not why, why)
    return state._replace(ready=ready_now), [ready_now]


def _carry_over(_: TankSetup, state: TankState, now: Present) -> Iterator[str]:
    """By what the refills left, and by the alarms, which weigh it longer."""
    if state.alarms.active(_RUNNING_ON):
        yield "the last refill may still be running"
    alarmed = any(state.alarms.active(name) for name in (*DANGERS, _POSSIBLE))
    if alarmed or now.p_over_limit > SAFE_BELOW:
        yield "the last carry-over, or an alarm about the water, is not over"
    elif state.belief.watch is not None and state.belief.watch.reported:
        yield "the last refill is still watched"


def _sight(_: TankSetup, state: TankState, now: Present) -> Iterator[str]:
    if not now.sees:
        yield f"the ORP probe cannot see: {now.why_blind}"


def _source(setup: TankSetup, state: TankState, now: Present) -> Iterator[str]:
    water = setup.inference.water
    if not water.name:
        yield "no source is configured"
        return
    if tank_sources.is_changed(setup, state.belief):
        yield f"source {water.name} is not what it was: test it once more"
    if tank_sources.is_test_overdue(setup, state, now.time_s):
        yield f"the test of source {water.name} is overdue"


def _cartridge(setup: TankSetup, state: TankState, now: Present) -> Iterator[str]:
    water, known = setup.inference.water, state.belief.sources.get(setup.inference.water.name)
    share = source.share_of_cartridge(water, known)
    believed = state.belief.water_of(water, now.time_s)
    if share is not None and share >= _SPENT:
        yield f"the cartridge of source {water.name} is spent"
    elif (believed.breakthrough or 0.0) > _LETS_THROUGH:
        yield f"the filter of source {water.name} probably lets raw water through"


def _steps(setup: TankSetup, state: TankState, now: Present) -> Iterator[str]:
    """Of a refill like the last, mixed in proportion; what is not known is not held against it."""
    water = setup.inference.water
    for name, came, here, bearable, digits in (
        ("temperature", water.temperature_c, now.temperature_c,
         practice.TEMPERATURE_STEP_C, 0),
        ("pH", water.ph, now.ph, practice.PH_STEP, 1),
    ):  # fmt: skip
        if came is None or here is None:
            continue
        if abs(came - here) * _usual_share(setup, state) > bearable:
            yield (
                f"the new water's {name} ({came:.{digits}f}) is too far from the tank's "
                f"({here:.{digits}f}) for a refill like the last"
            )


def _usual_share(setup: TankSetup, state: TankState) -> float:
    """Of the tank: as the last refill that is remembered brought, else as people usually pour."""
    for watch in (state.belief.watch, state.belief.past):
        if watch is not None and watch.pour.litres is not None:
            return min(watch.pour.litres / setup.inference.litres, 1.0)
    return priors.FRACTION


def _bottle(setup: TankSetup, state: TankState, now: Present) -> Iterator[str]:
    """Where nothing was counted, nothing is held against it."""
    bottle = bottle_now(setup, state.stock, now.time_s)
    if bottle is not None and bottle.past:
        yield f"neutraliser {bottle.neutraliser} is past its time"
    elif bottle is not None and bottle.low:
        yield f"neutraliser {bottle.neutraliser} will not do for a usual refill"


# One function for each kind of reason, in the order in which they are said: add another here.
_REASONS: tuple[Callable[[TankSetup, TankState, Present], Iterator[str]], ...] = (
    _carry_over,
    _sight,
    _source,
    _cartridge,
    _steps,
    _bottle,
)
