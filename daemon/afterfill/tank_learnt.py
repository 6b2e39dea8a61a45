"""What is known of a tank's ORP probe, as a record of the journal: so that a state which another
version cannot read does not take it along."""

import math
from dataclasses import replace

from afterfill.inference.calibration.learnt import PARAMETERS, Learnt
from afterfill.records import ProbeLearnt
from afterfill.tank_setup import TankSetup
from afterfill.tank_state import TankState

_SLOPE_MOVED_MV = 2.0  # the pH slope is learnt each quiet hour: worth a record when it has moved so


def told(setup: TankSetup, state: TankState, time_s: float) -> tuple[TankState, list[ProbeLearnt]]:
    """The state and what is known of the probe, if that is not what was told last."""
    learnt, before = state.belief.learnt, state.learnt
    if before is not None and _is_near(before, learnt):
        return state, []
    record = ProbeLearnt(
        time_s,
        setup.inference.tank,
        PARAMETERS,
        tuple(float(value) for value in learnt.mean),
        tuple(float(value) for value in learnt.sd),
        learnt.refills,
        learnt.ph_slope_mv,
        learnt.ph_slope_sd,
    )
    return state._replace(learnt=record), [record]


def taken_up(state: TankState, record: ProbeLearnt) -> TankState:
    """The state that knows of its probe what `record` says of the parameters that are known here;
    a parameter that this version does not know is left out, one that it lacks keeps its prior.
    Where that is known already, the state is as it was."""
    if _is_near(record, state.belief.learnt):
        return state
    learnt = Learnt()
    mean, sd = learnt.mean.copy(), learnt.sd.copy()
    for name, log_mean, log_sd in zip(
        record.parameters, record.log_mean, record.log_sd, strict=True
    ):
        if name in PARAMETERS and math.isfinite(log_mean) and log_sd > 0.0:
            mean[PARAMETERS.index(name)], sd[PARAMETERS.index(name)] = log_mean, log_sd
    learnt = replace(
        learnt,
        mean=mean,
        sd=sd,
        refills=record.refills,
        ph_slope_mv=record.ph_slope_mv,
        ph_slope_sd=record.ph_slope_sd_mv,
    )
    return state._replace(belief=state.belief._replace(learnt=learnt), learnt=record)


def told_again(
    setup: TankSetup, before: TankState, after: TankState, time_s: float
) -> list[ProbeLearnt]:
    """What is known of the probe at `time_s` [s] where `after` takes the place of `before`."""
    if before.learnt is None or _is_near(before.learnt, after.belief.learnt):
        return []
    return told(setup, after._replace(learnt=None), time_s)[1]


def _is_near(before: ProbeLearnt, learnt: Learnt) -> bool:
    same = before.refills == learnt.refills and before.parameters == PARAMETERS
    same = same and before.log_mean == tuple(learnt.mean.tolist())
    same = same and before.log_sd == tuple(learnt.sd.tolist())
    return same and abs(before.ph_slope_mv - learnt.ph_slope_mv) < _SLOPE_MOVED_MV
