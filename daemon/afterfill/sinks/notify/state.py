"""What is remembered of one recipient: which alarms it has heard of, and which it is still owed.

Kept in the journal as one small JSON text, so that position and memory change together. Intervals
run on `run_s`, seconds that pass as the monotonic clock says: a wall clock that jumps neither
hurries an escalation nor holds it back.
"""

from dataclasses import dataclass, replace

from pydantic import TypeAdapter, ValidationError

from afterfill.records import AlarmState, Priority, Stamp, Verdict

_LONGEST_GAP_S = 86_400.0  # between two boots only the wall clock tells, and it may have jumped


@dataclass(frozen=True, slots=True)
class Episode:
    """One alarm from its raising until nothing more is to be told of it.

    `raised_s` and `ended_s` are wall times [Unix s]; `raised_run_s` and `told_run_s` lie on our
    own seconds. `owed`: this recipient must hear of it. `times`: how often it was raised since the
    recipient last heard. `message` is what it said when it asked for attention, `end_message` when
    it returned; `advice`: what it says of a dose by now.
    """

    tank: str
    alarm: str
    priority: Priority
    state: AlarmState
    message: str
    raised_s: float
    raised_run_s: float
    owed: bool
    times: int = 1
    told_run_s: float | None = None
    ended_s: float | None = None
    end_message: str = ""
    advice: str = ""


@dataclass(frozen=True, slots=True)
class State:
    """`seq`: the last record taken into account; `run_s` was our time at `stamp`; `skipped`:
    verdicts that were too many to keep; `holding`: something waited for the end of quiet hours;
    `tokens`: messages that may go out at once, counted at `tokens_run_s`."""

    seq: int
    stamp: Stamp
    tokens: float
    run_s: float = 0.0
    tokens_run_s: float = 0.0
    episodes: tuple[Episode, ...] = ()
    verdicts: tuple[Verdict, ...] = ()
    skipped: int = 0
    holding: bool = False


_FORM = TypeAdapter(State)


def to_text(state: State) -> str:
    """The state as JSON."""
    return _FORM.dump_json(state).decode()


def from_text(text: str) -> State | None:
    """The state again; None when another version wrote it in a form of its own."""
    try:
        return _FORM.validate_json(text)
    except ValidationError:
        return None


def at(state: State, stamp: Stamp) -> State:
    """The state with its clock moved on to `stamp`; never back."""
    if stamp.boot_id == state.stamp.boot_id:
        passed_s = stamp.monotonic_s - state.stamp.monotonic_s
    else:
        passed_s = min(stamp.time_s - state.stamp.time_s, _LONGEST_GAP_S)
    if passed_s <= 0.0 and stamp.boot_id == state.stamp.boot_id:
        return state
    return replace(state, stamp=stamp, run_s=state.run_s + max(passed_s, 0.0))
