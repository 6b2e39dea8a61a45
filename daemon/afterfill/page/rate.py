"""How often something may be tried: a few times at once, then at a steady pace."""

from dataclasses import dataclass, field

_MOST_CLIENTS = 256


@dataclass
class Bucket:
    """So many at once, then `per_s` a second; times are monotonic seconds."""

    at_once: float
    per_s: float
    left: float = field(init=False)
    at_s: float = 0.0

    def __post_init__(self) -> None:
        self.left = self.at_once

    def take(self, now_s: float) -> bool:
        """Whether one more may be tried now."""
        self.left = min(self.at_once, self.left + self.per_s * max(now_s - self.at_s, 0.0))
        self.at_s = now_s
        if self.left < 1.0:
            return False
        self.left -= 1.0
        return True


class LoginRate:
    """How often the password may be tried: by one address, and by all together."""

    def __init__(self) -> None:
        self._all = Bucket(60, 1.0)
        self._by_client: dict[str, Bucket] = {}

    def take(self, client: str, now_s: float) -> bool:
        """Whether `client` may try the password now: five times, then three times a minute."""
        own = self._by_client.pop(client, None) or Bucket(5, 0.05)
        self._by_client[client] = own  # the newest last
        while len(self._by_client) > _MOST_CLIENTS:
            del self._by_client[next(iter(self._by_client))]
        return own.take(now_s) and self._all.take(now_s)
