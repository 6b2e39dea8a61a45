"""All alarms of one tank together: conditions in, transitions out."""

from collections.abc import Callable, Mapping

from afterfill.alarms.definitions import DEFINITIONS, Definition
from afterfill.alarms.lifecycle import Memory, acknowledge, advance, shelve, state_of
from afterfill.records import AlarmChange, AlarmCommand

Panel = Mapping[str, Memory]


def fresh_panel() -> dict[str, Memory]:
    """Every alarm normal."""
    return {name: Memory() for name in DEFINITIONS}


def judge(
    panel: Panel,
    conditions: Mapping[str, bool | None],
    describe: Callable[[str], str],
    tank: str,
    time_s: float,
) -> tuple[Panel, list[AlarmChange]]:
    """The panel at `time_s` [s] and what changed. Alarms without a condition only age;
    `describe` gives the message of the alarm that it is asked for."""
    changes = []
    after = dict(panel)
    for name, definition in DEFINITIONS.items():
        memory = panel.get(name, Memory())
        condition = conditions.get(name, memory.active)
        after[name] = advance(definition, memory, condition, time_s)
        if _differs(memory, after[name]):
            changes.append(_change(definition, after[name], tank, time_s, describe(name)))
    return after, changes


def obey(panel: Panel, command: AlarmCommand, time_s: float) -> tuple[Panel, list[AlarmChange]]:
    """The panel after a person's command. A name that is no alarm changes nothing."""
    if command.alarm not in DEFINITIONS:
        return panel, []
    memory = panel.get(command.alarm, Memory())
    if command.action == "acknowledge":
        now = acknowledge(memory)
    else:
        now = shelve(memory, time_s + 60.0 * (command.minutes or 0.0))
    if not _differs(memory, now):
        return panel, []
    definition = DEFINITIONS[command.alarm]
    change = _change(definition, now, command.tank, time_s, f"{command.action} by a person")
    return {**panel, command.alarm: now}, [change]


def _differs(before: Memory, after: Memory) -> bool:
    seen_before = (state_of(before), before.known, before.active)
    return seen_before != (state_of(after), after.known, after.active)


def _change(
    definition: Definition, memory: Memory, tank: str, time_s: float, message: str
) -> AlarmChange:
    text = message if memory.known else f"cannot be judged now; {message}"
    return AlarmChange(
        time_s,
        tank,
        definition.name,
        state_of(memory),
        definition.priority,
        memory.active,
        text,
    )
