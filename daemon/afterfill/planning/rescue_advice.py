"""What to do, what not to do and when to test after a carry-over, in order."""

from collections.abc import Iterator

from afterfill.chemistry.doses import DoseUnit, dose_words
from afterfill.chemistry.kits import BINDERS_SPOIL_TESTS, DPD_INTERFERES
from afterfill.chemistry.toxicity import TimeLeft
from afterfill.planning.asked import Bottle, TankBefore
from afterfill.planning.rescue import RescuePlan
from afterfill.planning.shown import Shown

_EXTENDED = {
    "log-normal": "a cautious upper estimate",
    "normal": "a cautious upper estimate",
    "kit": "the test, plus the error of a hobby kit",
    "most-the-source-holds": "the most that the source may hold, which a tank cannot exceed",
}
_LONGEST_CHANGE = 0.5  # of the tank at once; common practice, no source
_ALL_DAY_H = 24.0
_WORTH_SAYING_PH = 0.1  # own judgement


def rescue_steps(
    plan: RescuePlan, tank: TankBefore, bottle: Bottle | None, shown: Shown
) -> tuple[str, ...]:
    """What to do, in order."""
    return tuple(_steps(plan, tank, bottle, shown))


def rescue_donts() -> tuple[str, ...]:
    """What not to do, the most tempting first. Common practice, no source."""
    return (
        "Do not pour more untreated water, to dilute or for any other reason.",
        "Do not add different chemicals, or the dose again and again: test between doses.",
        "Do not raise pH by chemicals, nor temperature: both make ammonia more toxic.",
        "Do not feed until ammonia has been tested and is low.",
        "Do not clean or switch off the filter: its bacteria may be hurt already.",
        "Do not catch or move fish unless safe water of the same temperature is ready.",
    )


def rescue_tests(
    plan: RescuePlan, bottle: Bottle | None = None, shown: Shown | None = None
) -> tuple[str, ...]:
    """When to test, with what, and what spoils a test."""
    wait = "30" if plan.minutes is None else f"{plan.minutes[1]:.0f}"
    when = f"{wait} min after the dose, and again after an hour: it must show nothing"
    if plan.dose_ml == 0.0:
        when = "again in 15 minutes: a home kit sees no less than about 0.1 mg/L"
    binders = f" Mind that {BINDERS_SPOIL_TESTS}." if bottle and bottle.binds_ammonia else ""
    told = (shown or Shown()).command("log kit --total-chlorine ... --total-ammonia ...")
    return (
        f"DPD total chlorine (not free: chloramine hides from it) {when}. {DPD_INTERFERES}.",
        "Total ammonia, pH and temperature after an hour, then daily until ammonia is back at its "
        "usual level; nitrite too, daily for a week, in case the filter is hurt."
        + ("" if plan.criteria is None else f" For comparison: {plan.criteria.words}.")
        + binders,
        f"Tell each result: {told}.",
    )


def rescue_vet() -> str:
    """When to call a vet. Common practice, no source."""
    return (
        "Call a vet who treats fish if any gasp, roll over, bleed at the gills or do not react an "
        "hour after the dose, or if fish die: gills stay hurt when the water is good again."
    )


def time_words(time: TimeLeft) -> str:
    """A time in words.

    >>> time_words(TimeLeft("about", 365.0)), time_words(TimeLeft("less than", 15.0))
    ('about 6.1 h', 'less than 15 min')
    """
    minutes = time.minutes
    if minutes < 120.0:
        return f"{time.bound} {minutes:.0f} min"
    if minutes < 2880.0:
        return f"{time.bound} {minutes / 60.0:.2g} h"
    return f"{time.bound} {minutes / 1440.0:.2g} days"


def upper_words(plan: RescuePlan) -> str:
    """The 99 % point and where it comes from."""
    return f"{plan.found.upper.mg_l:.2g} mg/L ({_EXTENDED[plan.found.upper.by]})"


def _steps(
    plan: RescuePlan, tank: TankBefore, bottle: Bottle | None, shown: Shown
) -> Iterator[str]:
    yield "Stop any water that is still running in."
    if plan.dose_ml == 0.0:
        yield from _nothing_to_take(plan)
        return
    yield from _dosing(plan, tank, bottle, shown)
    yield aeration_words(plan)
    yield "Leave the light off and the fish in peace; watch them."
    yield "Test with DPD total chlorine; only when it shows nothing think of a water change."
    yield _next_water(plan, tank, shown)


