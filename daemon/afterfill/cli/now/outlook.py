"""What `afterfill now` says of the day to come and of what was learnt of the probe."""

from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

import numpy as np

from afterfill.cli.times import moment
from afterfill.inference.belief import Belief
from afterfill.inference.calibration.learnt import PARAMETERS, Learnt, drawn
from afterfill.inference.filter.streams import Array
from afterfill.inference.model.electrode import LOGARITHMIC, Probe
from afterfill.inference.monitor.baseline import noise_of
from afterfill.inference.posterior.forecast import Outlook, ammonia_peak, below_limit_h, forecast
from afterfill.journal.store import Journal
from afterfill.service.restore import restored
from afterfill.tank_setup import TankSetup

_N = 192
_SHOWN_MG_L = 0.1
_HOCL, _W_OCL = 0.6, 0.4  # about pH 7.4 and 25 degrees C
_SHOWN = {"free chlorine": "free", "chloramine": "combined"}


def belief_now(journal: Journal, setup: TankSetup) -> tuple[Belief, float]:
    """What the service believes after its last committed input, and when that was [s]."""
    state, last_s = restored(journal, setup)
    return state.belief, last_s


def outlook_lines(setup: TankSetup, belief: Belief, time_s: float, now_s: float) -> Iterator[str]:
    """When the residual falls below its limit and when ammonia peaks, if nothing more is poured."""
    outlooks = forecast(belief, time_s)
    limit_mg_l = setup.inference.limit_mg_l
    if belief.watch is not None and outlooks[0].residual_mg_l.q95 > limit_mg_l:
        middle_h, high_h = below_limit_h(outlooks, limit_mg_l)
        likely = _when(middle_h, time_s, now_s)
        sure = _when(high_h, time_s, now_s)
        yield f"  outlook           below the residual's limit {likely} (with 95 % {sure})"
    peak = ammonia_peak(outlooks)
    if peak is not None and peak[1] >= 0.5 * setup.free_ammonia_limit_mg_l:
        when = _when(peak[0], time_s, now_s)
        yield f"  outlook           un-ionised NH3 highest {when}: {peak[1]:.2g} mg/L as N"


def outlook_wire(belief: Belief, time_s: float) -> list[dict[str, Any]]:
    """The outlook as JSON objects."""
    return [_wire(outlook) for outlook in forecast(belief, time_s)]


def _wire(outlook: Outlook) -> dict[str, Any]:
    found = asdict(outlook)
    for key in ("residual_mg_l", "free_ammonia_mg_l"):
        values = getattr(outlook, key)
        found[key] = (
            None
            if values is None
            else {name: round(value, 6) for name, value in values._asdict().items()}
        )
    return found


def _when(hours: float | None, time_s: float, now_s: float) -> str:
    if hours is None:
        return "not within a day"
    return "now" if hours == 0.0 else f"at about {moment(time_s + 3600.0 * hours, now_s)}"


def learned_wire(belief: Belief) -> dict[str, Any]:
    """What was learnt of the probe, as numbers: 5, 50 and 95 % points of each parameter."""
    learnt = belief.learnt
    parameters = {
        name: [round(float(v), 4) for v in np.quantile(drawn(learnt, _N, name), (0.05, 0.5, 0.95))]
        for name in PARAMETERS
    }
    return {
        "refills": learnt.refills,
        "traits": parameters,
        "ph_slope_mv": round(learnt.ph_slope_mv, 2),
        "ph_slope_sd": round(learnt.ph_slope_sd, 2),
        "noise_mv": round(noise_of(belief.baseline), 3),
    }


def learned_lines(belief: Belief) -> Iterator[str]:
    """What was learnt of the probe, in words."""
    learnt = belief.learnt
    source = (
        "nothing yet beyond the usual range of such probes: a chlorine test during a carry-over "
        "teaches it"
        if learnt.refills == 0
        else f"from {learnt.refills} refills whose truth a test told"
    )
    yield f"  response          {source}"
    for name, kind in _SHOWN.items():
        low, middle, high = np.quantile(_step_mv(learnt, kind), (0.05, 0.5, 0.95))
        yield (
            f"    0.1 mg/L {name:14s} moves the ORP by {middle:.0f} mV ({low:.0f} to {high:.0f})"
        )
    yield f"  pH                {learnt.ph_slope_mv:.0f} mV per pH (+- {learnt.ph_slope_sd:.0f})"
    yield f"  noise             {noise_of(belief.baseline):.2g} mV from reading to reading"
    yield "  to forget it: afterfill log service --what probe"


def _step_mv(learnt: Learnt, kind: str) -> Array:
    """The rise [mV] that 0.1 mg/L of one kind makes at a usual pH, as probes like this one may."""
    b_mv, c0_mg_l, weight = (drawn(learnt, _N, n) for n in ("b_mv", "c0_mg_l", "w_combined"))
    probe = Probe(b_mv, c0_mg_l, np.full(_N, _W_OCL), weight)
    some, none = np.full(_N, _SHOWN_MG_L), np.zeros(_N)
    free, combined = (none, some) if kind == "combined" else (some, none)
    return LOGARITHMIC.response_mv(probe, free, combined, _HOCL)
