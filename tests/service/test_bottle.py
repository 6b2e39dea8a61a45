"""The stock of neutraliser: booked down by what is logged, told before it runs out, and never
evidence of a dose. Amounts are sums by hand."""

from collections.abc import Iterable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.config import Config
from afterfill.errors import PayloadError
from afterfill.journal.recording import read_recording, write_recording
from afterfill.journal.store import Journal
from afterfill.payloads import event_from
from afterfill.plausible import refuse_slips
from afterfill.records import (
    AlarmChange,
    Dose,
    Event,
    Input,
    Output,
    Refill,
    RefillReady,
    Stamp,
    Stock,
    StockLeft,
    Verdict,
)
from afterfill.service.recorder import Recorder
from afterfill.tank import TankState, folded
from afterfill.tank_bottle import BottleNow, bottle_now
from afterfill.tank_setup import tank_setup
from afterfill.tank_snapshot import to_bytes
from tank_stories import HOUR_S, ZERO_S, config_of, merged, pour, raw, story

DAY_S = 24 * HOUR_S


def with_bottle(**bottle: Any) -> Config:
    one = config_of().model_dump(by_alias=True, exclude_unset=True)
    one["neutraliser"]["n"].update(bottle)
    return Config.model_validate(one)


def refill(day: float, ml: float | None, litres: float | None = 25.0) -> Refill:
    return Refill(ZERO_S + day * DAY_S, "t", "replace", litres, 10.0, ml)


def stock(day: float, what: Any, ml: float | None = None, **more: Any) -> Stock:
    return Stock(ZERO_S + day * DAY_S, "t", what, ml, **more)


def after(*events: Event | StockLeft, config: Config | None = None) -> TankState:
    """The events alone, in the order in which they became known."""
    setup, state = tank_setup(config or with_bottle(), "t"), TankState()
    for event in events:
        state, _ = folded(setup, state, event)
    assert state.failure == ""
    return state


def known(*events: Event | StockLeft, day: float = 30.0, config: Config | None = None) -> BottleNow:
    state = after(*events, config=config)
    now = bottle_now(tank_setup(config or with_bottle(), "t"), state.stock, ZERO_S + day * DAY_S)
    assert now is not None
    return now


def test_refills_and_doses_are_booked_down() -> None:
    dose = Dose(ZERO_S + 9 * DAY_S, "t", 4.5)
    now = known(stock(0, "counted", 60.0), refill(1, 15.0), refill(8, 15.0), dose)
    assert (now.left_ml, now.usual_ml, now.low) == (25.5, 15.0, False)


def test_it_is_low_before_the_next_usual_refill_and_not_after_it() -> None:
    counted = stock(0, "counted", 42.0)
    two = [refill(1, 15.0), refill(8, 15.0)]
    assert known(counted, two[0]).low is False
    now = known(counted, *two)
    assert (now.left_ml, now.low) == (12.0, True)
    assert now.words() == (
        "neutraliser 'n': the bottle holds 12 mL by what was logged; a usual refill takes 15 mL"
    )


def test_nothing_is_claimed_where_nothing_was_counted() -> None:
    now = known(refill(1, 15.0), refill(8, 15.0))
    assert (now.left_ml, now.low) == (None, None)
    assert "is not known" in now.words()
    assert known(stock(0, "counted", 40.0)).low is None  # what a refill takes is not known


def test_the_usual_refill_is_the_median_and_one_without_neutraliser_is_none() -> None:
    events = [refill(1, 10.0), refill(2, 0.0), refill(3, 14.0), refill(4, 200.0)]
    assert known(*events).usual_ml == 14.0
    many = [refill(day, ml) for day, ml in enumerate((99.0, 1.0, 2.0, 3.0, 4.0, 5.0))]
    assert known(*many).usual_ml == 3.0  # of the last five


