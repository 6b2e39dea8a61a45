"""Who is logged in: kept in memory, by the hash of what the browser holds."""

import hashlib
import secrets
from dataclasses import dataclass, field

from afterfill.page.rate import Bucket

COOKIE = "afterfill"
LONGEST_S = 14 * 86400.0  # after that the password is asked again; our judgement
IDLE_S = 3 * 86400.0
_MOST = 64  # sessions, of which the one unused for longest goes
_MOST_TICKETS = 128


@dataclass
class Session:
    """One browser. Times are monotonic seconds; `notes`: what it is to be told once; `changes`:
    how often it may change something; `spent`: tickets of forms that were sent."""

    begun_s: float
    seen_s: float
    notes: list[str] = field(default_factory=list)
    changes: Bucket = field(default_factory=lambda: Bucket(30, 1.0))
    work: Bucket = field(default_factory=lambda: Bucket(20, 0.5))
    spent: list[str] = field(default_factory=list)

    def spend(self, ticket: str) -> bool:
        """Whether the form with this ticket is sent for the first time: wet fingers tap twice."""
        if ticket in self.spent:
            return False
        self.spent = [*self.spent[-_MOST_TICKETS:], ticket]
        return True

    def is_over(self, now_s: float) -> bool:
        """Whether it has lasted, or lain idle, too long."""
        return now_s - self.begun_s > LONGEST_S or now_s - self.seen_s > IDLE_S


class Sessions:
    """All that there are."""

    def __init__(self) -> None:
        self._by_hash: dict[bytes, Session] = {}

    def begin(self, now_s: float) -> str:
        """A new session; what its browser must show."""
        token = secrets.token_urlsafe(32)
        self._by_hash[_hashed(token)] = Session(now_s, now_s)
        while len(self._by_hash) > _MOST:
            del self._by_hash[min(self._by_hash, key=lambda it: self._by_hash[it].seen_s)]
        return token

    def of(self, token: str | None, now_s: float, *, used: bool = True) -> Session | None:
        """The session that goes with `token`, as long as it lasts; `used`: by a person."""
        session = None if token is None else self._by_hash.get(_hashed(token))
        if token is None or session is None:
            return None
        if session.is_over(now_s):
            self.end(token)
            return None
        if used:
            session.seen_s = now_s
        return session

    def end(self, token: str | None) -> None:
        """Log out."""
        if token is not None:
            self._by_hash.pop(_hashed(token), None)


def _hashed(token: str) -> bytes:
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).digest()
