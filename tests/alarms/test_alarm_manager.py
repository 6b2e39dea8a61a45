"""All alarms of a tank together: what commands, work and refills do, and what is said of it."""

from dataclasses import replace

import pytest

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.alarms.manager import Alarms, announced, fresh_alarms, judge, lent, obey
from afterfill.records import (
    AlarmAction,
    AlarmChange,
    AlarmCommand,
    AlarmState,
    Priority,
    Quantity,
    Service,
)

DAY_S, HOUR_S = 86400.0, 3600.0


def judged(
    alarms: Alarms, time_s: float, refill_s: float | None = None, /, **holds: bool | None
) -> tuple[Alarms, list[AlarmChange]]:
    """Judged by conditions that are named with _ in place of -."""
    conditions = {name.replace("_", "-"): holds[name] for name in holds}
    return judge(alarms, conditions, lambda name: f"{name} it is", "t", time_s, refill_s)


def told(
    alarms: Alarms, action: AlarmAction, time_s: float = 100.0, alarm: str = "journal-failing",
    minutes: float | None = None, reason: str = "",
) -> tuple[Alarms, list[AlarmChange]]:  # fmt: skip
    return obey(alarms, AlarmCommand(1.0, "t", alarm, action, minutes, reason=reason), time_s)


def change(
    state: AlarmState, active: bool, said: str, time_s: float = 100.0,
    alarm: str = "journal-failing", priority: Priority = "medium",
) -> AlarmChange:  # fmt: skip
    return AlarmChange(time_s, "t", alarm, state, priority, active, said)


# --- judging -----------------------------------------------------------------------------------


def test_where_nothing_has_changed_and_nothing_is_due_nothing_is_made() -> None:
    alarms, _ = judged(fresh_alarms(), 0.0, storage_low=True)  # 300 s of delay
    assert judged(alarms, 298.0, storage_low=True)[0] is alarms
    after, changes = judged(alarms, 300.0, storage_low=True)
    assert changes == [
        change("unacknowledged", True, "storage-low it is", 300.0, "storage-low", "low")
    ]
    assert judged(after, 9e9, storage_low=True)[0] is after


def test_an_alarm_without_a_condition_stays_as_it_is() -> None:
    alarms, _ = judged(fresh_alarms(), 0.0, journal_failing=True)
    assert alarms.active("journal-failing")
    assert not alarms.active("storage-low")
    alarms, changes = judged(alarms, 10.0, storage_low=False)
    assert (alarms.active("journal-failing"), changes) == (True, [])


def test_an_alarm_that_an_older_version_did_not_know_begins_normal() -> None:
    _, changes = judged(Alarms(), 5.0, journal_failing=True)
    assert [c.state for c in changes] == ["unacknowledged"]


def test_only_what_is_raised_during_the_refill_comes_first() -> None:
    alarms, _ = judged(fresh_alarms(), 0.0, residual_oxidant=True)
    alarms, changes = judged(alarms, 1.0, 1.0, residual_oxidant=None)  # it held before
    alarms, more = judged(alarms, 2.0, 1.0, residual_oxidant=None, free_ammonia=None)
    alarms, machine = judged(alarms, 3.0, 1.0, residual_oxidant=None, journal_failing=True)
    assert alarms.first is None
    assert not any(c.first_out for c in (*changes, *more, *machine))
    alarms, changes = judged(alarms, 4.0, 1.0, refill_unannounced=True)
    assert [(c.alarm, c.first_out) for c in changes if c.first_out] == [
        ("refill-unannounced", True)
    ]


def test_a_probe_may_fail_first() -> None:
    alarms, _ = judged(fresh_alarms(), 0.0, 1.0, probe_stuck=True)
    assert alarms.first == "probe-stuck"