def test_without_any_amount_the_plan_says_what_a_usual_refill_takes() -> None:
    """25 L at 3 mg/L at most, 40 mg Cl2 per mL: 1.9 mL, and the plan's safety upon it."""
    now = known(stock(0, "counted", 2.0), refill(1, None))
    assert now.usual_ml is not None
    assert 1.9 <= now.usual_ml <= 4.0
    assert (now.untold, now.low) == (1, True)  # that refill may have taken as much
    assert "at most 2 mL" in now.words()


def test_a_refill_of_no_water_is_no_measure_of_a_usual_one() -> None:
    """A recording may hold one; the fold must not fail on it."""
    assert known(stock(0, "counted", 40.0), refill(1, None, 0.0)).usual_ml is None


def test_a_refill_without_an_amount_counts_as_a_usual_one() -> None:
    """40 - 15 = 25 would do once more; a second one untold, 10 would not."""
    events: list[Event] = [stock(0, "counted", 40.0), refill(1, 15.0)]
    assert known(*events).low is False
    assert known(*events, refill(8, None)).low is True


def test_what_is_said_twice_is_booked_once() -> None:
    """An automation announces, says it again, and the keeper corrects the amount."""
    first = refill(1, 15.0)
    again = Refill(first.time_s + 60.0, "t", "replace", 25.0, 10.0, 15.0)
    mended = Refill(first.time_s + 120.0, "t", "replace", 25.0, 10.0, 12.0)
    now = known(stock(0, "counted", 60.0), first, again, mended)
    assert (now.left_ml, now.usual_ml, now.untold) == (48.0, 12.0, 0)


def test_an_amount_that_is_told_later_mends_an_untold_one() -> None:
    first = refill(1, None)
    told = Refill(first.time_s + 120.0, "t", "replace", None, None, 12.0)
    now = known(stock(0, "counted", 60.0), first, told)
    assert (now.left_ml, now.untold, now.usual_ml) == (48.0, 0, 12.0)


def test_a_refill_from_before_the_count_is_in_the_count() -> None:
    late = Refill(ZERO_S + 1 * DAY_S, "t", "replace", 25.0, 10.0, 15.0, None, ZERO_S + 3 * DAY_S)
    assert known(stock(2, "counted", 60.0), late).left_ml == 60.0


def test_a_count_that_is_told_late_is_the_most_there_can_be() -> None:
    counted = stock(1, "counted", 60.0, logged_s=ZERO_S + 5 * DAY_S)
    now = known(refill(3, 15.0), counted)
    assert (now.left_ml, now.untold) == (60.0, 1)


def test_bottles_that_are_bought_and_opened() -> None:
    config = with_bottle(bottle_ml=250.0)
    events: list[Event] = [stock(0, "counted", 20.0), stock(1, "bought"), refill(2, 30.0)]
    assert known(*events, config=config).left_ml == 240.0  # the rest of both
    now = known(*events, stock(3, "opened"), config=config)  # that which was bought
    assert (now.left_ml, now.opened_s) == (250.0, ZERO_S + 3 * DAY_S)
    assert known(stock(0, "bought", 500.0), refill(1, 30.0)).left_ml == 470.0
    assert known(stock(0, "opened", 500.0), refill(1, 600.0)).left_ml == 0.0  # never below


@given(
    counted=st.floats(0.0, 500.0),
    bought=st.lists(st.floats(1.0, 500.0), max_size=3),
    drawn=st.lists(st.floats(0.0, 300.0), max_size=6),
)
def test_what_is_left_is_what_was_there_less_what_was_taken(
    counted: float, bought: list[float], drawn: list[float]
) -> None:
    """Whichever bottle it came from, and never less than nothing."""
    bottles = [stock(0, "counted", counted), *(stock(1, "bought", ml) for ml in bought)]
    doses = [Dose(ZERO_S + (2 + day) * DAY_S, "t", ml) for day, ml in enumerate(drawn)]
    left_ml = known(*bottles, *doses).left_ml
    assert left_ml is not None
    assert left_ml == pytest.approx(max(counted + sum(bought) - sum(drawn), 0.0), abs=0.02)
    assert left_ml >= 0.0


