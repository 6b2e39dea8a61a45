"""What there is to say about one alarm: the record of its rationalisation."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from afterfill.alarms.messages import Facts
from afterfill.alarms.priority import Severity, Urgency, priority_of, reason_of
from afterfill.records import Priority, Quantity, ServiceWhat

Group = Literal[
    "water",  # what is in the tank
    "refill",  # how water is poured
    "probe",  # what the readings are worth
    "upkeep",  # what is due some day
    "machine",  # the computer and what it delivers; told on the first tank only
]


@dataclass(frozen=True, slots=True)
class Steps:
    """What a person does about an alarm, in clauses without a full stop: what comes first, what
    then, what must not be done (after the words 'do not'); `vet`: fish that suffer need one;
    `dose`: comes second, and is said of any tank, where the amount for this one is not known."""

    first: str
    then: tuple[str, ...] = ()
    do_not: tuple[str, ...] = ()
    vet: bool = False
    dose: str = ""

    def sentence(self, *, dosed: bool = True) -> str:
        """All of it as one text, for where one text is shown; `dosed` false: without what is said
        of a dose, where the amount stands beside it.

        >>> Steps("stop the refill", ("aerate",), ("mix chemicals",), vet=True).sentence()
        'stop the refill; aerate. Do not mix chemicals. Ask a vet about fish that suffer.'
        """
        dose = self.dose if dosed else ""
        sentences = ["; ".join(step for step in (self.first, dose, *self.then) if step)]
        if self.do_not:
            sentences.append(f"Do not {self.never()}")
        if self.vet:
            sentences.append("Ask a vet about fish that suffer")
        return ". ".join(sentences) + "."

    def never(self) -> str:
        """What must not be done, after the words 'do not'; empty where there is nothing."""
        return ", and do not ".join(self.do_not)


@dataclass(frozen=True, slots=True, kw_only=True)
class Definition:
    """One alarm. Delays in seconds, 0 or more; `why_delays` gives their reason.

    `title` names it in plain words, `label` on a hub's card. `danger`: harm is done while it holds,
    so the tank is not safe. `confirm`: what would change the picture, if anything would;
    `estimated`: what it says has an interval and a probability. `latches`: why the alarm stays
    until it is acknowledged although its condition has gone; empty where it does not. `judged_by`:
    the probes without any of which it means nothing; empty where it hangs on none, or on each
    alike. `suppressed_s`: for how long [s] announced work makes the alarm meaningless, by kind of
    work; what is judged by a probe, by work on it. `sentence` says it with figures; None: as the
    service told it of the machine; `advise` says the dose for this tank, or why none. The texts
    are shown wherever the alarm is shown.
    """

    name: str
    title: str
    label: str
    danger: bool = False
    group: Group
    severity: Severity
    urgency: Urgency
    on_delay_s: float = 0.0
    off_delay_s: float = 0.0
    why_delays: str
    cause: str
    consequence: str
    time_to_respond: str
    steps: Steps
    sentence: Callable[[Facts], str] | None = None
    advise: Callable[[Facts], str] | None = None
    confirm: str = ""
    estimated: bool = False
    latches: str = ""
    judged_by: tuple[Quantity, ...] = ()
    suppressed_s: Mapping[ServiceWhat, float] = field(default_factory=dict)

    @property
    def priority(self) -> Priority:
        """As the matrix says."""
        return priority_of(self.severity, self.urgency)

    @property
    def why_priority(self) -> str:
        """The reason of the priority, in words."""
        return reason_of(self.severity, self.urgency)

    @property
    def action(self) -> str:
        """The steps as one text."""
        return self.steps.sentence()

    def advice(self, facts: Facts) -> str:
        """The dose for this tank, or why there is none; empty where it is no matter of a dose."""
        return "" if self.advise is None else self.advise(facts)

    def message(self, facts: Facts) -> str:
        """What the alarm says when it changes: figures with their intervals, in one sentence."""
        if self.sentence is not None:
            return self.sentence(facts)
        return facts.machine.get(self.name) or "the service has not said anything about it yet"
