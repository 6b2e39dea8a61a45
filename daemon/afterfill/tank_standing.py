"""How one tank stands, as a record that is told whenever it changes."""

from afterfill.alarms.definitions import DANGERS, DEFINITIONS
from afterfill.alarms.standing import SAFE_BELOW, word_of
from afterfill.inference.monitor.watch import is_undecided
from afterfill.inference.posterior.present import Present
from afterfill.records import Estimate, Standing
from afterfill.tank_setup import TankSetup
from afterfill.tank_state import TankState

_UNTOLD = (
    "nothing is told of how evaporated water is made up for; log each time, say `top_off` in the "
    "configuration, or test chlorine"
)
_FLOOR_MOVED = 1.5  # the detection floor is told again when it has moved by this factor


def stood(
    setup: TankSetup, state: TankState, now: Estimate, moment: Present
) -> tuple[TankState, list[Standing]]:
    """The state after the estimate `now`, made of `moment`, and how the tank stands if that is not
    what was told."""
    word, why = word_of(
        now,
        setup.free_ammonia_limit_mg_l,
        [DEFINITIONS[name].cause for name in DANGERS if state.alarms.active(name)],
        ammonia_is_watched={"ph", "temperature"} <= set(setup.every_s),
        learning=moment.learning_s is not None,
    )
    old = state.belief.past or state.belief.earlier
    if word == "safe" and old is not None and is_undecided(old, now.time_s):
        word, why = "cannot-tell", "the last refill could not be judged; a chlorine test would tell"
    if word == "cannot-tell" and now.sees and moment.p_over_limit <= SAFE_BELOW:
        why = _UNTOLD
    told = state.standing
    since_s = told.since_s if told is not None and told.standing == word else now.time_s
    standing = Standing(
        now.time_s, now.tank, word, since_s, why, now.sees, now.detection_floor_mg_l
    )
    if told is not None and _says_the_same(told, standing):
        return state, []
    return state._replace(standing=standing), [standing]


def _says_the_same(told: Standing, now: Standing) -> bool:
    same = (told.standing, told.why, told.sees) == (now.standing, now.why, now.sees)
    return same and _is_near(told.detection_floor_mg_l, now.detection_floor_mg_l)


def _is_near(before: float | None, after: float | None) -> bool:
    if before is None or after is None:
        return before == after
    return before / _FLOOR_MOVED <= after <= before * _FLOOR_MOVED
