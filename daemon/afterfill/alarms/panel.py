"""All alarms of one tank together: conditions in, transitions out."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from afterfill.alarms import lifecycle
from afterfill.alarms.definition import Definition
from afterfill.alarms.definitions import DEFINITIONS
from afterfill.alarms.lifecycle import Memory, advance, state_of
from afterfill.records import AlarmAction, AlarmChange, AlarmCommand, Quantity, Service
from afterfill.shown import shown

Conditions = Mapping[str, bool | None]
# Which alarms are judged by which probe.
JUDGED_BY: Mapping[Quantity, tuple[str, ...]] = {
    "orp": ("cannot-see", "refill-unannounced"),
    "ph": ("ph", "free-ammonia", "free-ammonia-forecast", "refill-shock"),
    "temperature": (
        "temperature", "free-ammonia", "free-ammonia-forecast", "refill-shock", "refill-running-on"
    ),
}  # fmt: skip
OF_ANY_PROBE = ("probe-lost", "probe-stuck", "probe-implausible")
_LONGEST_MESSAGE = 1000  # characters; what a person gave as a reason is part of it
_SLACK_S = 1.0  # a due time is met early rather than missed by rounding
_DONE: Mapping[AlarmAction, str] = {
    "acknowledge": "acknowledged",
    "shelve": "shelved by a person",
    "unshelve": "taken off the shelf by a person",
    "out-of-service": "taken out of service by a person",
    "return-to-service": "back in service, by a person",
}
_OF_A_REFILL = ("water", "refill", "probe")  # groups in which one alarm can lead to another


@dataclass(frozen=True, slots=True)
class Panel:
    """`memories` of every alarm. `conditions` of the last judgement and `due_s`, when something
    may change although they stay, spare most steps the work. `refill_s` names the refill under
    watch and `first` the alarm that came first during it; both outlast the watch."""

    memories: Mapping[str, Memory] = field(default_factory=dict)
    conditions: Conditions = field(default_factory=dict)
    due_s: float | None = None
    refill_s: float | None = None
    first: str | None = None

    def active(self, name: str) -> bool:
        """Whether the condition of an alarm holds, after its delays."""
        memory = self.memories.get(name)
        return memory is not None and memory.active


def fresh_panel() -> Panel:
    """Every alarm normal."""
    return Panel({name: Memory() for name in DEFINITIONS})


def judge(
    panel: Panel,
    conditions: Conditions,
    describe: Callable[[str], str],
    tank: str,
    time_s: float,
    refill_s: float | None = None,
) -> tuple[Panel, list[AlarmChange]]:
    """The panel at `time_s` [s] and what changed. Alarms without a condition only age;
    `describe` gives the message of the alarm that it is asked for; `refill_s` names the refill
    under watch, if any."""
    same_refill = refill_s is None or refill_s == panel.refill_s
    nothing_due = panel.due_s is None or time_s < panel.due_s - _SLACK_S
    if same_refill and nothing_due and conditions == panel.conditions:
        return panel, []
    if not same_refill:
        panel = replace(panel, refill_s=refill_s, first=None)
    after = {
        name: advance(definition, before, conditions.get(name, before.active), time_s)
        for name, definition in DEFINITIONS.items()
        for before in (panel.memories.get(name, Memory()),)
    }
    told = [name for name in DEFINITIONS if _tells(panel.memories.get(name, Memory()), after[name])]
    about = {name: describe(name) for name in told}
    after |= {name: replace(after[name], about=said) for name, said in about.items()}
    first = panel.first if refill_s is None else panel.first or _first(panel, after, told)
    panel = _due(replace(panel, memories=after, conditions=dict(conditions), first=first))
    changes = [_change(panel, name, tank, time_s, about[name]) for name in told]
    return panel, changes


def obey(panel: Panel, command: AlarmCommand, time_s: float) -> tuple[Panel, list[AlarmChange]]:
    """The panel after a person's command. A name that is no alarm changes nothing."""
    if command.alarm not in DEFINITIONS:
        return panel, []
    before = panel.memories.get(command.alarm, Memory())
    now = _obeyed(before, command, time_s)
    panel = _with(panel, {command.alarm: now})
    if not _tells(before, now):
        return panel, []
    reason = f": {command.reason}" if command.reason else ""
    done = f"{_DONE[command.action]}{reason}"
    said = f"{now.about} ({done})" if now.about else done
    return panel, [_change(panel, command.alarm, command.tank, time_s, said)]


