"""The last valid value of pH and temperature, and how long it may stand in for a newer one."""

from dataclasses import dataclass

STALE_S = 1800.0  # pH and temperature of a tank move over hours: our judgement


@dataclass(frozen=True, slots=True)
class Channel:
    """One quantity's last valid value and when it was read [s]; None before the first."""

    value: float | None = None
    time_s: float = 0.0

    def at(self, time_s: float) -> float | None:
        """The value if it may still be used at `time_s`, else None."""
        return self.value if time_s - self.time_s <= STALE_S else None