def test_what_is_latched_or_unknown_says_so_and_no_message_is_endless() -> None:
    why = DEFINITIONS["journal-failing"].latches
    alarms, _ = judged(fresh_alarms(), 0.0, journal_failing=True)
    alarms, changes = judged(alarms, 1.0, journal_failing=False)
    said = f"journal-failing it is; stays until acknowledged: {why}"
    assert changes == [change("unacknowledged", False, said, 1.0)]
    _, changes = judged(alarms, 2.0, journal_failing=None)
    assert changes[0].message == "cannot be judged now; journal-failing it is"
    _, changes = told(alarms, "out-of-service", reason="x" * 2000)
    assert len(changes[0].message) == 1000


# --- commands ----------------------------------------------------------------------------------


def test_a_command_to_no_alarm_changes_nothing() -> None:
    alarms = fresh_alarms()
    assert told(alarms, "shelve", alarm="no-such-alarm", minutes=1.0) == (alarms, [])


def test_an_alarm_that_was_never_told_says_only_what_was_done() -> None:
    alarms, changes = told(fresh_alarms(), "shelve", minutes=2.0)
    assert changes == [change("shelved", False, "shelved by a person")]
    assert alarms.of("journal-failing").shelved_until_s == 220.0
    alarms, changes = told(alarms, "unshelve")
    assert changes == [change("normal", False, "taken off the shelf by a person")]
    assert told(alarms, "unshelve")[1] == []
    alarms, _ = told(alarms, "shelve")
    assert alarms.of("journal-failing").shelved_until_s == 100.0, "for no time, if none is given"


def test_an_alarm_that_was_told_says_it_again_with_what_was_done() -> None:
    alarms, _ = judged(fresh_alarms(), 0.0, journal_failing=True)
    _, changes = told(alarms, "acknowledge", reason="on it")
    said = "journal-failing it is (acknowledged: on it)"
    assert changes == [change("acknowledged", True, said)]


@pytest.mark.parametrize(("reason", "why"), [("a card", "a card"), ("", "no reason given")])
def test_out_of_service_is_told_each_day_with_its_reason(reason: str, why: str) -> None:
    alarms, changes = told(fresh_alarms(), "out-of-service", reason=reason)
    said = f"out of service for {{}} days ({why}): `return-to-service` brings it back"
    assert changes == [change("out-of-service", False, said.format(0))]
    told_days = []
    for hour in range(1, 73):
        alarms, changes = judged(alarms, 100.0 + hour * HOUR_S, journal_failing=False)
        told_days += [c.message for c in changes]
    assert told_days == [said.format(days) for days in (1, 2, 3)]
    alarms, changes = told(alarms, "return-to-service", 400.0)
    said = "journal-failing it is (back in service, by a person)"
    assert changes == [change("normal", False, said, 400.0)]
    assert told(alarms, "return-to-service")[1] == []


def test_the_days_out_of_service_are_rounded() -> None:
    alarms, _ = told(fresh_alarms(), "out-of-service", 50 * DAY_S)
    _, changes = judged(alarms, 150.5 * DAY_S + 1.0, journal_failing=False)
    assert changes[0].message.startswith("out of service for 101 days (no reason given)")


# --- work --------------------------------------------------------------------------------------


def suppressed(alarms: Alarms) -> dict[str, float]:
    found = {name: alarms.of(name).suppressed_until_s for name in DEFINITIONS}
    return {name: until_s for name, until_s in found.items() if until_s is not None}


@pytest.mark.parametrize(
    ("quantity", "names"),
    [
        ("orp", {"refill-unannounced", "cannot-see"}),
        ("ph", {"ph", "free-ammonia", "free-ammonia-forecast", "refill-shock"}),
        (
            "temperature",
            {
                "temperature", "free-ammonia", "free-ammonia-forecast", "refill-shock",
                "refill-running-on",
            },
        ),
    ],
)  # fmt: skip
def test_work_on_one_probe_suppresses_what_is_judged_by_it(
    quantity: Quantity, names: set[str]
) -> None:
    work = Service(1.0, "t", "probe", quantity=quantity)
    alarms, changes = announced(fresh_alarms(), work, 100.0)
    assert set(suppressed(alarms)) == names | {"probe-lost", "probe-stuck", "probe-implausible"}
    assert [c.alarm for c in changes] == [
        name for name in DEFINITIONS if name in suppressed(alarms)
    ]
    assert {name for name, it in DEFINITIONS.items() if quantity in it.judged_by} == names


