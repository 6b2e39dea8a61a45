"""A sheet for who looks in while the keeper is away: one printed page, with nothing to look up."""

from collections.abc import Mapping, Sequence

from afterfill.chemistry.doses import dose_words
from afterfill.planning.asked import Bottle
from afterfill.records import Quantity
from afterfill.report.markup import Html, joined, tag
from afterfill.report.page import head
from afterfill.tank_setup import TankSetup

_TO_WRITE_IN = (
    "The keeper, telephone", "A vet for fish, telephone", "The water utility, telephone",
    "Food: what, how much, when", "Neutraliser: where it stands", "The refill's valve: where it is",
)  # fmt: skip
_CALLED: Mapping[Quantity, str] = {"temperature": "Temperature", "ph": "pH", "orp": "ORP"}
_WHOLE_MG_L = 1.0  # more than a top-off or a refill leaves in a whole tank; our judgement
_LOOK = (
    "Fish swim and come to food; none gasps at the surface, darts, or lies on the bottom.",
    "Filter and heater run; the water stands where it always stands.",
    "No message from afterfill. Silence alone is no proof: it may be off.",
)
_DONTS = (
    "Do not pour in tap water, also not to make up for what evaporated.",
    "Do not mix chemicals, nor dose twice: what is too much takes oxygen from the water.",
    "Do not touch the probes, and nothing electrical with wet hands or where water stands. Water "
    "near mains: switch off at the fuse first, if the way there is dry.",
)
_CAUTIONS = (
    "Fish in distress need help now, whatever a screen says: afterfill is no vet, ask one.",
    "This sheet and the program know disinfectant, pH and temperature, and no illness. The water "
    "of the tank, and the program's figures, say nothing of drinking water.",
)


def sheet(
    setup: TankSetup, bottle: Bottle | None, week: Mapping[Quantity, Sequence[float]], made: str
) -> str:
    """The page as HTML. `week`: what was read in the last days [mV, pH, degrees C]; `made`: when
    the page is made, in words."""
    name = setup.inference.tank
    title = f"Tank {name}: for who looks in"
    body = [
        tag("h1", title),
        _part("Each day, look", _list(*_LOOK)),
        _part("What is normal here", _list(*_normal(setup, week))),
        _part("Fish in distress, or a message about disinfectant", _steps(setup, bottle)),
        _part("What not to do", _list(*_DONTS)),
        _part("Cautions", _list(*_CAUTIONS)),
        _part("To be filled in by the keeper", _blanks()),
        tag("footer", tag("p", f"Made {made}.", class_="soft")),
    ]
    return "<!DOCTYPE html>\n" + tag(
        "html", head(title, _TIGHT), tag("body", *body), lang="en"
    ) + "\n"  # fmt: skip


def _part(title: str, content: Html) -> Html:
    return tag("section", tag("h2", title), content)


def _list(*lines: str) -> Html:
    return tag("ul", *(tag("li", line) for line in lines))


def _normal(setup: TankSetup, week: Mapping[Quantity, Sequence[float]]) -> list[str]:
    """Its limits, and what it showed lately."""
    low_c, high_c = setup.temperature_limits_c
    limits = {
        "temperature": setup.shown.text(f"limits {low_c:g} to {high_c:g} °C"),
        "ph": f"limits {setup.ph_limits[0]:g} to {setup.ph_limits[1]:g}",
        "orp": "no limits of its own: what counts is how it moves",
    }
    return [
        f"{called}: {_lately(quantity, week, setup)}; {limits[quantity]}."
        for quantity, called in _CALLED.items()
    ]


def _lately(quantity: Quantity, week: Mapping[Quantity, Sequence[float]], setup: TankSetup) -> str:
    known = sorted(week.get(quantity, ()))
    if not known:
        return "no reading in the last week"
    low, high = known[len(known) // 20], known[-1 - len(known) // 20]
    if quantity == "ph":
        return f"in the last week {low:.1f} to {high:.1f}"
    unit, digits = ("°C", 1) if quantity == "temperature" else ("mV", 0)
    said = f"in the last week {low:.{digits}f} to {high:.{digits}f} {unit}"
    return setup.shown.text(said)


def _steps(setup: TankSetup, bottle: Bottle | None) -> Html:
    """What the alarm asks, in its order, with a dose for all of the tank."""
    lines = [
        "Shut the refill's valve, or stop what pours.",
        "A message from afterfill names a dose: take that one. Where none came, and only if water "
        f"has just come in: {_dose(setup, bottle)}",
        "Run strong aeration: an air stone, or the filter's outlet above the water.",
        "Call the keeper. Where there is a test kit: DPD, total chlorine; pink confirms it.",
        "Watch the fish for hours, also when they seem well again, and call the vet.",
    ]
    return tag("ol", *(tag("li", line) for line in lines))


def _dose(setup: TankSetup, bottle: Bottle | None) -> str:
    whole = setup.shown.volume(setup.inference.litres)
    if bottle is None or bottle.mg_cl2_per_ml is None:
        return f"neutraliser for the whole tank ({whole}), once, as its label says."
    amount = _WHOLE_MG_L * setup.inference.litres / bottle.mg_cl2_per_ml
    return (
        f"{dose_words(float(f'{amount:.2g}'), bottle.unit)} of neutraliser '{bottle.name}', once; "
        f"enough for {_WHOLE_MG_L:g} mg/L of chlorine in all of the tank ({whole})."
    )


def _blanks() -> Html:
    return tag("dl", *(joined(tag("dt", it), tag("dd", "")) for it in _TO_WRITE_IN))


# One page of A4 or letter, also where much is known.
_TIGHT = """
body { max-width: 46rem; font-size: .95rem; line-height: 1.35; }
h1 { font-size: 1.3rem; } h2 { font-size: 1.05rem; margin: .8rem 0 .2rem; padding-top: .3rem; }
ul, ol { margin: .2rem 0; padding-left: 1.3rem; } li { margin: .1rem 0; }
dl { display: grid; grid-template-columns: auto 1fr; gap: .5rem .8rem; margin: .4rem 0; }
dd { margin: 0; border-bottom: 1px solid var(--soft); }
@media print { @page { margin: 14mm; } body { padding: 0; font-size: 10.5pt; } }
"""
