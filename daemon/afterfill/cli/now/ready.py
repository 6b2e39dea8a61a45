"""Whether a refill may begin, as far as the service can tell now."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from afterfill.cli.standing import Stands
from afterfill.journal.newest import newest
from afterfill.journal.store import Journal
from afterfill.records import RefillReady

_FRESH_S = 120.0  # estimates come each minute; an older word upholds nothing


@dataclass(frozen=True, slots=True)
class Ready:
    """The answer, and why not."""

    ready: bool
    why: tuple[str, ...]

    def words(self) -> Iterator[str]:
        """A line."""
        yield f"  refill            {'may begin' if self.ready else 'hold it back'}" + (
            f": {'; '.join(self.why)}" if self.why else ", as far as can be told"
        )

    def wire(self) -> dict[str, Any]:
        """The JSON object."""
        return {"ready": self.ready, "why": list(self.why)}


def ready_of(journal: Journal, it: Stands) -> Ready:
    """What the service told last of the tank, as long as it runs and judges."""
    if not it.runs:
        return Ready(False, ("the service is not running",))
    if it.estimate_age_s is None or it.estimate_age_s > _FRESH_S:
        return Ready(False, ("the service has judged nothing lately",))
    told = newest(journal, RefillReady, it.tank)
    if told is None:
        return Ready(False, ("the service has judged nothing yet",))
    return Ready(told.record.ready, told.record.why)
