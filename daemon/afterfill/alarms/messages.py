"""What an alarm says when it changes: figures with their intervals, in one sentence."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from afterfill.alarms.rules import RAISE_AT_PROBABILITY
from afterfill.records import Estimate, SourceBelieved

Span = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Facts:
    """What the sentences are made of. Limits and concentrations in mg/L as Cl2 or as N,
    temperatures in degrees C; None where not known; `carried_over`: probability that the residual
    has been over its limit since the refill under watch, which began `watched_min` [min] ago and
    since when pH, temperature and ORP [mV] have moved by `ph_step`, `step_c` and `orp_step_mv`;
    `silent`, `still`, `odd`, `due` name probes; `bottle` says what is left of the neutraliser;
    `machine` holds what the service said of each of its conditions; `source`: what is believed of
    the tank's own source; `dose` asks the rescue plan of this tank; the sources of two limits are
    said with them."""

    now: Estimate
    residual_limit_mg_l: float
    ammonia_limit_mg_l: float
    ph_limits: Span
    temperature_limits_c: Span
    ph: float | None = None
    temperature_c: float | None = None
    ph_step: float | None = None
    step_c: float | None = None
    orp_step_mv: float | None = None
    watched_min: float | None = None
    surplus_mg_l: float | None = None
    ahead_mg_l: float | None = None
    carried_over: float | None = None
    dose: Callable[[], str] = str
    residual_limit_source: str = ""
    ammonia_limit_source: str = ""
    silent: Sequence[str] = ()
    still: Sequence[str] = ()
    odd: Sequence[str] = ()
    due: Sequence[str] = ()
    bottle: str = ""
    machine: Mapping[str, str] = field(default_factory=dict)
    source: SourceBelieved | None = None


def oxidant(facts: Facts) -> str:
    """The residual, its limit, and how sure it is."""
    now, limit_mg_l = facts.now, facts.residual_limit_mg_l
    low, middle, high = now.residual_mg_l
    if not now.sees and high <= limit_mg_l:  # nothing known is no figure to show
        return now.why_blind or "the ORP cannot be used"
    return (
        f"residual oxidant {middle:.2g} mg/L (90 % interval {low:.2g} to {high:.2g}), limit "
        f"{limit_mg_l:g}{_by(facts.residual_limit_source)}; over it with probability "
        f"{now.p_over_limit:.2f}{_been(facts)}"
    )


def _by(source: str) -> str:
    return f" ({source})" if source else ""


def dose(facts: Facts) -> str:
    """The dose for this tank, from its rescue plan."""
    return facts.dose()


def dose_if_confirmed(facts: Facts) -> str:
    """The dose, should a test confirm what is only possible."""
    dose = facts.dose()
    return f"only if the test shows any pink: {dose}" if dose else ""


def no_dose_for_ammonia(facts: Facts) -> str:
    """That neutraliser is no help against ammonia."""
    del facts
    return (
        "no neutraliser: it takes chlorine away, not ammonia. How much treated water to change, "
        "and the dose for that water: `afterfill plan --litres 25`"
    )


def no_more_dose(facts: Facts) -> str:
    """That enough was given."""
    del facts
    return "none: more than enough is logged. If DPD total chlorine shows pink all the same, log it"


def _been(facts: Facts) -> str:
    """That it came, where this is sure and that it is still there is not."""
    came = facts.carried_over
    if came is None or came < RAISE_AT_PROBABILITY or facts.now.p_over_limit >= came - 0.05:
        return ""
    return f" now, and with {came:.2f} at some time since the refill"


def ammonia(facts: Facts) -> str:
    """Un-ionised ammonia and its limit."""
    if facts.now.free_ammonia_mg_l is None:
        return "un-ionised ammonia cannot be computed without pH and temperature"
    low, middle, high = facts.now.free_ammonia_mg_l
    return (
        f"un-ionised ammonia {middle:.2g} mg/L as N (90 % interval {low:.2g} to {high:.2g}), "
        f"limit {facts.ammonia_limit_mg_l:.3g}{_by(facts.ammonia_limit_source)}"
    )


def ammonia_forecast(facts: Facts) -> str:
    """The highest un-ionised ammonia of the day to come."""
    if facts.now.free_ammonia_mg_l is None or facts.ahead_mg_l is None:
        return "un-ionised ammonia cannot be forecast without pH and temperature"
    return (
        f"un-ionised ammonia within 24 h at its highest {facts.ahead_mg_l:.2g} mg/L as N, limit "
        f"{facts.ammonia_limit_mg_l:.3g}{_by(facts.ammonia_limit_source)}, if pH and temperature "
        "stay"
    )


def surplus(facts: Facts) -> str:
    """The surplus of neutraliser."""
    if facts.surplus_mg_l is None:
        return "the amount of neutraliser, or its strength, is not known"
    return f"surplus of neutraliser by what was logged: {facts.surplus_mg_l:.2g} mg/L as Cl2"


def ph(facts: Facts) -> str:
    """The pH and its limits."""
    low, high = facts.ph_limits
    shown = "no usable pH reading" if facts.ph is None else f"pH {facts.ph:.2f}"
    return f"{shown}; limits {low:g} to {high:g}"


def temperature(facts: Facts) -> str:
    """The temperature and its limits."""
    low, high = facts.temperature_limits_c
    value = facts.temperature_c
    shown = "no usable temperature reading" if value is None else f"{value:.1f} °C"
    return f"{shown}; limits {low:g} to {high:g} °C"


def shock(facts: Facts) -> str:
    """How far pH and temperature have moved."""
    acidity = "pH not known" if facts.ph_step is None else f"pH {facts.ph_step:+.2f}"
    warmth = "temperature not known" if facts.step_c is None else f"{facts.step_c:+.1f} °C"
    return f"since the refill began: {acidity}, {warmth}"


def running_on(facts: Facts) -> str:
    """How far the temperature has moved."""
    if facts.temperature_c is None or facts.step_c is None:
        return "the readings cannot tell whether water still comes"
    return f"temperature {facts.step_c:+.1f} °C since the refill began"


def _named(probes: Sequence[str], what: str, otherwise: str) -> str:
    return f"{what}: {', '.join(probes)}" if probes else otherwise


def silent_probes(facts: Facts) -> str:
    """Which probes give no usable reading."""
    return _named(facts.silent, "no usable reading from", "all probes speak")


def still_probes(facts: Facts) -> str:
    """Which probes stand still."""
    return _named(facts.still, "standing still", "no probe stands still")


def odd_probes(facts: Facts) -> str:
    """Which probes show what no fish tank has."""
    otherwise = "all probes show what a tank can have"
    return _named(facts.odd, "shows what no fish tank has", otherwise)


def due_probes(facts: Facts) -> str:
    """Which probes are due."""
    return _named(facts.due, "due", "no probe is due")


def bottle(facts: Facts) -> str:
    """What is left of the neutraliser."""
    return facts.bottle or "which neutraliser the tank uses is not known"


def blindness(facts: Facts) -> str:
    """Why the ORP cannot be used."""
    return facts.now.why_blind or "the ORP can be used"


def unannounced(facts: Facts) -> str:
    """What was seen of water that was not announced."""
    if not facts.now.sees:
        return "whether water was poured cannot be seen"
    moved = [] if facts.orp_step_mv is None else [f"ORP {facts.orp_step_mv:+.0f} mV"]
    moved += [] if facts.step_c is None else [f"{facts.step_c:+.1f} °C"]
    if facts.watched_min is None or not moved:
        return "no such water is seen now"
    return f"seen: {' and '.join(moved)} within {facts.watched_min:.0f} min, nothing announced"


def source_changed(facts: Facts) -> str:
    """What is believed of the source now."""
    return f"{_source(facts)} now" if facts.source else "no source is configured"


def source_test_overdue(facts: Facts) -> str:
    """What is believed of the source, and since when nothing has told of it."""
    it = facts.source
    if it is None:
        return "no source is configured"
    if it.learnt_s is None:
        return f"{_source(facts)}, by the configuration alone"
    days = (it.time_s - it.learnt_s) / 86_400.0
    return f"{_source(facts)}, as it was told {days:.0f} days ago"


def _source(facts: Facts) -> str:
    it = facts.source
    if it is None:
        return ""
    low, middle, high = it.residual_mg_l
    kind = "disinfectant not known" if it.disinfectant == "unknown" else it.disinfectant
    passes = "" if it.breakthrough is None else f", raw with probability {it.breakthrough:.2f}"
    return (
        f"source {it.source} is believed to hold {middle:.2g} mg/L (90 % interval {low:.2g} to "
        f"{high:.2g}) of total chlorine, {kind}{passes}"
    )
