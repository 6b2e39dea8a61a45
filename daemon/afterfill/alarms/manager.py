"""All alarms of one tank together: conditions in, transitions out."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from afterfill.alarms import lifecycle
from afterfill.alarms.definition import Definition
from afterfill.alarms.definitions import DEFINITIONS
from afterfill.alarms.lifecycle import AlarmStatus, advance, state_of
from afterfill.records import AlarmAction, AlarmChange, AlarmCommand, Quantity, Service
from afterfill.shown import shown

Conditions = Mapping[str, bool | None]
_LONGEST_MESSAGE = 1000  # characters; what a person gave as a reason is part of it
_SLACK_S = 1.0  # a due time is met early rather than missed by rounding
_DONE: Mapping[AlarmAction, str] = {
    "acknowledge": "acknowledged",
    "shelve": "shelved by a person",
    "unshelve": "taken off the shelf by a person",
    "out-of-service": "taken out of service by a person",
    "return-to-service": "back in service, by a person",
}
_CORRECTED = "what was logged has been corrected"
_OF_A_REFILL = ("water", "refill", "probe")  # groups in which one alarm can lead to another


@dataclass(frozen=True, slots=True)
class Alarms:
    """`statuses` of every alarm. `conditions` of the last judgement and `due_s`, when something
    may change although they stay, spare most steps the work. `refill_s` names the refill under
    watch and `first` the alarm that came first during it; both outlast the watch."""

    statuses: Mapping[str, AlarmStatus] = field(default_factory=dict)
    conditions: Conditions = field(default_factory=dict)
    due_s: float | None = None
    refill_s: float | None = None
    first: str | None = None

    def of(self, name: str) -> AlarmStatus:
        """The status of an alarm; one that an older version did not know is normal."""
        return self.statuses.get(name) or AlarmStatus()

    def active(self, name: str) -> bool:
        """Whether the condition of an alarm holds, after its delays."""
        status = self.statuses.get(name)
        return status is not None and status.active


def fresh_alarms() -> Alarms:
    """Every alarm normal."""
    return Alarms({name: AlarmStatus() for name in DEFINITIONS})


def judge(
    alarms: Alarms,
    conditions: Conditions,
    describe: Callable[[str], str],
    tank: str,
    time_s: float,
    refill_s: float | None = None,
    advise: Callable[[str], str] = lambda alarm: "",
) -> tuple[Alarms, list[AlarmChange]]:
    """The alarms at `time_s` [s] and what changed. Alarms without a condition only age;
    `describe` gives the message of the alarm that it is asked for, `advise` what it says of a dose;
    `refill_s` names the refill under watch, if any."""
    same_refill = refill_s is None or refill_s == alarms.refill_s
    nothing_due = alarms.due_s is None or time_s < alarms.due_s - _SLACK_S
    if same_refill and nothing_due and conditions == alarms.conditions:
        return alarms, []
    if not same_refill:
        alarms = replace(alarms, refill_s=refill_s, first=None)
    after = {
        name: advance(
            definition, alarms.of(name), conditions.get(name, alarms.active(name)), time_s
        )
        for name, definition in DEFINITIONS.items()
    }
    told = [name for name in DEFINITIONS if _tells(alarms.of(name), after[name])]
    about = {name: describe(name) for name in told}
    after |= {
        name: replace(after[name], about=said, advice=advise(name) if after[name].active else "")
        for name, said in about.items()
    }
    first = alarms.first if refill_s is None else alarms.first or _first(alarms, after, told)
    alarms = _due(replace(alarms, statuses=after, conditions=dict(conditions), first=first))
    changes = [_change(alarms, name, tank, time_s, about[name]) for name in told]
    return alarms, changes


def advised(
    alarms: Alarms, advise: Callable[[str], str], tank: str, time_s: float
) -> tuple[Alarms, list[AlarmChange]]:
    """The alarms that hold, with what is to be said of a dose now that one was given, or a test was
    made; those whose words changed are told."""
    after = {}
    for name, status in alarms.statuses.items():
        said = advise(name) if status.active and name in DEFINITIONS else status.advice
        if said != status.advice:
            after[name] = replace(status, advice=said)
    alarms = _with(alarms, after)
    return alarms, [_change(alarms, n, tank, time_s, after[n].about) for n in after]


def told_again(before: Alarms, after: Alarms, tank: str, time_s: float) -> list[AlarmChange]:
    """What changes at `time_s` [s] where `after` takes the place of `before`, since a word was
    corrected: of each alarm how it stands, if that is not how it stood."""
    changed = [n for n in DEFINITIONS if _stands(before.of(n)) != _stands(after.of(n))]
    about = {n: after.of(n).about for n in changed}
    said = {n: f"{it} ({_CORRECTED})" if it else _CORRECTED for n, it in about.items()}
    return [_change(after, n, tank, time_s, said[n]) for n in changed]


def obey(alarms: Alarms, command: AlarmCommand, time_s: float) -> tuple[Alarms, list[AlarmChange]]:
    """The alarms after a person's command. A name that is no alarm changes nothing."""
    if command.alarm not in DEFINITIONS:
        return alarms, []
    before = alarms.of(command.alarm)
    now = _obeyed(before, command, time_s)
    alarms = _with(alarms, {command.alarm: now})
    if not _tells(before, now):
        return alarms, []
    reason = f": {command.reason}" if command.reason else ""
    done = f"{_DONE[command.action]}{reason}"
    said = f"{now.about} ({done})" if now.about else done
    return alarms, [_change(alarms, command.alarm, command.tank, time_s, said)]


