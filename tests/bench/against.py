"""Simple detectors against the filter: each gets the level at which, on the tuning seeds, it rings
falsely as often as the filter does; the best of them there is then held against the filter."""

from collections.abc import Sequence
from dataclasses import dataclass

from bench.baselines import DETECTORS
from bench.intervals import bootstrap
from bench.outcome import CAUGHT_S, QuietOutcome, RefillOutcome

Outcome = RefillOutcome | QuietOutcome


@dataclass(frozen=True)
class Rivals:
    """What the detectors reached on the tuning seeds: in stories with nothing to find, and in
    carry-overs."""

    nothing: list[dict[str, float]]
    carried: list[dict[str, float]]

    def tuned(self, false_share: float) -> tuple[str, float]:
        """The detector, and its level, that misses least at so many false alarms."""
        allowed = int(false_share * len(self.nothing))
        best = ("fixed threshold", float("inf"), len(self.carried) + 1)
        for name in DETECTORS:
            ranked = sorted((reach[name] for reach in self.nothing), reverse=True)
            level = ranked[min(allowed, len(ranked) - 1)]
            missed = sum(reach[name] <= level for reach in self.carried)
            if missed < best[2]:
                best = (name, level, missed)
        return best[0], best[1]


def rivals_of(refills: list[RefillOutcome], quiet: list[QuietOutcome]) -> Rivals:
    """From the outcomes of the tuning seeds."""
    return Rivals([o.reach for o in _nothing(refills, quiet)], [o.reach for o in _carried(refills)])


def missed_against(
    refills: list[RefillOutcome], quiet: list[QuietOutcome], rivals: Rivals
) -> tuple[float, float, float, str]:
    """Our misses over the best detector's, the interval, and the counts in words."""
    nothing, carried = _nothing(refills, quiet), _carried(refills)
    false = sum(_rang(o) for o in nothing)
    name, level = rivals.tuned(false / max(len(nothing), 1))
    theirs_false = sum(o.reach[name] > level for o in nothing)

    def missed(some: Sequence[RefillOutcome]) -> tuple[int, int]:
        ours = sum(not o.alarmed_within(CAUGHT_S / 60.0) for o in some)
        return ours, sum(o.reach[name] <= level for o in some)

    def ratio(some: Sequence[RefillOutcome]) -> float:
        ours, theirs = missed(some)
        return ours / max(theirs, 1)

    ours, theirs = missed(carried)
    note = (
        f"{ours} of {len(carried)} missed, {theirs} by '{name}' at {level:.0f}; "
        f"false in {false} and {theirs_false} of {len(nothing)}"
    )
    return (ratio(carried), *bootstrap(carried, ratio), note)


def _nothing(refills: list[RefillOutcome], quiet: list[QuietOutcome]) -> list[Outcome]:
    return [*quiet, *(o for o in refills if o.well_dosed)]


def _carried(refills: list[RefillOutcome]) -> list[RefillOutcome]:
    return [o for o in refills if o.over_s is not None and not o.blind]


def _rang(outcome: Outcome) -> bool:
    return bool(outcome.false_s if isinstance(outcome, QuietOutcome) else outcome.alarms_s)
