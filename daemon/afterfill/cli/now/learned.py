"""What `afterfill now --learned` says of the ORP probe."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from afterfill.inference.belief import Belief
from afterfill.inference.calibration.learnt import PARAMETERS, Learnt, drawn
from afterfill.inference.filter.streams import Array
from afterfill.inference.model.electrode import LOGARITHMIC, Probe
from afterfill.inference.monitor.baseline import noise_of
from afterfill.records import Quantiles

_N = 192
_SHOWN_MG_L = 0.1
_HOCL, _W_OCL = 0.6, 0.4  # about pH 7.4 and 25 degrees C
_SHOWN = ("free chlorine", "chloramine")


@dataclass(frozen=True, slots=True)
class Learned:
    """Of each parameter, and of the step [mV] that 0.1 mg/L of each kind makes, the 5, 50 and
    95 % points; the pH slope [mV per pH]; the noise [mV] from reading to reading; how many
    refills taught it."""

    refills: int
    parameters: Mapping[str, Quantiles]
    steps_mv: Mapping[str, Quantiles]
    ph_slope_mv: float
    ph_slope_sd: float
    noise_mv: float

    def words(self) -> Iterator[str]:
        """For a person: what the parameters mean for the ORP."""
        source = (
            "nothing yet beyond the usual range of such probes: a chlorine test during a "
            "carry-over teaches it"
            if self.refills == 0
            else f"from {self.refills} refills whose truth a test told"
        )
        yield f"  response          {source}"
        for name, (low, middle, high) in self.steps_mv.items():
            step = f"{middle:.0f} mV ({low:.0f} to {high:.0f})"
            yield f"    0.1 mg/L {name:14s} moves the ORP by {step}"
        yield f"  pH                {self.ph_slope_mv:.0f} mV per pH (+- {self.ph_slope_sd:.0f})"
        yield f"  noise             {self.noise_mv:.2g} mV from reading to reading"
        yield "  to forget it: afterfill log service --what probe"

    def wire(self) -> dict[str, Any]:
        """For a program: the parameters themselves."""
        return {
            "refills": self.refills,
            "traits": {n: [round(v, 4) for v in values] for n, values in self.parameters.items()},
            "ph_slope_mv": round(self.ph_slope_mv, 2),
            "ph_slope_sd": round(self.ph_slope_sd, 2),
            "noise_mv": round(self.noise_mv, 3),
        }


def learned_of(belief: Belief) -> Learned:
    """What a belief holds of the tank's ORP probe."""
    learnt = belief.learnt
    return Learned(
        learnt.refills,
        {name: _quantiles(drawn(learnt, _N, name)) for name in PARAMETERS},
        {kind: _quantiles(_step_mv(learnt, kind)) for kind in _SHOWN},
        learnt.ph_slope_mv,
        learnt.ph_slope_sd,
        noise_of(belief.baseline),
    )


def _quantiles(values: Array) -> Quantiles:
    return Quantiles(*(float(v) for v in np.quantile(values, (0.05, 0.5, 0.95))))


def _step_mv(learnt: Learnt, kind: str) -> Array:
    """The rise [mV] that 0.1 mg/L of one kind makes at a usual pH, as probes like this one may."""
    b_mv, c0_mg_l, weight = (drawn(learnt, _N, n) for n in ("b_mv", "c0_mg_l", "w_combined"))
    probe = Probe(b_mv, c0_mg_l, np.full(_N, _W_OCL), weight)
    some, none = np.full(_N, _SHOWN_MG_L), np.zeros(_N)
    free, combined = (none, some) if kind == "chloramine" else (some, none)
    return LOGARITHMIC.response_mv(probe, free, combined, _HOCL)
