"""What a refill plan says: cautions that apply, steps in order, the keeper's own units."""

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from afterfill.chemistry.neutraliser_agents import AGENTS
from afterfill.chemistry.standing import Interval
from afterfill.chemistry.units import celsius_from, litres_from
from afterfill.planning.asked import PLACES, Bottle, DoseAt, TankBefore, Tap
from afterfill.planning.cautions import Caution, cautions
from afterfill.planning.shown import Gallon, Shown
from afterfill.planning.steps import steps
from plan_waters import BOUNDS, CHLORAMINE, CHLORINE, TANK, THIOSULFATE, planned


def warned(litres: float = 25.0, **changes: Any) -> tuple[Caution, ...]:
    plan = planned(litres, **changes)
    tank, tap = changes.get("tank", TANK), changes.get("tap", CHLORAMINE)
    return cautions(plan, tank, tap, changes.get("bottle", THIOSULFATE), BOUNDS, Shown())


def told(litres: float = 25.0, **changes: Any) -> tuple[str, ...]:
    plan = planned(litres, **changes)
    bottle: Bottle | None = changes.get("bottle", THIOSULFATE)
    return steps(plan, changes.get("tap", CHLORAMINE), bottle, changes.get("shown", Shown()))


SULFITE = replace(THIOSULFATE, agent="sulfite")
ASCORBATE = replace(THIOSULFATE, agent="ascorbate")
RICH = replace(TANK, ammonia_mg_l=Interval(0.5, 0.8, 1.5), ph=8.0)


@pytest.mark.parametrize(
    ("changes", "severity", "words"),
    [
        ({"bottle": None}, "danger", "without a neutraliser the tank may reach 0.75 mg/L"),
        ({"dose_ml": 0.0}, "danger", "and 2.6 mL are needed"),
        ({}, "note", "if the dose were forgotten: up to 0.75 mg/L"),
        ({"bottle": ASCORBATE}, "danger", "found ineffective on monochloramine"),
        ({"bottle": SULFITE, "dose_at": "tank", "litres": 90.0}, "warning", "of oxygen"),
        ({"bottle": replace(THIOSULFATE, agent="other")}, "note", "its maker alone knows"),
        ({"dose_at": "line"}, "warning", "dosed into the line, chloramine may still be there"),
        ({"dose_at": "tank"}, "warning", "raw water meets the fish"),
        ({"litres": 3.0}, "warning", "0.31 mL is hard to measure"),
        ({}, "note", "the label's words alone would give 0.625 mL"),
        (
            {"tank": RICH, "tap": replace(CHLORINE, ph=7.4)},
            "danger",
            "over the limit of 0.016 mg/L as N already",
        ),
        (
            {"tank": replace(TANK, ph=8.0), "litres": 60.0},
            "danger",
            "free ammonia may reach",
        ),
        ({}, "warning", "strong aeration raises pH"),
        ({}, "note", "leaves its ammonia in the water, up to 0.17 mg/L as N"),
        ({"bottle": replace(THIOSULFATE, binds_ammonia=True)}, "note", "binds ammonia"),
        ({"tap": CHLORINE}, "note", "by standing alone: 55 h (20 to 156 h)"),
        ({}, "warning", "chloramine does not go by standing"),
        (
            {"tap": replace(CHLORAMINE, disinfectant="unknown")},
            "warning",
            "planned for as chloramine",
        ),
        ({"tap": replace(CHLORAMINE, temperature_c=None)}, "warning", "measure both waters"),
        (
            {"tap": replace(CHLORAMINE, temperature_c=10.0)},
            "warning",
            "temperature steps by -3.8 °C, more than 2.0 °C at once (common practice, no source)",
        ),
        (
            {"tap": replace(CHLORAMINE, temperature_c=1.0)},
            "danger",
            "the tank would be at 19.0 °C, outside its limits of 20.0 °C to 28.0 °C",
        ),
        (
            {"tap": replace(CHLORAMINE, ph=9.3, alkalinity_mg_l_caco3=150.0), "litres": 90.0},
            "danger",
            "pH leaves its limits of 6 to 8.2",
        ),
        (
            {"tap": replace(CHLORAMINE, ph=9.3, alkalinity_mg_l_caco3=150.0)},
            "warning",
            "pH steps by",
        ),
        (
            {"tap": replace(CHLORAMINE, alkalinity_mg_l_caco3=0.0)},
            "warning",
            "the source: pH 7.8 needs more alkalinity than 0",
        ),
        (
            {"tap": replace(CHLORAMINE, alkalinity_mg_l_caco3=15.0)},
            "warning",
            "little alkalinity",
        ),
        ({"mode": "add"}, "note", "topping off leaves hardness"),
        ({}, "note", "an ORP probe hardly sees chloramine"),
    ],
)
def test_a_caution_is_given_where_it_applies(
    changes: dict[str, Any], severity: str, words: str
) -> None:
    found = [c for c in warned(**changes) if words in c.sentence]
    assert [c.severity for c in found] == [severity]