def _obeyed(memory: Memory, command: AlarmCommand, time_s: float) -> Memory:
    match command.action:
        case "acknowledge":
            return lifecycle.acknowledge(memory)
        case "shelve":
            return lifecycle.shelve(memory, time_s + 60.0 * (command.minutes or 0.0))
        case "unshelve":
            return lifecycle.unshelve(memory)
        case "out-of-service":
            return lifecycle.out_of_service(memory, time_s, command.reason)
        case "return-to-service":
            return lifecycle.return_to_service(memory)


def announced(panel: Panel, work: Service, time_s: float) -> tuple[Panel, list[AlarmChange]]:
    """The panel after somebody told of `work`: what it makes meaningless is suppressed, counted
    from `time_s` [s]. Silence never suppresses anything."""
    before = {n: panel.memories.get(n, Memory()) for n in DEFINITIONS}
    after = {}
    for name, definition in DEFINITIONS.items():
        span_s = definition.suppressed_s.get(work.what)
        concerned = work.quantity is None or name in (*JUDGED_BY[work.quantity], *OF_ANY_PROBE)
        if span_s is not None and concerned:
            why = f"{work.what} work was announced"
            after[name] = lifecycle.suppress(before[name], time_s + span_s, why)
    panel = _with(panel, after)
    told = [name for name, memory in after.items() if _tells(before[name], memory)]
    return panel, [
        _change(panel, n, work.tank, time_s, _suppressed(after[n], time_s)) for n in told
    ]


def lent(
    panel: Panel, work: Service, quantity: Quantity, time_s: float, until_s: float
) -> tuple[Panel, list[AlarmChange]]:
    """The panel after a probe was taken out of the tank until `until_s` [s] at most: what is
    judged by it is suppressed so long, and no longer (told again, the end moves)."""
    before = {n: panel.memories.get(n, Memory()) for n in JUDGED_BY[quantity]}
    why = f"the {quantity} probe is out of the tank"
    after = {}
    for name, memory in before.items():
        settles_s = DEFINITIONS[name].suppressed_s.get("probe", 0.0) if quantity == "orp" else 0.0
        asks = state_of(memory) == "unacknowledged"
        after[name] = memory if asks else _suppressed_until(memory, until_s + settles_s, why)
    panel = _with(panel, after)
    told = [name for name, memory in after.items() if _tells(before[name], memory)]
    return panel, [
        _change(panel, n, work.tank, time_s, _suppressed(after[n], time_s)) for n in told
    ]


def _suppressed_until(memory: Memory, until_s: float, why: str) -> Memory:
    """What other work suppresses for longer is not shortened."""
    if memory.suppressed_why not in ("", why):
        until_s = max(until_s, memory.suppressed_until_s or until_s)
    return replace(memory, suppressed_until_s=until_s, suppressed_why=why)


def _suppressed(memory: Memory, time_s: float) -> str:
    minutes = ((memory.suppressed_until_s or time_s) - time_s) / 60.0
    return f"means nothing for {minutes:.0f} min: {memory.suppressed_why}; ends by itself"


def _with(panel: Panel, memories: Mapping[str, Memory]) -> Panel:
    """The panel with these memories; its conditions are forgotten, so that all is judged again."""
    return _due(replace(panel, memories={**panel.memories, **memories}, conditions={}))


def _due(panel: Panel) -> Panel:
    times = [lifecycle.due_s(DEFINITIONS[name], m) for name, m in panel.memories.items()]
    return replace(panel, due_s=min((t for t in times if t is not None), default=None))


def _first(panel: Panel, after: Mapping[str, Memory], told: list[str]) -> str | None:
    """Of what was raised at this step the gravest, in the order of the definitions."""
    for name in told:
        risen = after[name].active and not panel.active(name)
        if risen and DEFINITIONS[name].group in _OF_A_REFILL:
            return name
    return None


def _tells(before: Memory, after: Memory) -> bool:
    seen_before = (state_of(before), before.known, before.active, before.reminded_s)
    return seen_before != (state_of(after), after.known, after.active, after.reminded_s)


def _change(panel: Panel, name: str, tank: str, time_s: float, message: str) -> AlarmChange:
    memory, definition = panel.memories[name], DEFINITIONS[name]
    return AlarmChange(
        time_s,
        tank,
        name,
        state_of(memory),
        definition.priority,
        memory.active,
        shown(_told(definition, memory, time_s, message), _LONGEST_MESSAGE),
        known=memory.known,
        first_out=name == panel.first,
    )


def _told(definition: Definition, memory: Memory, time_s: float, message: str) -> str:
    if memory.out_since_s is not None:
        days = (time_s - memory.out_since_s) / 86400.0
        why = memory.out_why or "no reason given"
        return f"out of service for {days:.0f} days ({why}): `return-to-service` brings it back"
    if not memory.known:
        return f"cannot be judged now; {message}"
    if memory.latched:
        return f"{message}; stays until acknowledged: {definition.latches}"
    return message