def test_an_opened_bottle_is_past_its_time_whatever_it_holds() -> None:
    config = with_bottle(opened=date(2027, 1, 10), keeps_months=6)  # the story begins on 15 January
    assert known(config=config).past is False
    now = known(stock(0, "counted", 500.0), refill(1, 15.0), day=182.0, config=config)
    assert (now.past, now.low) == (True, True)
    assert "past its time: opened 2027-01-10, kept until 2027-07-11" in now.words()
    fresh = known(stock(100, "opened", 250.0), refill(101, 15.0), day=182.0, config=config)
    assert (fresh.past, fresh.low) == (False, False)


def test_of_another_neutraliser_nothing_is_believed() -> None:
    other = StockLeft(ZERO_S, "t", "another", 12.0)
    assert known(other, stock(0, "counted", 9.0, neutraliser="another")).left_ml is None


def told_by_a_story(config: Config, events: Iterable[Event]) -> tuple[TankState, list[Output]]:
    setup, state, found = tank_setup(config, "t"), TankState(), list[Output]()
    readings = story(5.0, [pour(4.0, 0.25, raw("chloramine", 2.0))])
    for record in merged(readings, events):
        state, outputs = folded(setup, state, record)
        found += outputs
    return state, found


def test_the_stock_is_never_evidence_that_a_dose_was_given() -> None:
    """A bottle that is full, empty, or never counted: the same watch over raw water, and all
    that is said of it the same to the bit; only whether the next refill may begin is another."""
    unsaid = Refill(ZERO_S + 4 * HOUR_S, "t", "replace", 25.0, 10.0)
    counts = [[], [0.0], [500.0]]
    stories = []
    for amounts in counts:
        at = [
            ZERO_S + 3 * HOUR_S,
            ZERO_S + 4.2 * HOUR_S,
        ]  # before the water, and while it is watched
        events = [Stock(s, "t", "counted", ml) for ml in amounts for s in at]
        state, found = told_by_a_story(with_bottle(), [*events, unsaid])
        said = [
            it
            for it in found
            if not isinstance(it, StockLeft | RefillReady)
            and not (isinstance(it, AlarmChange) and it.alarm == "bottle-low")
        ]
        stories.append((said, to_bytes(TankState(belief=state.belief))))
    assert any(isinstance(it, Verdict) for it in stories[0][0])
    assert stories[0] == stories[1] == stories[2]


def test_the_alarm_is_told_after_the_refill_that_leaves_too_little() -> None:
    events: list[Event] = [
        Stock(ZERO_S + HOUR_S, "t", "counted", 27.0),
        Refill(ZERO_S + 4 * HOUR_S, "t", "replace", 25.0, 10.0, 15.0),
    ]
    _, found = told_by_a_story(with_bottle(), events)
    changes = [it for it in found if isinstance(it, AlarmChange) and it.alarm == "bottle-low"]
    raised = [it for it in changes if it.active]
    assert [(it.priority, it.state) for it in raised] == [("low", "unacknowledged")]
    assert raised[0].time_s == pytest.approx(ZERO_S + 4 * HOUR_S, abs=60.0)
    assert "holds 12 mL by what was logged; a usual refill takes 15 mL" in raised[0].message
    assert [it.known for it in changes if it.time_s < raised[0].time_s] == [False]  # never clear


def two_tanks() -> Config:
    one = with_bottle().model_dump(by_alias=True, exclude_unset=True)
    one["neutraliser"]["m"] = {"mg_cl2_per_ml": 10}
    tank = {**one["tank"]["t"], "neutraliser": "n"}
    one["tank"] = {"t": tank, "u": tank, "w": {**tank, "neutraliser": "m"}}
    return Config.model_validate(one)


def stamp(time_s: float) -> Stamp:
    return Stamp(time_s, True, "boot", time_s - ZERO_S + 100.0)


def left(recorder: Recorder, path: Path, *events: Event) -> None:
    for event in events:
        with Journal.open(path) as people:
            people.submit(event, stamp(event.time_s))
        recorder.inbox(stamp(event.time_s))


