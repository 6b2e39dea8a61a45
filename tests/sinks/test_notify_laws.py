"""Laws of the notify rules over arbitrary stories: none lost, none doubled, none at night."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from afterfill.records import AlarmState
from afterfill.sinks.notify.rules import RANK, TOGETHER, Policy
from afterfill.sinks.notify.state import Episode, from_text, to_text
from notify_story import HOUR_S, NIGHT, PRIORITY_OF, Story, about_of

ALARMS = st.sampled_from(sorted(PRIORITY_OF))
STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("raise"), ALARMS),
        st.tuples(st.just("return"), ALARMS),
        st.tuples(st.just("answer"), ALARMS),
        st.tuples(st.just("wait"), st.sampled_from([1.0, 20.0, 300.0, 1200.0, 7200.0])),
        st.tuples(st.just("refuse"), st.booleans()),
        st.tuples(st.just("restart"), st.booleans()),
    ),
    max_size=40,
)
POLICIES = st.builds(
    Policy,
    at_least=st.sampled_from(sorted(RANK)),
    after_s=st.sampled_from([0.0, 600.0]),
    repeat_s=st.sampled_from([0.0, 900.0]),
    quiet=st.sampled_from([None, NIGHT, (60, 120)]),
    quiet_up_to=st.sampled_from(["low", "medium"]),
    per_hour=st.sampled_from([1.0, 12.0, 120.0]),
)


class Tank:
    """What the alarms really are, beside the story."""

    def __init__(self, story: Story) -> None:
        self.story = story
        self.states: dict[str, AlarmState] = dict.fromkeys(PRIORITY_OF, "normal")
        self.raised: dict[str, int] = dict.fromkeys(PRIORITY_OF, 0)

    def do(self, verb: str, object_: object) -> None:
        match verb, object_:
            case "raise", str(alarm) if self.states[alarm] in (
                "normal",
                "returned-to-normal-unacknowledged",
            ):
                self.raised[alarm] += 1
                self._to(alarm, "unacknowledged")
            case "return", str(alarm) if self.states[alarm] == "unacknowledged":
                self._to(alarm, "returned-to-normal-unacknowledged")
            case "return", str(alarm) if self.states[alarm] == "acknowledged":
                self._to(alarm, "normal")
            case "answer", str(alarm) if self.states[alarm] == "unacknowledged":
                self._to(alarm, "acknowledged")
            case "wait", float(seconds):
                self.story.wait(seconds, step_s=min(seconds, 60.0))
            case "refuse", bool(refuses):
                self.story.refuses = refuses
            case "restart", bool():
                again = from_text(to_text(self.story.state))
                assert again == self.story.state
                self.story.state = again

    def _to(self, alarm: str, state: AlarmState) -> None:
        self.states[alarm] = state
        self.story.happen(alarm, state)


def played(policy: Policy, steps: list[tuple[str, object]]) -> Tank:
    """The story, and a quiet day with a service that answers after it."""
    tank = Tank(Story(policy))
    for verb, object_ in steps:
        tank.do(verb, object_)
    tank.story.refuses = False
    tank.story.wait(26 * HOUR_S, step_s=600.0)
    return tank


@given(POLICIES, STEPS)
def test_what_was_raised_and_is_wanted_at_once_is_told_sooner_or_later(
    policy: Policy, steps: list[tuple[str, object]]
) -> None:
    tank = played(replace(policy, after_s=0.0), steps)
    told = dict.fromkeys(PRIORITY_OF, 0)
    for _, what in tank.story.told:
        for notice in what.notices:
            if notice.what.startswith("raised") and isinstance(notice.about, Episode):
                told[notice.about.alarm] += notice.about.times
    wanted = {
        alarm: count if RANK[PRIORITY_OF[alarm]] >= RANK[policy.at_least] else 0
        for alarm, count in tank.raised.items()
    }
    assert told == wanted, "each raising is told once: none lost, none doubled"


@given(POLICIES, STEPS)
def test_no_hour_holds_more_messages_than_the_rate_allows(
    policy: Policy, steps: list[tuple[str, object]]
) -> None:
    times = [when for when, _ in played(policy, steps).story.told]
    for number, begin_s in enumerate(times):
        within = [t for t in times[number:] if t <= begin_s + HOUR_S]
        assert len(within) <= TOGETHER + policy.per_hour


@given(POLICIES, STEPS)
def test_nothing_that_must_wait_is_told_in_quiet_hours(
    policy: Policy, steps: list[tuple[str, object]]
) -> None:
    story = played(replace(policy, quiet=NIGHT), steps).story
    for when, what in story.told:
        minute = (story.minute_of_day + int(when // 60)) % 1440
        if minute >= NIGHT[0] or minute < NIGHT[1]:
            assert all(RANK[n.priority] > RANK[policy.quiet_up_to] for n in what.notices)


@given(POLICIES, STEPS)
def test_a_new_high_alarm_waits_for_one_message_of_the_rate_at_most(
    policy: Policy, steps: list[tuple[str, object]]
) -> None:
    story = played(replace(policy, after_s=0.0), [s for s in steps if s[0] != "refuse"]).story
    for when, what in story.told:
        for notice in what.notices:
            if notice.what == "raised" and notice.priority == "high":
                assert isinstance(notice.about, Episode)
                waited_s = when - notice.about.raised_run_s
                assert waited_s <= HOUR_S / policy.per_hour + 600.0 + 1e-6


@given(POLICIES, STEPS)
def test_what_is_over_or_repeated_was_told_before(
    policy: Policy, steps: list[tuple[str, object]]
) -> None:
    standing: set[str] = set()
    for _, what in played(policy, steps).story.told:
        for notice in what.notices:
            alarm = about_of(notice)
            assert (alarm in standing) or notice.what not in ("over", "still")
            if notice.what == "raised":
                standing.add(alarm)
            elif notice.what == "over":
                standing.discard(alarm)


@given(POLICIES, STEPS)
def test_no_one_is_told_by_an_escalation_before_its_time(
    policy: Policy, steps: list[tuple[str, object]]
) -> None:
    for when, what in played(replace(policy, after_s=600.0), steps).story.told:
        for notice in what.notices:
            assert isinstance(notice.about, Episode)
            if notice.what == "raised" and notice.about.times == 1:
                assert when - notice.about.raised_run_s >= 600.0