def _nothing_to_take(plan: RescuePlan) -> Iterator[str]:
    """What to do instead of a dose."""
    seen = "the test shows none" if plan.found.upper.by == "kit" else "none is believed to be there"
    yield (
        f"Give no neutraliser: there is nothing that it could take away ({seen}), and a surplus "
        "takes oxygen and alkalinity."
    )
    yield "Test with DPD total chlorine again in 15 minutes, and total ammonia, pH and temperature."
    yield "If fish gasp, aerate, and look for another cause: ammonia, oxygen, warmth, a poison."


def aeration_words(plan: RescuePlan) -> str:
    """How long to aerate, and what that does to pH, and pH to ammonia."""
    left, missing = plan.oxygen_left_mg_l, plan.oxygen_missing_mg_l
    risk = ""
    if missing > 0.0:
        kept = "" if left is None else f" and leave {max(left, 0.0):.1f}"
        risk = f" (the neutraliser may take {missing:.2g} mg/L of oxygen{kept})"
    how = f"Aerate strongly: air stone, or the outlet broken at the surface{risk}"
    air, ahead = plan.air, plan.ph_ahead
    if air is None or ahead is None or ahead.highest < ahead.now + _WORTH_SAYING_PH:
        return f"{how}, until DPD shows nothing; then as usual."
    if air.hours >= _ALL_DAY_H:
        return f"{how}; pH then rises to no more than {max(air.ph, ahead.now):.1f} in a day."
    free = plan.free_as_advised_mg_l
    ammonia = "" if free is None else f", free ammonia {free:.2g} mg/L as N"
    more, day = plan.free_ammonia_mg_l, ahead.highest
    after_a_day = "" if more is None else f" and free ammonia {more.high:.2g}"
    return (
        f"{how}, for {air.hours:g} h and then as usual: it drives out CO2, so that pH is "
        f"{air.ph:.1f} by then{ammonia}; after a day of it pH would be {day:.1f}{after_a_day}. Go "
        "on only while fish gasp."
    )


def _dosing(
    plan: RescuePlan, tank: TankBefore, bottle: Bottle | None, shown: Shown
) -> Iterator[str]:
    if plan.dose_ml is None:
        yield (
            "Dose a neutraliser for the whole tank, as its label says for the highest residual, "
            f"{plan.found.upper.mg_l:.2g} mg/L; its strength is not known here."
        )
    else:
        unit = "mL" if bottle is None else bottle.unit
        yield _put(plan, plan.dose_ml, unit, tank, shown)
    if bottle is not None and bottle.binds_ammonia:
        yield (
            "That it binds ammonia, as its label says, is not counted on: how much and for how "
            "long is not known."
        )
    if bottle is not None and plan.minutes is None:
        yield (
            "Ascorbate may not remove chloramine: use thiosulfate or sulfite if there is any, and "
            "else move the fish to treated water of the same temperature."
        )


def _put(plan: RescuePlan, ml: float, unit: DoseUnit, tank: TankBefore, shown: Shown) -> str:
    amount = dose_words(ml, unit)
    given = shown.command(f"log dose --neutraliser-ml {ml:g}")
    if plan.found.upper.by == "kit":  # first, so that the dose is known to have met something
        tested = shown.command(f"log kit --total-chlorine {plan.found.residual_mg_l.middle:g}")
        given = f"the test and the dose, {tested} and {given}"
    where = f"into the tank of {shown.volume(tank.litres)}, where the flow is strong"
    if "oxygen" in plan.over or "pH" in plan.over:
        return (
            f"Put half of {amount} of neutraliser {where}, and the other half an hour "
            f"later only if DPD total still shows something; then record it: {given}."
        )
    return f"Put {amount} of neutraliser {where}; then record it: {given}."


def _next_water(plan: RescuePlan, tank: TankBefore, shown: Shown) -> str:
    how = (
        "treat it in a bucket for the most the source may hold (`afterfill plan`), test it with "
        "DPD total before it goes in, and bring it to the tank's temperature"
    )
    if not plan.change_helps:
        return (
            "A water change cannot bring ammonia to its limit, because the treated source holds as "
            "much: do not feed, keep the tank from warming, and test daily."
        )
    if plan.change_share is None:
        return (
            "How much water to change is not known without pH, alkalinity, temperature and "
            f"ammonia: test them. When you pour water, {how}."
        )
    if plan.change_share <= 0.0:
        return (
            f"No water change is needed for ammonia{_even_at(plan)}. When you next pour water, "
            f"{how}."
        )
    parts = " in two or more parts, some hours apart" if plan.change_share > _LONGEST_CHANGE else ""
    volume = shown.volume(plan.change_share * tank.litres)
    return f"Then change {volume}{parts}, which brings ammonia to its limit{_even_at(plan)}: {how}."


def _even_at(plan: RescuePlan) -> str:
    return "" if plan.ph_ahead is None else f", even at pH {plan.ph_ahead.highest:.1f}"
