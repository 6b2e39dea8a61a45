"""Each miss and each false alarm by its seed, for work on the filter."""

from bench.figures import Played, combined_carried, free_carried, unannounced_raw
from bench.outcome import RefillOutcome


def listed(found: Played) -> list[str]:
    """One line for each; times in minutes since the refill's begin, or hours since the story's."""
    refills = found.refills
    missed = [
        ("free", [o for o in free_carried(refills) if not o.alarmed_within(15)]),
        ("combined", [o for o in combined_carried(refills) if not o.alarmed_within(20)]),
        ("other over 0.1 mg/L", [o for o in _others(refills) if not o.alarmed_within(30)]),
        ("unannounced raw", [o for o in unannounced_raw(refills) if not o.alarmed_within(30)]),
        ("FALSE, dosed", [o for o in refills if o.well_dosed and o.alarms_s]),
        ("clear but carried", [o for o in refills if o.peak_mg_l >= 0.1 and o.verdict == "clear"]),
    ]
    lines = [f"{what}: {_of_refill(o)}" for what, outcomes in missed for o in outcomes]
    for name, outcomes in (("quiet", found.quiet), ("top-off", found.top_offs)):
        for o in outcomes:
            troubles = ", ".join(f"{kind} at {at / 3600:.2f} h" for kind, at in o.troubles)
            lines += [
                f"FALSE, {name}: seed {o.seed}, {o.law}, alarm at {a / 3600:.2f} h; "
                f"troubles: {troubles or 'none'}"
                for a in o.false_s
            ]
    return lines


def _others(refills: list[RefillOutcome]) -> list[RefillOutcome]:
    known = [*free_carried(refills), *combined_carried(refills)]
    return [o for o in refills if o.over_s is not None and not o.blind and o not in known]


def _of_refill(o: RefillOutcome) -> str:
    alarms = [f"{(a - o.begin_s) / 60:.0f}" for a, _ in o.alarms_s]
    over = "never" if o.over_s is None else f"{(o.over_s - o.begin_s) / 60:.0f}"
    return (
        f"seed {o.seed} at {o.begin_s / 3600:.1f} h, {o.law}: peak {o.peak_mg_l:.3f} mg/L, over "
        f"0.1 at {over} min, alarms at {', '.join(alarms) or '-'} min, verdict {o.verdict}; "
        f"{o.what}"
    )
