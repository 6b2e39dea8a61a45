"""One recipient's story for tests of the notify rules: what happens, what is told, and when."""

from dataclasses import dataclass, field

from afterfill.records import (
    AlarmChange,
    AlarmState,
    Priority,
    Quantiles,
    Stamp,
    Verdict,
    VerdictWord,
)
from afterfill.sinks.notify.rules import Due, Notice, Policy, after, due, newcomer
from afterfill.sinks.notify.state import Episode, State

BEGIN_S = 1_772_350_200.0
MINUTE_S, HOUR_S = 60.0, 3600.0
PRIORITY_OF: dict[str, Priority] = {
    "residual-oxidant": "high",
    "probe-lost": "medium",
    "calibration-due": "low",
}


def stamp(seconds: float, boot: str = "boot") -> Stamp:
    return Stamp(BEGIN_S + seconds, True, boot, 100.0 + seconds)


def change(
    alarm: str, state: AlarmState, *, active: bool | None = None, second: float = 0.0
) -> AlarmChange:
    holds = state in ("unacknowledged", "acknowledged") if active is None else active
    return AlarmChange(
        BEGIN_S + second, "window", alarm, state, PRIORITY_OF[alarm], holds, f"{alarm} {state}"
    )


@dataclass
class Story:
    """One recipient's story: records and the passing of time; a message is told at once, unless
    the service `refuses`."""

    policy: Policy
    state: State = field(default_factory=lambda: newcomer(0, stamp(0.0)))
    now_s: float = 0.0
    minute_of_day: int = 12 * 60
    refuses: bool = False
    told: list[tuple[float, Due]] = field(default_factory=list)

    def happen(self, alarm: str, state: AlarmState, *, active: bool | None = None) -> None:
        self.record(change(alarm, state, active=active, second=self.now_s))

    def record(self, record: AlarmChange | Verdict) -> None:
        seq = self.state.seq + 1
        self.state = after(self.policy, self.state, seq, stamp(self.now_s), record)

    def look(self) -> Due:
        minute = (self.minute_of_day + int(self.now_s // 60)) % 1440
        state, what = due(self.policy, self.state, stamp(self.now_s), minute)
        if what.notices and self.refuses:
            return Due()
        self.state = state
        if what.notices:
            self.told.append((self.now_s, what))
        return what

    def wait(self, seconds: float, step_s: float = 30.0) -> None:
        until_s = self.now_s + seconds
        while self.now_s < until_s:
            self.now_s = min(self.now_s + step_s, until_s)
            self.look()

    def lines(self) -> list[tuple[float, str, str]]:
        """When, what, and about which alarm or verdict."""
        return [(when, n.what, about_of(n)) for when, what in self.told for n in what.notices]


def about_of(notice: Notice) -> str:
    about = notice.about
    return about.alarm if isinstance(about, Episode) else about.verdict


NIGHT = (22 * 60, 7 * 60)


def verdict(word: VerdictWord, *, final: bool = True) -> Verdict:
    return Verdict(BEGIN_S, "window", BEGIN_S - 60, word, 0.5, Quantiles(0, 0.1, 0.2), final)