@pytest.mark.parametrize(
    "words",
    ["ineffective", "of oxygen", "into the line", "raw water", "hard to measure", "steps by"],
)
def test_a_plain_plan_has_no_caution_that_does_not_apply(words: str) -> None:
    assert not [c for c in warned() if words in c.sentence]


def test_the_gravest_caution_comes_first() -> None:
    order = [c.severity for c in warned(bottle=ASCORBATE, dose_at="line")]
    assert order == sorted(order, key=["danger", "warning", "note"].index)


def test_every_caution_is_one_sentence() -> None:
    for caution in (*warned(), *warned(bottle=ASCORBATE, dose_at="line"), *warned(tap=CHLORINE)):
        assert caution.sentence.endswith(".")
        assert not caution.sentence.startswith(("  ", "None"))


def mostly(known: st.SearchStrategy[float]) -> st.SearchStrategy[float | None]:
    return st.one_of(*[known.map(float)] * 7, st.none())


maybe_ph = mostly(st.floats(5.0, 10.0))
maybe_alkalinity = mostly(st.floats(0.0, 300.0))
maybe_celsius = mostly(st.floats(1.0, 34.0))
taps = st.builds(
    Tap,
    st.sampled_from(["chlorine", "chloramine", "unknown"]),
    st.floats(0.0, 4.0),
    st.floats(0.0, 5.0),
    st.floats(1.0, 8.0),
    st.none() | st.floats(0.0, 1.0),
    maybe_ph,
    maybe_alkalinity,
    maybe_celsius,
)
tanks = st.builds(
    TankBefore,
    st.just(100.0),
    st.builds(lambda n: Interval(0.5 * n, n, 2.0 * n), st.floats(0.0, 4.0)),
    maybe_ph,
    maybe_celsius,
    maybe_alkalinity,
)


@settings(max_examples=60, deadline=None)
@given(tanks, taps, st.sampled_from(AGENTS), st.sampled_from(PLACES), st.floats(0.5, 100.0))
def test_any_refill_gets_a_plan_that_can_be_told(
    tank: TankBefore, tap: Tap, agent: str, place: DoseAt, litres: float
) -> None:
    bottle = replace(THIOSULFATE, agent=agent)
    plan = planned(litres, tank=tank, tap=tap, bottle=bottle, dose_at=place)
    told_all = [
        *steps(plan, tap, bottle, Shown("us", True)),
        *(c.sentence for c in cautions(plan, tank, tap, bottle, BOUNDS, Shown("us", True))),
    ]
    assert all(line.endswith(".") for line in told_all)
    assert not [line for line in told_all if "nan" in line.split() or "None" in line]
    if plan.judgement == "within-limits":
        assert plan.ammonia.free_mg_l is not None
        assert plan.ammonia.free_mg_l.judged_mg_l <= BOUNDS.free_ammonia_mg_l
        assert plan.residual.judged_mg_l <= BOUNDS.residual_oxidant_mg_l


