"""How long to wait before what failed is tried again."""

from dataclasses import dataclass, field


@dataclass
class BackOff:
    """Pauses [s] that double with each failure, from `first_s` to `longest_s`."""

    first_s: float
    longest_s: float
    _next_s: float = field(default=0.0, init=False)

    def failed(self) -> float:
        """The pause before the next try [s].

        >>> pauses = BackOff(1.0, 5.0)
        >>> [pauses.failed() for _ in range(4)]
        [1.0, 2.0, 4.0, 5.0]
        """
        pause_s = self._next_s or self.first_s
        self._next_s = min(2.0 * pause_s, self.longest_s)
        return pause_s

    def worked(self) -> None:
        """What failed works: the next pause is the first again."""
        self._next_s = 0.0
