"""Filtered and stored water, a cartridge that wears out, and a utility that switches on a day."""

import math
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest

from afterfill.config import Config
from afterfill.config_file import parse
from afterfill.errors import ConfigError
from afterfill.inference import source
from afterfill.inference.model import priors
from afterfill.inference.model.parameters import tap_chlorine
from afterfill.inference.setup import Water
from afterfill.inference.source import as_configured, believed, breakthrough_of, level_of, passed
from afterfill.records import Output, Refill, SourceLearnt, SourceTest
from afterfill.tank import TankState, folded
from afterfill.tank_setup import tank_setup
from tank_stories import ZERO_S, after, refill

FILTERED = Water("chlorine", 1e-3, 1e-3, name="ro", kind="filtered", cartridge_litres=1000.0)
STORED = Water("chlorine", 1.0, 2.0, name="barrel", kind="stored", standing_hours=24.0)
DAY_S = 86_400.0


def sources(text: str) -> Config:
    return parse(f"[tank.t]\nlitres = 100\n{text}", "a.toml")


def at(day: str) -> float:
    return datetime.fromisoformat(day).replace(tzinfo=UTC).timestamp()


@pytest.mark.parametrize(
    ("litres", "chance"),
    [(0.0, 0.05), (500.0, 1 - 0.95 * 0.5**0.125), (1000.0, 0.525), (2000.0, 1 - 0.95 * 0.5**8)],
)
def test_breakthrough_follows_the_litres_by_weibulls_law(litres: float, chance: float) -> None:
    """By hand: 1 - 0.95 * 0.5^(share^3); half of all cartridges end at what their maker says."""
    known = passed(FILTERED, None, litres, ZERO_S)
    assert breakthrough_of(FILTERED, known) == pytest.approx(chance)
    assert believed(FILTERED, known, ZERO_S).breakthrough == pytest.approx(chance)


def test_a_clean_test_of_an_old_cartridge_counts_from_there() -> None:
    """By hand: half of 0.525 as it is tested at 1000 L; half again of what survives to 1260 L,
    where the cube of the share is 2."""
    worn = passed(FILTERED, None, 1000.0, ZERO_S)
    clean = source.tested(FILTERED, worn, 0.0, ZERO_S + 60.0)
    assert breakthrough_of(FILTERED, clean) == pytest.approx(0.525 / 2)
    later = passed(FILTERED, clean, 1000.0 * (2.0 ** (1 / 3) - 1.0), ZERO_S + 90.0)
    assert breakthrough_of(FILTERED, later) == pytest.approx(1 - (1 - 0.525 / 2) * 0.5)


def test_what_breaks_through_is_the_raw_water_of_this_tap() -> None:
    broken = replace(FILTERED, breakthrough=1.0, raw_mg_l=3.0)
    assert level_of(broken).q50 == pytest.approx(3.0, rel=0.05)
    assert level_of(replace(broken, raw_mg_l=None)).q50 == pytest.approx(1.0, rel=0.05)
    assert level_of(replace(broken, breakthrough=0.0)).q95 < 0.01


def test_a_new_cartridge_is_no_longer_the_old_one() -> None:
    old = source.tested(FILTERED, passed(FILTERED, None, 900.0, ZERO_S), 0.8, ZERO_S)
    assert old.changed
    fresh = replace(FILTERED, since_s=ZERO_S + DAY_S)
    assert believed(fresh, old, ZERO_S + 2 * DAY_S).breakthrough is None
    assert passed(fresh, old, 10.0, ZERO_S + 2 * DAY_S).litres == pytest.approx(10.0)


def test_stored_water_has_lost_what_standing_takes_and_no_one_knows_how_much() -> None:
    """By hand: free chlorine at ln 2 per half-life; the doubt of the logarithm is half the loss."""
    lost = 24.0 * priors.STANDING_FREE_PER_H
    prior = as_configured(STORED, ZERO_S)
    assert prior.log_mean == pytest.approx(-lost)
    assert prior.log_sd == pytest.approx(math.hypot(0.4213, 0.5 * lost), rel=1e-3)
    water = believed(STORED, None, ZERO_S)
    assert water.standing_hours == 0.0
    free, combined = tap_chlorine(water, 400)
    assert sorted(free + combined)[200] == pytest.approx(math.exp(-lost), rel=0.05)


def test_a_test_of_stored_water_is_of_the_water_as_it_stands() -> None:
    known = source.tested(STORED, None, 0.8, ZERO_S)
    water = believed(STORED, known, ZERO_S)
    assert 0.6 < water.residual_mg_l < 0.9
    assert water.standing_hours == 0.0


