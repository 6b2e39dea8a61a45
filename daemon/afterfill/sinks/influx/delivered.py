"""Which entries of the journal a sink has delivered, when the newest go before a long backlog."""

import json
from dataclasses import dataclass, field

# Saving a cursor makes a card write some 16 kB. After a kill or a power cut what was delivered
# since is delivered again: harmless for points; for what MQTT tells as events, see there.
SAVE_CURSOR_S = 1800.0


@dataclass
class Delivered:
    """All up to `position` is delivered; beyond it, the `ahead` intervals (first, last], in order.

    The newest interval is where the present is delivered while a backlog is filled in.
    """

    position: int
    ahead: list[tuple[int, int]] = field(default_factory=list)

    def begin_ahead(self, at: int) -> None:
        """From now on the present is delivered from `at` on, whatever waits before it."""
        if self.ahead and self.ahead[-1][0] == self.ahead[-1][1]:  # nothing came of it
            self.ahead.pop()
        if at > self.newest():
            self.ahead.append((at, at))

    def newest(self) -> int:
        """How far the present is delivered."""
        return self.ahead[-1][1] if self.ahead else self.position

    def gap(self, last: int) -> tuple[int, int]:
        """The next piece (after, until) of the backlog, or of the present when there is none."""
        return self.position, self.ahead[0][0] if self.ahead else last

    def filled(self, until: int) -> None:
        """The piece after `position` is delivered up to `until`."""
        self.position = max(self.position, until)
        while self.ahead and self.ahead[0][0] <= self.position:
            self.position = max(self.position, self.ahead.pop(0)[1])

    def advanced(self, until: int) -> None:
        """The present is delivered up to `until`."""
        if self.ahead:
            first, last = self.ahead[-1]
            self.ahead[-1] = (first, max(last, until))
        else:
            self.filled(until)

    def waiting(self, last: int) -> int:
        """How many of all up to `last` are not delivered."""
        ahead = sum(until - after for after, until in self.ahead)
        return max(0, last - self.position - ahead)

    def text(self) -> str:
        """The intervals for the journal, so that a restart does not send them again."""
        return json.dumps(self.ahead)

    @classmethod
    def read(cls, position: int, text: str | None) -> "Delivered":
        """What `text` and the cursor say."""
        intervals = [(int(first), int(last)) for first, last in json.loads(text or "[]")]
        found = cls(position, [pair for pair in intervals if pair[1] > position])
        found.filled(position)
        return found