def _obeyed(status: AlarmStatus, command: AlarmCommand, time_s: float) -> AlarmStatus:
    match command.action:
        case "acknowledge":
            return lifecycle.acknowledge(status)
        case "shelve":
            return lifecycle.shelve(status, time_s + 60.0 * (command.minutes or 0.0))
        case "unshelve":
            return lifecycle.unshelve(status)
        case "out-of-service":
            return lifecycle.out_of_service(status, time_s, command.reason)
        case "return-to-service":
            return lifecycle.return_to_service(status)


def announced(alarms: Alarms, work: Service, time_s: float) -> tuple[Alarms, list[AlarmChange]]:
    """The alarms after a person told of `work`: what it makes meaningless is suppressed, counted
    from `time_s` [s]. Silence never suppresses anything."""
    why = f"{work.what} work was announced"
    after = {}
    for name, definition in DEFINITIONS.items():
        span_s = definition.suppressed_s.get(work.what)
        concerned = not definition.judged_by or work.quantity in (None, *definition.judged_by)
        if span_s is not None and concerned:
            after[name] = lifecycle.suppress(alarms.of(name), time_s + span_s, why)
    return _with_suppressed(alarms, after, work.tank, time_s)


def lent(
    alarms: Alarms, work: Service, quantity: Quantity, time_s: float, until_s: float
) -> tuple[Alarms, list[AlarmChange]]:
    """The alarms after a probe was taken out of the tank until `until_s` [s] at most: what is
    judged by it is suppressed so long, and no longer (told again, the end moves)."""
    why = f"the {quantity} probe is out of the tank"
    after = {}
    for name, definition in DEFINITIONS.items():
        status = alarms.of(name)
        if quantity in definition.judged_by and state_of(status) != "unacknowledged":
            settles_s = definition.suppressed_s["probe"] if quantity == "orp" else 0.0
            after[name] = _suppressed_until(status, until_s + settles_s, why)
    return _with_suppressed(alarms, after, work.tank, time_s)


def _with_suppressed(
    alarms: Alarms, after: Mapping[str, AlarmStatus], tank: str, time_s: float
) -> tuple[Alarms, list[AlarmChange]]:
    told = [name for name, status in after.items() if _tells(alarms.of(name), status)]
    alarms = _with(alarms, after)
    return alarms, [_change(alarms, n, tank, time_s, _suppressed(after[n], time_s)) for n in told]


def _suppressed_until(status: AlarmStatus, until_s: float, why: str) -> AlarmStatus:
    """What other work suppresses for longer is not shortened."""
    if status.suppressed_until_s is not None and status.suppressed_why != why:
        until_s = max(until_s, status.suppressed_until_s)
    return replace(status, suppressed_until_s=until_s, suppressed_why=why)


def _suppressed(status: AlarmStatus, time_s: float) -> str:
    minutes = ((status.suppressed_until_s or time_s) - time_s) / 60.0
    return f"means nothing for {minutes:.0f} min: {status.suppressed_why}; ends by itself"


def _with(alarms: Alarms, statuses: Mapping[str, AlarmStatus]) -> Alarms:
    return _due(replace(alarms, statuses={**alarms.statuses, **statuses}))


def _due(alarms: Alarms) -> Alarms:
    times = [lifecycle.due_s(definition, alarms.of(n)) for n, definition in DEFINITIONS.items()]
    return replace(alarms, due_s=min((t for t in times if t is not None), default=None))


def _first(alarms: Alarms, after: Mapping[str, AlarmStatus], told: list[str]) -> str | None:
    """Of what was raised at this step the gravest, in the order of the definitions."""
    for name in told:
        risen = after[name].active and not alarms.active(name)
        if risen and DEFINITIONS[name].group in _OF_A_REFILL:
            return name
    return None


def _tells(before: AlarmStatus, after: AlarmStatus) -> bool:
    return _seen(before) != _seen(after)


def _seen(status: AlarmStatus) -> tuple[object, ...]:
    return state_of(status), status.known, status.active, status.reminded_s


def _stands(status: AlarmStatus) -> tuple[object, ...]:
    return state_of(status), status.known, status.active, status.active and status.advice


def _change(alarms: Alarms, name: str, tank: str, time_s: float, message: str) -> AlarmChange:
    status, definition = alarms.of(name), DEFINITIONS[name]
    return AlarmChange(
        time_s,
        tank,
        name,
        state_of(status),
        definition.priority,
        status.active,
        shown(_told(definition, status, time_s, message), _LONGEST_MESSAGE),
        known=status.known,
        first_out=name == alarms.first,
        advice=shown(status.advice, _LONGEST_MESSAGE) if status.active else "",
    )


def _told(definition: Definition, status: AlarmStatus, time_s: float, message: str) -> str:
    if status.out_since_s is not None:
        days = (time_s - status.out_since_s) / 86400.0
        why = status.out_why or "no reason given"
        return f"out of service for {days:.0f} days ({why}): `return-to-service` brings it back"
    if not status.known:
        return f"cannot be judged now; {message}"
    if status.latched:
        return f"{message}; stays until acknowledged: {definition.latches}"
    return message
