"""Who is told what, and when: pure, `(state, record) -> state` and `(state, time) -> notices`.

One recipient at a time. A message is made of all notices that are due together, so a recipient
that is told rarely is told everything at once and nothing is dropped. What was decided counts as
told only when the caller keeps the state that came with it: after a failure the old state decides
again, with what has happened since.
"""

from dataclasses import dataclass, replace
from typing import Literal

from afterfill.config import Notify
from afterfill.records import AlarmChange, Priority, Record, Stamp, Verdict
from afterfill.sinks.notify.state import Episode, State, at

RANK: dict[Priority, int] = {"low": 0, "medium": 1, "high": 2}
TOGETHER = 4  # messages at once before the rate counts; our judgement
KEPT_VERDICTS = 50  # a recipient that is away for months; older ones are counted only
_NEARLY_ONE = 1.0 - 1e-9  # a bucket fills in steps

What = Literal["raised", "still", "over", "raised-and-over", "verdict"]


@dataclass(frozen=True, slots=True)
class Policy:
    """Of what a recipient is told, and when. `quiet`: from and to [minutes of the local day]."""

    at_least: Priority = "medium"
    verdicts: bool = False
    after_s: float = 0.0
    repeat_s: float = 0.0  # 0: no reminder
    quiet: tuple[int, int] | None = None
    quiet_up_to: Priority = "low"
    per_hour: float = 12.0


@dataclass(frozen=True, slots=True)
class Notice:
    """One thing to tell: an alarm's episode, or a final verdict."""

    what: What
    priority: Priority
    about: Episode | Verdict


@dataclass(frozen=True, slots=True)
class Due:
    """What is to be told in one message now. `digest`: some of it waited for the end of quiet
    hours; `skipped`: verdicts so old that only their number is known."""

    notices: tuple[Notice, ...] = ()
    digest: bool = False
    skipped: int = 0


def policy_of(table: Notify) -> Policy:
    """The policy that a [[notify]] table sets."""
    return Policy(
        table.at_least,
        table.verdicts,
        60.0 * table.after_minutes,
        60.0 * table.repeat_minutes,
        table.quiet,
        table.quiet_up_to,
        table.per_hour,
    )


def newcomer(seq: int, stamp: Stamp) -> State:
    """The state of a recipient that is told nothing of what came before record `seq`."""
    return State(seq, stamp, tokens=TOGETHER)


# --- a record happened -------------------------------------------------------------------------


def after(policy: Policy, state: State, seq: int, stamp: Stamp, record: Record) -> State:
    """The state after the journal's record `seq`, which was accepted at `stamp`."""
    state = replace(_ripened(policy, at(state, stamp)), seq=seq)
    if isinstance(record, AlarmChange):
        return _with_change(state, record)
    if isinstance(record, Verdict) and policy.verdicts and _is_bad_news(record):
        kept = (*state.verdicts, record)
        lost = max(len(kept) - KEPT_VERDICTS, 0)
        return replace(state, verdicts=kept[lost:], skipped=state.skipped + lost)
    return state


def _is_bad_news(verdict: Verdict) -> bool:
    return verdict.final and verdict.verdict in ("carried-over", "cannot-tell")


def _with_change(state: State, change: AlarmChange) -> State:
    old = next((e for e in state.episodes if _same(e, change)), None)
    others = tuple(e for e in state.episodes if e is not old)
    if _is_new(change, old):
        return replace(state, episodes=(*others, _raised(state.run_s, change, old)))
    if old is None:
        return state
    now = _gone_on(old, change)
    latched = now.state == "unacknowledged"
    if now.ended_s is not None and not (latched or now.owed or now.told_run_s is not None):
        return replace(state, episodes=others)  # it came and went and was nothing for this one
    return replace(state, episodes=(*others, now))


def _same(episode: Episode, change: AlarmChange) -> bool:
    return (episode.tank, episode.alarm) == (change.tank, change.alarm)


def _is_new(change: AlarmChange, old: Episode | None) -> bool:
    """Whether it asks for attention afresh. Unacknowledged without being active is a latch."""
    asks = change.active and change.state == "unacknowledged"
    return asks and (old is None or old.state != "unacknowledged" or old.ended_s is not None)


def _raised(run_s: float, change: AlarmChange, old: Episode | None) -> Episode:
    """A new episode, owed when it is ripe; one of the same alarm that was still to be told is told
    with it."""
    untold = old is not None and old.told_run_s is None and old.owed
    return Episode(
        change.tank,
        change.alarm,
        change.priority,
        change.state,
        change.message,
        raised_s=old.raised_s if old is not None and untold else change.time_s,
        raised_run_s=run_s,
        owed=untold,
        times=old.times + 1 if old is not None and untold else 1,
        advice=change.advice,
    )


