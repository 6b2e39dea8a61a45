"""Whole stories on a virtual tank whose electrode law is not the filter's."""

from math import log

import pytest

from afterfill.records import KitResult, Reading, RefillSeen, Service
from afterfill.simulation.virtual_tank import Disturbance
from tank_stories import (
    HOUR_S,
    ZERO_S,
    config_of,
    estimates,
    found_in,
    merged,
    pour,
    raised,
    raw,
    refill,
    setup_of,
    story,
    treated,
    verdicts,
)

CHLORAMINE, CHLORINE = setup_of(config_of()), setup_of(config_of("chlorine", 1.0))


def test_a_quiet_day_with_feeding_raises_nothing() -> None:
    fed = [Disturbance(8 * HOUR_S, 12.0), Disturbance(18 * HOUR_S, 25.0)]
    found = found_in(CHLORAMINE, story(24, disturbances=fed))
    assert raised(found, "residual-oxidant") == []
    assert verdicts(found) == []


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_well_dosed_change_is_clear(seed: int) -> None:
    said = refill(2, litres=25, minutes=10, neutraliser_ml=2.5)
    found = found_in(CHLORAMINE, merged(story(7, [pour(2, 0.25, treated())], seed=seed), [said]))
    assert [v.verdict for v in verdicts(found)][-1] == "clear"
    assert verdicts(found)[-1].final
    assert raised(found, "residual-oxidant") == []


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_raw_chloramine_said_to_be_dosed_is_called_within_twenty_minutes(seed: int) -> None:
    said = refill(2, litres=25, minutes=10, neutraliser_ml=2.5)
    inputs = merged(story(27, [pour(2, 0.25, raw("chloramine", 2.0))], seed=seed), [said])
    found = found_in(CHLORAMINE, inputs)
    (alarm_h,) = raised(found, "residual-oxidant")
    assert 2.0 < alarm_h < 2.0 + 20.0 / 60.0
    last = verdicts(found)[-1]
    assert (last.verdict, last.final) == ("carried-over", True)
    assert 0.15 < last.peak_residual_mg_l.q50 < 0.8  # 0.44 mg/L in truth


def test_unannounced_raw_chlorine_is_called_within_half_an_hour() -> None:
    found = found_in(CHLORINE, story(8, [pour(2, 0.2, raw("chlorine", 1.0))]))
    (alarm_h,) = raised(found, "residual-oxidant")
    assert 2.0 < alarm_h < 2.5
    seen = [o for o in found if isinstance(o, RefillSeen)]
    assert [o.origin for o in seen] == ["inferred"]


def test_raw_water_during_a_watch_over_something_else_is_called() -> None:
    fed = [Disturbance(2 * HOUR_S, 18.0)]
    inputs = story(8, [pour(2.75, 0.25, raw("chlorine", 1.0))], disturbances=fed)
    found = found_in(CHLORINE, inputs)
    (alarm_h,) = raised(found, "residual-oxidant")
    assert 2.75 < alarm_h < 3.25


def test_raw_water_soon_after_a_clear_refill_is_called() -> None:
    said = refill(2, litres=10, minutes=5, neutraliser_ml=0.4)
    pours = [pour(2, 0.1, treated(), 5.0), pour(3.2, 0.2, raw("chlorine", 1.0))]
    found = found_in(CHLORINE, merged(story(8, pours), [said]))
    (alarm_h,) = raised(found, "residual-oxidant")
    assert 3.2 < alarm_h < 3.75
    finals = [v.verdict for v in verdicts(found) if v.final]
    assert finals[0] == "clear"


def test_the_evidence_adds_up_to_the_odds() -> None:
    said = refill(2, litres=25, minutes=10, neutraliser_ml=0.0)
    inputs = merged(story(4, [pour(2, 0.25, raw("chloramine", 2.0))]), [said])
    for verdict in verdicts(found_in(CHLORAMINE, inputs)):
        odds = sum(evidence.log_odds for evidence in verdict.evidence)
        p = min(max(verdict.probability, 1e-6), 1 - 1e-6)
        assert odds == pytest.approx(log(p / (1 - p)), abs=0.02)


