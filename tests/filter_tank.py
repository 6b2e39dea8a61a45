"""A tank at the filter itself, read by hand."""

from dataclasses import dataclass, field

import numpy as np

from afterfill.inference import step, words
from afterfill.inference.belief import Belief
from afterfill.inference.setup import Pour, Setup, Water

SETUP = Setup("t", 100.0, 0.011, Water("chlorine", 1.5, 2.5), 40.0)
EVERY_S = 10.0


@dataclass
class Tank:
    """A tank read each 10 s, with a millivolt of noise."""

    belief: Belief = field(default_factory=Belief)
    time_s: float = 1.8e9
    random: np.random.Generator = field(default_factory=lambda: np.random.default_rng(3))

    def read(self, orp_mv: float, temperature_c: float = 25.0) -> None:
        """One step of the filter."""
        now = step.with_ph(self.belief, 7.2, self.time_s)
        now = step.with_temperature(now, temperature_c, self.time_s)
        noisy_mv = round(orp_mv + float(self.random.standard_normal()), 1)
        now = step.stepped(SETUP, now, self.time_s, noisy_mv)
        if step.needs_new_particles(now, self.time_s):
            now = step.with_new_particles(SETUP, now, self.time_s)
        self.belief, self.time_s = now, self.time_s + EVERY_S

    def rest(self, minutes: float, orp_mv: float = 300.0) -> None:
        """Quiet readings."""
        for _ in range(round(minutes * 60.0 / EVERY_S)):
            self.read(orp_mv)

    def pour(self) -> None:
        """A quarter of the tank that is not said to be dosed."""
        pour = Pour(self.time_s, True, SETUP.water, litres=25.0, minutes=5.0)
        self.belief = words.poured(SETUP, self.belief, pour, self.time_s)

    def in_the_air(self, minutes: float) -> None:
        """To and fro well below the level, in steps too small for a hand."""
        for number in range(round(minutes * 60.0 / EVERY_S)):
            self.read(285.0 + (12.0 if number % 2 else -12.0))


def odds_by_orp(tank: Tank) -> float:
    assert tank.belief.watch is not None
    return tank.belief.watch.moved_orp
