"""A dose for raw water is no excess where a filter should have taken the chlorine."""

from afterfill.config import Config
from afterfill.records import AlarmChange, Dose
from tank_stories import HOUR_S, ZERO_S, after, config_of, merged, setup_of, story


def raised(ml: float) -> bool:
    tables = config_of().model_dump(exclude_unset=True)
    tables["source"]["tap"] = {"kind": "filtered", "disinfectant": "chloramine"}
    setup = setup_of(Config.model_validate(tables))
    said = Dose(ZERO_S + 0.2 * HOUR_S, "t", ml)
    found = after(setup, merged(story(1.0), [said]))[1]
    return any(
        it.active and it.alarm == "neutraliser-excess"
        for it in found
        if isinstance(it, AlarmChange)
    )


def test_a_dose_for_the_raw_water_is_borne_and_many_times_that_is_not() -> None:
    """1.5 mL of 40 mg/mL in 100 L take 0.6 mg/L as Cl2, 25 mL take 10: raw water has about 1."""
    assert not raised(1.5)
    assert raised(25.0)
