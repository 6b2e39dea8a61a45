"""Which test would tell most now: the one whose kit is fine beside what is believed."""

from math import log1p
from typing import Any, NamedTuple

import numpy as np

from afterfill.audit.answers import FIGURES
from afterfill.audit.kits import Kit
from afterfill.audit.predictive import believed
from afterfill.records import Estimate, Quantiles
from afterfill.wire import rfc3339

_WORTH_NATS = 0.1  # a test that narrows what is believed by a tenth; our judgement


class NextTest(NamedTuple):
    """By the estimate of `time_s` [s]: the test of `figure` (None: none is worth it now), and what
    it would tell [nats]."""

    time_s: float
    figure: str | None
    nats: float

    def sentence(self) -> str:
        """What to do."""
        if self.figure is None:
            return "no test would tell much now: test after the next refill"
        return f"a test of {self.figure} would tell most now"

    def wire(self) -> dict[str, Any]:
        """As JSON."""
        when = "now" if self.figure else "after-the-next-refill"
        nats = float(f"{self.nats:.2g}")
        return {"figure": self.figure, "when": when, "nats": nats, "time": rfc3339(self.time_s)}


def next_test(now: Estimate) -> NextTest:
    """By the estimate of now. While the ORP cannot be used, nothing is said of chlorine that a test
    could answer."""
    told = {
        figure.name: expected_nats(said, figure.kit)
        for figure in FIGURES
        if (now.sees or not figure.needs_sight) and (said := figure.said(now)) is not None
    }
    best = max(told, key=lambda name: told[name])
    return NextTest(now.time_s, best if told[best] >= _WORTH_NATS else None, told[best])


def expected_nats(said: Quantiles, kit: Kit) -> float:
    """What a test is expected to tell: as if both what is believed and the kit's error were normal,
    half the logarithm of the variance of what it shows over that of its error."""
    spread = float(np.var(believed(said)))
    error = float(kit.deviation_mg_l(np.array([said.q50]))[0]) ** 2
    return 0.5 * log1p(spread / error)
