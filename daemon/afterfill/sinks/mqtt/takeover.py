"""Two clients of one name throw each other off the broker for ever: known by that, and slowed."""

from dataclasses import dataclass

RECONNECT_S = (1, 60)  # the first pause before a connection is tried again, and the longest
_TAKEN_OVER, _NO_REASON = 0x8E, 0x80  # MQTT 5
_SHORT_S = 10.0  # where the broker says nothing, so short a connection, again and again, tells
_SHORT_ONES = 3
_FIRST_S, _LONGEST_S = 5, 300
_QUIET_S = 2.0 * _LONGEST_S  # a connection that stood so long shows that the other one is gone


@dataclass
class Takeovers:
    """Counts how often another client took our place."""

    times: int = 0
    short: int = 0

    def lost(self, stood_s: float, reason: int = _NO_REASON) -> bool:
        """Note that a connection ended which stood `stood_s` [s]; whether another client of our
        name is why, by the broker's `reason` (as MQTT 5 numbers them) or by the pattern."""
        if stood_s >= _QUIET_S:
            self.times = self.short = 0
        self.short = self.short + 1 if stood_s < _SHORT_S else 0
        known = self.times > 0 or self.short >= _SHORT_ONES
        taken = reason == _TAKEN_OVER or (reason == _NO_REASON and known)
        self.times += int(taken)
        return taken

    @property
    def delays_s(self) -> tuple[int, int]:
        """The first and the longest pause [s] before the next tries."""
        if not self.times:
            return RECONNECT_S
        first_s = min(_LONGEST_S, _FIRST_S * 2 ** (self.times - 1))
        return first_s, max(first_s, RECONNECT_S[1])