def test_work_suppresses_for_its_own_time_and_says_for_how_long() -> None:
    alarms, changes = announced(fresh_alarms(), Service(1.0, "t", "feeding"), 100.0)
    assert suppressed(alarms) == {"refill-unannounced": 3700.0}
    said = "means nothing for 60 min: feeding work was announced; ends by itself"
    assert changes == [change("suppressed-by-design", False, said, alarm="refill-unannounced")]
    alarms, _ = announced(alarms, Service(1.0, "t", "probe"), 200.0)
    assert set(suppressed(alarms)) == {n for n, it in DEFINITIONS.items() if it.suppressed_s}


def test_neither_work_nor_lending_silences_what_asks_already() -> None:
    asking, _ = judged(fresh_alarms(), 0.0, refill_unannounced=True)
    work = Service(1.0, "t", "probe", quantity="orp")
    for alarms, changes in (
        announced(asking, work, 100.0), lent(asking, work, "orp", 100.0, 700.0),
    ):  # fmt: skip
        assert "refill-unannounced" not in suppressed(alarms)
        assert "cannot-see" in suppressed(alarms)
        assert "refill-unannounced" not in {c.alarm for c in changes}


def test_a_probe_that_is_lent_suppresses_what_is_judged_by_it_until_it_is_back() -> None:
    work = Service(1.0, "t", "probe", quantity="ph")
    alarms, changes = lent(fresh_alarms(), work, "ph", 100.0, 700.0)
    names = ("free-ammonia", "free-ammonia-forecast", "ph", "refill-shock")
    assert suppressed(alarms) == dict.fromkeys(names, 700.0)
    said = "means nothing for 10 min: the ph probe is out of the tank; ends by itself"
    assert [(c.tank, c.time_s, c.message) for c in changes] == [("t", 100.0, said)] * len(names)
    alarms, _ = lent(alarms, work, "ph", 200.0, 500.0)
    assert set(suppressed(alarms).values()) == {500.0}, "told again, the end moves"


def test_the_orp_probe_settles_after_it_is_back() -> None:
    alarms, _ = lent(fresh_alarms(), Service(1.0, "t", "probe"), "orp", 100.0, 700.0)
    assert suppressed(alarms) == {
        name: 700.0 + DEFINITIONS[name].suppressed_s["probe"]
        for name in ("refill-unannounced", "cannot-see")
    }


@pytest.mark.parametrize(("until_s", "ends_s"), [(700.0, 3700.0), (9000.0, 9000.0)])
def test_lending_does_not_shorten_what_other_work_suppresses(until_s: float, ends_s: float) -> None:
    alarms, _ = announced(fresh_alarms(), Service(1.0, "t", "probe"), 100.0)
    alarms, _ = lent(alarms, Service(1.0, "t", "probe"), "temperature", 100.0, until_s)
    status = alarms.of("temperature")
    assert status.suppressed_until_s == ends_s
    assert status.suppressed_why == "the temperature probe is out of the tank"


def test_a_suppression_ends_by_itself_at_its_time() -> None:
    alarms, _ = lent(fresh_alarms(), Service(1.0, "t", "probe"), "temperature", 0.0, 700.0)
    alarms, changes = judged(alarms, 690.0, temperature=False)
    assert changes == []
    assert judged(alarms, 698.0, temperature=False)[0] is alarms
    alarms, changes = judged(alarms, 700.0, temperature=False)
    assert {c.state for c in changes} == {"normal"}
    assert replace(alarms, conditions={}).due_s is None