def test_the_dose_comes_before_the_water() -> None:
    in_order = " | ".join(told())
    assert in_order.index("Put 2.6 mL") < in_order.index("wait 10 min") < in_order.index("Drain")


@pytest.mark.parametrize(
    ("changes", "mending"),
    [
        ({"bottle": None}, "Get a neutraliser and write its strength"),
        ({"dose_ml": 0.5}, "Give 2.6 mL of neutraliser."),
        ({"bottle": ASCORBATE}, "with ascorbate stir, wait, and test with DPD total"),
        (
            {"tap": replace(CHLORAMINE, temperature_c=1.0)},
            "Bring the new water near the tank's temperature, and plan again.",
        ),
        ({"tank": replace(TANK, ph=8.0), "litres": 60.0}, "Pour at most "),
    ],
)
def test_an_unsafe_plan_says_how_to_mend_it_and_not_to_pour(
    changes: dict[str, Any], mending: str
) -> None:
    lines = told(**changes)
    assert lines[0].startswith("Do not pour as planned: ")
    assert mending in lines[1]
    assert not [line for line in lines if line.startswith(("Drain", "Add", "Record it"))]


def test_a_refill_that_would_step_ph_is_poured_in_parts_that_do_not() -> None:
    lax = replace(BOUNDS, ph=(6.0, 9.5), free_ammonia_mg_l=1.0)
    alkaline = replace(CHLORINE, ph=8.8, alkalinity_mg_l_caco3=120.0)
    plan = planned(60.0, tap=alkaline, bounds=lax)
    assert plan.judgement == "within-limits"
    assert plan.water.ph_step is not None
    assert plan.water.ph_step > 0.3  # the alarm refill-shock would be raised by all of it at once
    (words,) = [line for line in steps(plan, alkaline, THIOSULFATE, Shown()) if "at once" in line]
    litres = float(words.split()[3])
    part = planned(litres, tap=alkaline, bounds=lax).water.ph_step
    assert part is not None
    assert 0.28 < part <= 0.3005
    assert not [line for line in told() if "Plan, dose and tell each part" in line]


def test_a_tank_drained_to_a_tenth_is_dosed_in_parts_before_the_water() -> None:
    # by hand: 10 L are left of 100; 10, 20, 40 and 20 L come back; of 11 mL each part brings the
    # dose to its share of what will be in the tank then: 20, 40, 80 and 100 %
    lines = told(90.0, dose_at="tank", tap=CHLORINE, tank=replace(TANK, ammonia_mg_l=None))
    plan = planned(90.0, dose_at="tank", tap=CHLORINE)
    assert plan.dose is not None
    shares = [part.ml / plan.dose.ml for part in plan.dose.parts]
    assert shares == pytest.approx([0.2, 0.2, 0.4, 0.2], abs=0.01)
    assert [part.litres for part in plan.dose.parts] == [10.0, 20.0, 40.0, 20.0]
    puts = [line for line in lines if line.startswith("Put ")]
    assert [line.split("then add ")[1] for line in puts] == [
        "10 L, slowly.", "20 L, slowly.", "40 L, slowly.", "20 L, slowly.",
    ]  # fmt: skip
    drained = None if plan.side_effects is None else plan.side_effects.drained
    assert drained is not None
    assert drained.oxygen_left_mg_l is not None
    assert drained.oxygen_left_mg_l > 7.0


def test_a_tank_drained_to_nothing_cannot_be_dosed_itself() -> None:
    plan = planned(99.0, dose_at="tank", tap=CHLORINE)
    assert "dose in so little water" in plan.over
    assert "--dose-at bucket" in " ".join(steps(plan, CHLORINE, THIOSULFATE, Shown()))