def test_free_beside_total_chlorine_tells_the_kind() -> None:
    tap = Water("chloramine", 2.0, 3.0, name="tap")
    known = source.tested(tap, None, 2.0, ZERO_S, 1.9)
    assert (known.disinfectant, known.changed) == ("chlorine", True)
    free, _ = tap_chlorine(believed(tap, known, ZERO_S), 400)
    assert (free > 0.0).mean() > 0.9
    assert not source.tested(tap, None, 2.0, ZERO_S, 0.1).changed
    assert source.tested(replace(tap, disinfectant="unknown"), None, 2.0, ZERO_S, 1.9).changed is (
        False
    )
    agrees = source.tested(tap, known, 2.0, ZERO_S + 60.0, 1.9)
    assert (agrees.disinfectant, agrees.changed) == ("chlorine", False)


def test_a_utility_switches_on_its_day_and_what_was_learnt_before_is_of_other_water() -> None:
    config = sources(
        '[source.tap]\ndisinfectant = "chloramine"\nresidual_mg_l = 2\n'
        '[[source.tap.change]]\nfrom = 2027-04-01\ndisinfectant = "chlorine"\nresidual_mg_l = 0.8\n'
    )
    setup, day_s = tank_setup(config, "t"), at("2027-04-01")
    before, then = setup.at(day_s - 1.0).inference.water, setup.at(day_s).inference.water
    assert (before.disinfectant, before.residual_mg_l) == ("chloramine", 2.0)
    assert (then.disinfectant, then.residual_mg_l, then.residual_max_mg_l) == ("chlorine", 0.8, 1.6)
    assert setup.at(day_s).waters["tap"] == then
    known = source.tested(before, None, 4.0, day_s - DAY_S)
    assert believed(then, known, day_s) is then
    state, _ = after(setup, [Refill(day_s + 60.0, "t", "replace", litres=10.0)])
    watching = state.belief.watch
    assert watching is not None
    assert watching.water.disinfectant == "chlorine"
    # told later of a refill on the day before: it was the old water
    late = Refill(day_s - 60.0, "t", "replace", litres=10.0, logged_s=day_s + 600.0)
    watching = after(setup, [late])[0].belief.watch
    assert watching is not None
    assert watching.water.disinfectant == "chloramine"


def litres_after(*records: Any) -> tuple[float, list[SourceLearnt]]:
    config = sources(
        '[source.ro]\nkind = "filtered"\ncartridge_litres = 1000\ncartridge_changed = 2026-12-01\n'
    )
    setup, state, found = tank_setup(config, "t"), TankState(), list[Output]()
    for record in records:
        state, outputs = folded(setup, state, record)
        found += outputs
    return state.belief.sources["ro"].litres, [o for o in found if isinstance(o, SourceLearnt)]


def test_litres_pass_the_cartridge_once_for_each_refill() -> None:
    said = refill(0.0, litres=20.0)
    litres, told = litres_after(said, replace(said, logged_s=said.time_s + 30.0))
    assert litres == pytest.approx(20.0)
    assert [it.litres for it in told] == [20.0]
    litres, _ = litres_after(refill(0.0), refill(0.01, litres=30.0))  # the amount comes later
    assert litres == pytest.approx(30.0)
    litres, _ = litres_after(refill(0.0, litres=20.0), refill(5.0, litres=25.0))
    assert litres == pytest.approx(45.0)


def test_a_source_test_reaches_the_cartridge_through_the_fold() -> None:
    test = SourceTest(ZERO_S + 60.0, "t", None, 0.5)
    _, told = litres_after(refill(0.0, litres=20.0), test)
    assert told[-1].changed
    assert (told[-1].litres, told[-1].litres_tested) == (20.0, 20.0)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('disinfectant = "chlorine dioxide"', "does not know chlorine dioxide"),
        ('disinfectant = "ClO2"', "does not know chlorine dioxide"),
        ("cartridge_litres = 10", 'add kind = "filtered"'),
        ('kind = "filtered"\ncartridge_litres = 10', "give that too"),
        ('kind = "stored"', "give standing_hours"),
        ("[[source.a.change]]\nfrom = 2027-01-01", "changes nothing"),
        ("[source.a.change]\nfrom = 2027-01-01", "in double brackets"),
        ("[[source.a.change]]\nform = 2027-01-01", "did you mean 'from'?"),
    ],
)
def test_a_slip_in_a_source_gets_one_sentence(text: str, says: str) -> None:
    with pytest.raises(ConfigError, match=says.replace("?", r"\?")):
        sources(f"[source.a]\n{text}\n")