def _gone_on(old: Episode, change: AlarmChange) -> Episode:
    asking = change.active and change.state == "unacknowledged"
    now = replace(
        old,
        priority=change.priority,
        state=change.state,
        message=change.message if asking else old.message,
        advice=change.advice if change.active else old.advice,
    )
    if change.active:
        return replace(now, ended_s=None, end_message="")
    ended_s = change.time_s if old.ended_s is None else old.ended_s
    end_message = change.message if old.ended_s is None else old.end_message
    return replace(now, ended_s=ended_s, end_message=end_message)


def _ripened(policy: Policy, state: State) -> State:
    """Alarms that have not been acknowledged for so long are owed to this recipient as well."""
    now = (replace(e, owed=True) if _is_ripe(policy, state, e) else e for e in state.episodes)
    return replace(state, episodes=tuple(now))


def _is_ripe(policy: Policy, state: State, episode: Episode) -> bool:
    return (
        not episode.owed
        and episode.state == "unacknowledged"
        and RANK[episode.priority] >= RANK[policy.at_least]
        and state.run_s - episode.raised_run_s >= policy.after_s
    )


# --- time passed -------------------------------------------------------------------------------


def due(policy: Policy, state: State, stamp: Stamp, minute_of_day: int) -> tuple[State, Due]:
    """What is to be told at `stamp`, at this minute of the local day, and the state once it is
    told. Keep that state only when the message has gone out."""
    state = _ripened(policy, at(state, stamp))
    waiting = [*_of_episodes(policy, state), *(_of_verdict(v) for v in state.verdicts)]
    quiet = _is_quiet(policy, minute_of_day)
    now = [n for n in waiting if not (quiet and RANK[n.priority] <= RANK[policy.quiet_up_to])]
    held = len(now) < len(waiting)
    state = replace(state, holding=state.holding or held)
    tokens = _tokens(policy, state)
    if not now or tokens < _needed(now):
        return state, Due()
    answer = Due(tuple(sorted(now, key=_order)), state.holding and not held, state.skipped)
    state = replace(state, tokens=tokens - 1.0, tokens_run_s=state.run_s, holding=held)
    return _told(state, now), answer


def _is_quiet(policy: Policy, minute: int) -> bool:
    if policy.quiet is None:
        return False
    begin, end = policy.quiet
    return begin <= minute < end if begin < end else minute >= begin or minute < end


def _tokens(policy: Policy, state: State) -> float:
    filled = (state.run_s - state.tokens_run_s) * policy.per_hour / 3600.0
    return min(state.tokens + filled, float(TOGETHER))


def _needed(notices: list[Notice]) -> float:
    """The last token is kept for a new alarm of high priority."""
    urgent = any(n.priority == "high" and n.what.startswith("raised") for n in notices)
    return _NEARLY_ONE if urgent else _NEARLY_ONE + 1.0


def _order(notice: Notice) -> tuple[int, float]:
    about = notice.about
    return -RANK[notice.priority], about.raised_s if isinstance(about, Episode) else about.time_s


def _of_episodes(policy: Policy, state: State) -> list[Notice]:
    found = []
    for episode in state.episodes:
        what = _what(policy, state.run_s, episode)
        if what is not None:
            found.append(Notice(what, episode.priority, episode))
    return found


def _what(policy: Policy, run_s: float, episode: Episode) -> What | None:
    over = episode.ended_s is not None
    if episode.told_run_s is None:
        return ("raised-and-over" if over else "raised") if episode.owed else None
    if over:
        return "over"
    asks = episode.state == "unacknowledged" and episode.priority == "high"
    again = policy.repeat_s > 0.0 and run_s - episode.told_run_s >= policy.repeat_s
    return "still" if asks and again else None


def _of_verdict(verdict: Verdict) -> Notice:
    return Notice("verdict", "medium" if verdict.verdict == "carried-over" else "low", verdict)


def _told(state: State, notices: list[Notice]) -> State:
    told = {id(notice.about) for notice in notices}
    episodes = [
        replace(e, told_run_s=state.run_s, times=1) if id(e) in told else e
        for e in state.episodes
        if not (id(e) in told and e.ended_s is not None)
    ]
    verdicts = tuple(v for v in state.verdicts if id(v) not in told)
    skipped = 0 if len(verdicts) < len(state.verdicts) else state.skipped
    return replace(state, episodes=tuple(episodes), verdicts=verdicts, skipped=skipped)
