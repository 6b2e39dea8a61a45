"""Whether a refill may begin: false with every reason, and true again when they are gone."""

from collections.abc import Iterable
from itertools import pairwise
from typing import Any

import pytest

from afterfill.config import Config
from afterfill.inference.posterior.estimate import estimate
from afterfill.inference.posterior.present import present
from afterfill.records import Event, KitResult, Output, RefillReady, SourceTest, Stock, Tick
from afterfill.tank import TankState, folded
from tank_stories import ZERO_S, after, config_of, merged, pour, raw, refill, setup_of, story

DAY_S = 86_400.0
QUIET_H = 1.5


def asked(found: Iterable[Output]) -> list[RefillReady]:
    return [o for o in found if isinstance(o, RefillReady)]


def with_source(**changes: Any) -> Config:
    """The tank of the stories with another source."""
    tables = config_of().model_dump(exclude_unset=True)
    tables["source"]["tap"] |= changes
    return Config.model_validate(tables)


def quiet(config: Config, *events: Event, hours: float = QUIET_H) -> tuple[TankState, RefillReady]:
    state, found = after(setup_of(config), merged(story(hours), events))
    assert state.ready == asked(found)[-1]
    return state, asked(found)[-1]


def test_a_quiet_tank_is_ready_once_its_orp_is_known() -> None:
    """And untold top-offs, which are possible at any time, hold nothing back."""
    state, found = after(setup_of(config_of()), story(QUIET_H))
    first, *_, last = asked(found)
    assert not first.ready
    assert first.why[0].startswith("the ORP probe cannot see: ")
    assert (last.ready, last.why) == (True, ())
    late_s = ZERO_S + 10 * DAY_S
    setup = setup_of(config_of()).inference
    assert setup.untold > 0.0
    assert estimate(setup, state.belief, present(state.belief, late_s)).p_over_limit > 0.05
    told, _ = folded(setup_of(config_of()), state, Tick(ZERO_S + QUIET_H * 3600.0 + 60.0, "t"))
    assert told.ready == state.ready


def test_what_is_told_again_has_changed() -> None:
    found = asked(after(setup_of(config_of()), story(QUIET_H))[1])
    assert all(a.why != b.why for a, b in pairwise(found))


def test_a_carry_over_holds_the_next_refill_back_and_a_watch_does() -> None:
    said = refill(1.2, litres=25, minutes=10, neutraliser_ml=0)
    readings = story(3.0, [pour(1.2, 0.25, raw("chloramine", 2.0))])
    found = asked(after(setup_of(config_of()), merged(readings, [said]))[1])
    since = [it for it in found if it.time_s > said.time_s]
    assert since
    assert not any(it.ready for it in since)
    assert since[-1].why[0] == "the last carry-over, or an alarm about the water, is not over"


def test_a_source_that_has_changed_holds_back_until_a_test_agrees() -> None:
    tests = [SourceTest(ZERO_S + m * 60.0, "t", "tap", c) for m, c in ((70.0, 2.0), (80.0, 4.0))]
    _, told = quiet(config_of(), *tests)
    assert told.why == ("source tap is not what it was: test it once more",)
    _, told = quiet(config_of(), *tests, SourceTest(ZERO_S + 85.0 * 60.0, "t", "tap", 4.0))
    assert told.ready


def test_an_overdue_test_holds_back() -> None:
    setup = setup_of(config_of())
    state, _ = after(setup, story(QUIET_H))
    state, _ = folded(setup, state, Tick(ZERO_S + 183 * DAY_S, "t"))
    assert state.ready is not None
    assert "the test of source tap is overdue" in state.ready.why


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"temperature_c": 2.0}, "the new water's temperature (2) is too far"),
        ({"ph": 4.0}, "the new water's pH (4.0) is too far"),
    ],
)
def test_water_too_unlike_the_tank_holds_back(changes: dict[str, float], says: str) -> None:
    """By hand, at a usual share of 0.12: 2 K are 17 K, and 0.3 pH are 2.5, from the tank's."""
    _, told = quiet(with_source(**changes))
    assert len(told.why) == 1
    assert told.why[0].startswith(says)


def test_a_spent_cartridge_holds_back_until_it_is_changed() -> None:
    filtered = {
        "kind": "filtered", "residual_mg_l": 0.0, "cartridge_litres": 50.0,
        "cartridge_changed": "2026-12-01",
    }  # fmt: skip
    poured = refill(0.0, litres=60.0, neutraliser_ml=0)
    clean = KitResult(poured.time_s + 60.0, "t", total_chlorine_mg_l=0.0)
    setup = setup_of(with_source(**filtered))
    state, _ = after(setup, merged(story(QUIET_H), [poured, clean]))
    assert state.ready is not None
    assert "the cartridge of source tap is spent" in state.ready.why
    changed = setup_of(with_source(**filtered | {"cartridge_changed": "2027-01-16"}))
    state, _ = folded(changed, state, Tick(ZERO_S + DAY_S, "t"))
    assert state.ready is not None
    assert "the cartridge of source tap is spent" not in state.ready.why


def test_a_filter_that_let_chlorine_through_holds_back() -> None:
    config = with_source(kind="filtered", residual_mg_l=0.0)
    _, told = quiet(config, SourceTest(ZERO_S + 4000.0, "t", "tap", 0.8))
    assert told.why == (
        "source tap is not what it was: test it once more",
        "the filter of source tap probably lets raw water through",
    )


def test_a_tank_without_a_source_is_never_ready() -> None:
    _, told = quiet(config_of().model_copy(update={"source": {}}))
    assert told.why == ("no source is configured",)


def test_a_bottle_that_will_not_do_holds_back_and_one_never_counted_does_not() -> None:
    said = refill(1.0, litres=25, minutes=10, neutraliser_ml=5.0)
    dosed = story(6.0, [pour(1.0, 0.25, raw("chloramine", 0.0))])
    why = {}
    for name, amount_ml in (("never", None), ("little", 6.0), ("enough", 60.0)):
        counted = [] if amount_ml is None else [Stock(ZERO_S + 600.0, "t", "counted", amount_ml)]
        found = after(setup_of(config_of()), merged(dosed, [said, *counted]))[1]
        why[name] = asked(found)[-1].why
    low = "neutraliser n will not do for a usual refill"
    assert {name: low in reasons for name, reasons in why.items()} == {
        "never": False, "little": True, "enough": False,
    }  # fmt: skip


def test_a_bottle_past_its_time_holds_back() -> None:
    tables = config_of().model_dump(exclude_unset=True)
    tables["neutraliser"]["n"] |= {"opened": "2020-01-01", "keeps_months": 6}
    _, told = quiet(Config.model_validate(tables))
    assert told.why == ("neutraliser n is past its time",)


def test_a_test_of_the_source_is_told_at_once() -> None:
    """Not at the next look at the tank: an automation may ask within seconds."""
    setup, at_s = setup_of(config_of()), ZERO_S + QUIET_H * 3600.0
    state, _ = after(setup, story(QUIET_H))
    assert state.ready is not None
    assert state.ready.ready
    found: list[Output] = []
    for n, mg_l in enumerate((2.0, 4.0)):
        state, told = folded(setup, state, SourceTest(at_s + n, "t", "tap", mg_l))
        found += told
    assert asked(found)[-1].why == ("source tap is not what it was: test it once more",)
