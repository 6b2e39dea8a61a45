"""What `afterfill now` says of the day to come, if nothing more is poured."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from afterfill.cli.times import moment
from afterfill.inference.belief import Belief
from afterfill.inference.posterior.forecast import Outlook, ammonia_peak, below_limit_h, forecast
from afterfill.records import Quantiles
from afterfill.tank_setup import TankSetup


@dataclass(frozen=True, slots=True)
class TankOutlook:
    """The outlooks from `time_s` [Unix s] on; `below_h`: hours until the residual is below its
    limit, likely and with 95 %, None when it is not over it now; `peak`: hours and height
    [mg/L as N] of un-ionised ammonia's highest, None when it stays low or is not known."""

    time_s: float
    outlooks: list[Outlook]
    below_h: tuple[float | None, float | None] | None
    peak: tuple[float, float] | None

    def words(self, now_s: float) -> Iterator[str]:
        """When the residual falls below its limit and when ammonia peaks."""
        if self.below_h is not None:
            likely, sure = (self._when(hours, now_s) for hours in self.below_h)
            yield f"  outlook           below the residual's limit {likely} (with 95 % {sure})"
        if self.peak is not None:
            when = self._when(self.peak[0], now_s)
            yield f"  outlook           un-ionised NH3 highest {when}: {self.peak[1]:.2g} mg/L as N"

    def _when(self, hours: float | None, now_s: float) -> str:
        if hours is None:
            return "not within a day"
        return "now" if hours == 0.0 else f"at about {moment(self.time_s + 3600.0 * hours, now_s)}"

    def wire(self) -> list[dict[str, Any]]:
        """The outlooks as JSON objects."""
        return [
            {
                "hours": it.hours,
                "residual_mg_l": _rounded(it.residual_mg_l),
                "free_ammonia_mg_l": _rounded(it.free_ammonia_mg_l),
            }
            for it in self.outlooks
        ]


def outlook_of(setup: TankSetup, belief: Belief, time_s: float) -> TankOutlook:
    """What a belief at `time_s` [Unix s] leads to within a day."""
    outlooks, limit_mg_l = forecast(belief, time_s), setup.inference.limit_mg_l
    over = belief.watch is not None and outlooks[0].residual_mg_l.q95 > limit_mg_l
    peak = ammonia_peak(outlooks)
    low = peak is None or peak[1] < 0.5 * setup.free_ammonia_limit_mg_l
    below_h = below_limit_h(outlooks, limit_mg_l) if over else None
    return TankOutlook(time_s, outlooks, below_h, None if low else peak)


def _rounded(values: Quantiles | None) -> dict[str, float] | None:
    if values is None:
        return None
    return {name: round(value, 6) for name, value in values._asdict().items()}