def test_without_orp_a_dosed_refill_cannot_be_told() -> None:
    said = refill(2, litres=25, minutes=10, neutraliser_ml=2.5)
    blind = [r for r in story(7, [pour(2, 0.25, treated())]) if not _orp(r)]
    found = found_in(CHLORAMINE, merged(blind, [said]))
    assert {v.verdict for v in verdicts(found)} == {"cannot-tell"}
    assert all(not e.sees and e.why_blind for e in estimates(found))
    assert raised(found, "cannot-see")


def _orp(record: object) -> bool:
    return isinstance(record, Reading) and record.quantity == "orp"


def test_a_serviced_probe_is_quarantined_and_raises_nothing() -> None:
    work = Service(ZERO_S + 2 * HOUR_S, "t", "probe")
    settling = [Disturbance(2 * HOUR_S, 120.0, 5000.0)]
    found = found_in(CHLORAMINE, merged(story(8, disturbances=settling), [work]))
    assert raised(found, "residual-oxidant") == []
    assert all(e.sees for e in estimates(found) if e.time_s > ZERO_S + 7 * HOUR_S)


def test_a_top_off_too_small_to_matter_is_clear_even_unseen() -> None:
    said = refill(2, litres=0.2, minutes=2, neutraliser_ml=0)
    found = found_in(CHLORINE, merged(story(6, [pour(2, 0.002, raw("chlorine", 1.0))]), [said]))
    assert verdicts(found)[-1].verdict == "clear"


def test_a_refill_logged_late_is_judged_on_the_readings_that_were_there() -> None:
    inputs = story(8, [pour(2, 0.25, raw("chloramine", 2.0))])
    late = refill(2, litres=25, minutes=10, neutraliser_ml=2.5, logged_s=ZERO_S + 2.7 * HOUR_S)
    found = found_in(CHLORAMINE, merged(inputs, [late]))
    (seen,) = [o for o in found if isinstance(o, RefillSeen)]  # the readings betrayed it before
    assert seen.origin == "inferred"
    told = verdicts(found)
    assert len({v.refill_time_s for v in told}) == 1
    assert told[-1].verdict == "carried-over"


def test_a_kit_that_shows_chlorine_is_evidence() -> None:
    said = refill(2, litres=25, minutes=10)
    kit = KitResult(ZERO_S + 2.5 * HOUR_S, "t", total_chlorine_mg_l=0.4)
    blind = [r for r in story(5, [pour(2, 0.25, raw("chloramine", 2.0))]) if not _orp(r)]
    found = found_in(CHLORAMINE, merged(blind, [said, kit]))
    assert "carried-over" in [v.verdict for v in verdicts(found)]
    kit_odds = [e.log_odds for v in verdicts(found) for e in v.evidence if e.source == "kit"]
    assert max(kit_odds) > 1.0


def test_free_ammonia_alarms_on_a_kit_result_in_warm_alkaline_water() -> None:
    setup = setup_of(config_of(limits={"free_ammonia_mg_l": 0.02}))
    kit = KitResult(ZERO_S + HOUR_S, "t", total_ammonia_mg_l=2.0)  # x 1.4 % at pH 7.4, 25 C
    found = found_in(setup, merged(story(3), [kit]))
    assert len(raised(found, "free-ammonia")) == 1


def test_estimates_come_on_their_grid_and_do_not_change_what_is_found() -> None:
    said = refill(1, litres=25, minutes=10, neutraliser_ml=2.5)
    inputs = merged(story(4, [pour(1, 0.25, raw("chloramine", 2.0))]), [said])
    often, seldom = found_in(CHLORAMINE, inputs, 60.0), found_in(CHLORAMINE, inputs, 600.0)
    assert len(estimates(often)) == pytest.approx(240, abs=2)
    assert len(estimates(seldom)) == pytest.approx(24, abs=1)
    shared = set(estimates(seldom)) & set(estimates(often))
    assert len(shared) == len(estimates(seldom))
    assert [o for o in often if o not in estimates(often)] == [
        o for o in seldom if o not in estimates(seldom)
    ]


def test_a_clear_refill_says_how_much_could_have_hidden() -> None:
    said = refill(1, litres=25, minutes=10, neutraliser_ml=2.5)
    found = found_in(CHLORAMINE, merged(story(4, [pour(1, 0.25, treated())]), [said]))
    last = verdicts(found)[-1]
    assert last.verdict == "clear"
    assert last.final
    assert 0.001 < last.peak_residual_mg_l.q95 <= 0.1
