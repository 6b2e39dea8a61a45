"""The last valid value of pH and temperature, and how long it may stand in for a newer one."""

from typing import NamedTuple

STALE_S = 1800.0  # pH and temperature of a tank move over hours: our judgement
_LEAP_K, _LEAP_K_PER_MIN, _LEAP_MIN = 2.5, 5.0, 2.0  # half a tank of cold water in two minutes
_LEAP_STANDS_S = 6 * 3600.0  # by then it is another probe: our judgement


class Channel(NamedTuple):
    """One quantity's last valid value and when it was read [s]; None before the first. `heard_s`:
    when it was last heard, believed or not."""

    value: float | None = None
    time_s: float = 0.0
    heard_s: float = 0.0

    def at(self, time_s: float) -> float | None:
        """The value if it may still be used at `time_s`, else None."""
        return self.value if time_s - self.time_s <= STALE_S else None

    def is_another(self, now: "Channel") -> bool:
        """Whether `now` was believed only because it had stood for long."""
        return self.heard_s > self.time_s and now.time_s - self.time_s > _LEAP_STANDS_S


def believed_c(channel: Channel, value: float, time_s: float) -> Channel:
    """The temperature's channel after a reading [degrees C]. A leap that no water makes is a fault
    of probe or line: not believed before it is gone, or has stood for six hours."""
    last_c = channel.value if time_s - channel.time_s <= _LEAP_STANDS_S else None
    gap_min = min((time_s - max(channel.heard_s, channel.time_s)) / 60.0, _LEAP_MIN)
    leap = last_c is not None and abs(value - last_c) > _LEAP_K + _LEAP_K_PER_MIN * gap_min
    return channel._replace(heard_s=time_s) if leap else Channel(value, time_s)