def shown(recorder: Recorder, tank: str) -> float | None:
    known = recorder.state(tank).stock
    return None if known is None else known.left_ml


def test_tanks_on_one_neutraliser_have_one_bottle_also_after_a_kill(tmp_path: Path) -> None:
    path, config = tmp_path / "journal.db", two_tanks()
    recorder = Recorder(config, path)
    events: list[Event] = [
        Stock(ZERO_S + 10.0, "t", "counted", 100.0),
        Refill(ZERO_S + 20.0, "u", "replace", 25.0, 10.0, 15.0),
        Dose(ZERO_S + 30.0, "w", 7.0),
        Refill(ZERO_S + 40.0, "t", "replace", 10.0, 10.0, 5.0),
    ]
    left(recorder, path, *events)
    assert [shown(recorder, tank) for tank in "tuw"] == [80.0, 80.0, None]
    usual = [recorder.state(tank).stock for tank in "tu"]
    assert [it.refills_ml for it in usual if it is not None] == [(5.0,), (15.0,)]  # each its own
    recorder.save(stamp(ZERO_S + 50.0))
    recorder.abandon()
    again = Recorder(config, path)
    for tank in "tuw":
        assert to_bytes(again.state(tank)) == to_bytes(recorder.state(tank))
    again.close(stamp(ZERO_S + 60.0))


def test_a_recording_of_one_tank_knows_what_the_other_took(tmp_path: Path) -> None:
    path, config = tmp_path / "journal.db", two_tanks()
    recorder = Recorder(config, path)
    stocked = Stock(ZERO_S + 10.0, "t", "counted", 100.0)
    left(recorder, path, stocked, Refill(ZERO_S + 20.0, "u", "replace", 25.0, 10.0, 15.0))
    live = recorder.state("t").stock
    recorder.close(stamp(ZERO_S + 30.0))
    with Journal.open(path) as journal:
        write_recording(journal, "t", ZERO_S, ZERO_S + DAY_S, tmp_path / "rec")
    inputs: list[Input] = list(read_recording(tmp_path / "rec", "t"))
    setup, state = tank_setup(config, "t"), TankState()
    for record in inputs:
        state, _ = folded(setup, state, record)
    assert state.stock == live
    assert live is not None
    assert live.left_ml == 85.0


@pytest.mark.parametrize(
    ("payload", "why"),
    [
        ({"what": "counted"}, "a count needs neutraliser_ml"),
        ({"what": "opened", "neutraliser_ml": 0.0}, "more than 0 mL"),
        ({"what": "opened"}, "Give neutraliser_ml, or bottle_ml in \\[neutraliser.n\\]"),
        ({"what": "spilt", "neutraliser_ml": 5.0}, "'bought', 'opened' or 'counted'"),
        ({"what": "counted", "neutraliser_ml": 5.0, "neutraliser": "nn"}, "did you mean 'n'"),
        ({"what": "counted", "neutraliser_ml": 5.0, "neutraliser": "m"}, "uses neutraliser 'n'"),
    ],
)
def test_what_cannot_be_booked_is_refused(payload: dict[str, Any], why: str) -> None:
    with pytest.raises(PayloadError, match=why):
        refuse_slips(event_from("stock", payload, tank="t", time_s=ZERO_S), two_tanks())


def test_a_tank_whose_neutraliser_is_not_known_has_no_stock() -> None:
    config = two_tanks().model_dump(by_alias=True, exclude_unset=True)
    del config["tank"]["t"]["neutraliser"]
    unknown = Config.model_validate(config)
    counted = Stock(ZERO_S, "t", "counted", 5.0)
    with pytest.raises(PayloadError, match="which neutraliser tank 't' uses is not known"):
        refuse_slips(counted, unknown)
    assert bottle_now(tank_setup(unknown, "t"), None, ZERO_S) is None
    assert after(counted, refill(1, 5.0), config=unknown).stock is None
