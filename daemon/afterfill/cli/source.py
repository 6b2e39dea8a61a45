"""What is believed of a source, as the journal was told last, with its age."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from afterfill.cli.spread import spread
from afterfill.cli.times import age
from afterfill.journal.newest import newest_by
from afterfill.journal.store import Journal
from afterfill.records import SourceBelieved
from afterfill.service.liveness import Liveness
from afterfill.wire import rfc3339


@dataclass(frozen=True, slots=True)
class Sourced:
    """A belief about a source, and how long ago [s] a test or refill last taught it; None where
    nothing has."""

    believed: SourceBelieved
    learnt_age_s: float | None

    def words(self) -> Iterator[str]:
        """A line, and another one about a filter."""
        it = self.believed
        yield (
            f"  source {it.source:<10} {spread(it.residual_mg_l, digits=2)} mg/L as Cl2, "
            f"{_kind(it)}; {self.origin()}"
        )
        if it.changed:
            yield "    it is not the water that was believed: test it once more, and log that"
        if it.breakthrough is not None:
            share = it.cartridge_share
            passed = "" if share is None else f"; {share:.0%} of its cartridge's litres have passed"
            yield f"    lets raw water through with probability {it.breakthrough:.2g}{passed}"

    def origin(self) -> str:
        """What it rests on: ``by 2 tests and refills, the last 3 days ago``."""
        if self.learnt_age_s is None:
            return "by the configuration alone: no test of it is known"
        many = "a test or refill" if self.believed.taught == 1 else (
            f"{self.believed.taught} tests and refills, the last"
        )  # fmt: skip
        return f"by {many} {age(self.learnt_age_s)} ago"

    def wire(self) -> dict[str, Any]:
        """The JSON object."""
        it = self.believed
        return {
            "source": it.source,
            "water": it.water,
            "disinfectant": it.disinfectant,
            "residual_mg_l": it.residual_mg_l._asdict(),
            "learnt": None if it.learnt_s is None else rfc3339(it.learnt_s),
            "learnt_age_s": None if self.learnt_age_s is None else round(self.learnt_age_s, 1),
            "taught": it.taught,
            "breakthrough": it.breakthrough,
            "cartridge_share": it.cartridge_share,
            "changed": it.changed,
        }


def sources_of(journal: Journal, tank: str, names: list[str], live: Liveness) -> dict[str, Sourced]:
    """What was told last of each of these sources that anything was told of."""
    found = newest_by(journal, SourceBelieved, tank, lambda it: it.source, names)
    return {
        name: Sourced(it.record, _age_s(it.record, live.age_s(it.stamp)))
        for name, it in found.items()
    }


def _age_s(it: SourceBelieved, told_age_s: float) -> float | None:
    return None if it.learnt_s is None else told_age_s + max(it.time_s - it.learnt_s, 0.0)


def _kind(it: SourceBelieved) -> str:
    of_water = "" if it.water == "tap" else f"{it.water}, "
    unknown = it.disinfectant == "unknown"
    return of_water + ("disinfectant not known" if unknown else it.disinfectant)