def test_an_overdose_is_judged_with_its_oxygen_and_surplus() -> None:
    # by hand: 250 mL x 40 mg/mL in 100 L is 100 mg/L of chlorine-equivalent; a strong bottle 1.44
    # times that, less the 0.67 that the water holds at the least, takes 0.2257 mg O2 per mg: 32
    plan = planned(50.0, dose_ml=250.0, bottle=SULFITE, tap=CHLORINE)
    assert {"oxygen", "surplus of neutraliser"} <= set(plan.over)
    assert plan.judgement == "over-limits"
    effects = plan.side_effects
    assert effects is not None
    assert effects.oxygen_missing_mg_l == pytest.approx(32.5, abs=0.3)
    lines = steps(plan, CHLORINE, SULFITE, Shown())
    assert [line for line in lines if line.endswith("mL of neutraliser, no more.")]
    spoken = " ".join(c.sentence for c in warned(50.0, dose_ml=250.0, bottle=SULFITE, tap=CHLORINE))
    assert "more than twice the most that the source may hold" in spoken


def test_the_acid_of_a_surplus_counts_in_soft_water() -> None:
    # PHREEQC (Amm.dat) by the finding: 60 mL of metabisulfite in 100 L of alkalinity 15, once
    # oxidised, is about 4.1, when 6.58 was said
    soft = replace(TANK, ph=7.0, alkalinity_mg_l_caco3=15.0)
    tap = replace(CHLORAMINE, ph=7.6, alkalinity_mg_l_caco3=15.0, temperature_c=25.0)
    bottle = replace(THIOSULFATE, agent="metabisulfite")
    plan = planned(20.0, dose_ml=60.0, tank=soft, tap=tap, bottle=bottle)
    assert plan.water.ph is not None
    assert plan.water.ph.later < 4.3
    assert plan.water.ph.settled > 6.5
    assert "pH" in plan.over


def test_what_needs_no_dose_gets_none() -> None:
    clean = replace(CHLORINE, residual_mg_l=0.0, residual_max_mg_l=0.005)
    plan = planned(tap=clean)
    assert plan.dose is not None
    assert plan.dose.ml == 0.0
    assert "No dose: the new water holds 0.005 mg/L at the most." in told(tap=clean)


def test_dosing_the_tank_comes_before_any_water() -> None:
    lines = told(dose_at="tank", mode="add")
    dose = next(i for i, line in enumerate(lines) if "into the tank, all of it" in line)
    assert lines[dose + 1].startswith("Wait 5 min")
    assert lines[dose + 2] == "Add the 25 L, slowly."


def test_a_dose_into_the_tank_is_not_drained_away() -> None:
    in_order = " | ".join(told(dose_at="tank"))
    assert in_order.index("Drain 25 L.") < in_order.index("Put ") < in_order.index("Add the 25 L")


def test_standing_is_the_first_step_and_needs_no_dose_when_long_enough() -> None:
    lines = told(tap=CHLORINE, bottle=None, standing_hours=200.0)
    assert lines[0] == "Let the 25 L stand open for 200 h."
    assert [line for line in lines if line.startswith("No dose: the new water holds ")]


def test_the_log_line_is_what_the_plan_gave() -> None:
    assert "`afterfill log refill --litres 10 --neutraliser-ml 1.1 --mode add`" in " ".join(
        told(10.0, mode="add")
    )


def test_unmeasured_water_is_measured_first() -> None:
    lines = told(tap=replace(CHLORAMINE, temperature_c=None))
    assert lines[0] == "Measure the new water and bring it to the tank's temperature."


@given(st.floats(0.01, 1000.0), st.sampled_from(["us", "imperial"]))
def test_gallons_shown_are_gallons_read(litres: float, gallon: Gallon) -> None:
    text = Shown(gallon).volume(litres).split(" (")[0]
    if "e" not in text:
        assert litres_from(text) == pytest.approx(litres, rel=6e-3)


@given(st.floats(0.0, 40.0))
def test_fahrenheit_shown_is_fahrenheit_read(celsius: float) -> None:
    text = Shown(fahrenheit=True).temperature(celsius).split(" (")[0]
    assert celsius_from(text) == pytest.approx(celsius, abs=0.03)


def test_a_step_in_fahrenheit_has_no_zero_of_its_own() -> None:
    assert Shown(fahrenheit=True).step(-2.0) == "-3.6 °F (-2.0 °C)"
