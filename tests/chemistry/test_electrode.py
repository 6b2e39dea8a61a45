"""Electrode slope, buffers, redox standards and calibration."""

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.chemistry.electrode import (
    Calibration,
    Point,
    calibrate,
    health,
    mv_of_ph,
    orp_health,
    slope_mv_per_ph,
)
from afterfill.chemistry.standards import buffer_ph, orp_standard_mv, reference_mv

Agree = Callable[..., None]

temperatures = st.floats(5.0, 30.0)


def test_slope_over_temperature(agree: Agree) -> None:
    # ln(10) R T / F computed apart
    slopes = {0: 54.199, 10: 56.183, 20: 58.167, 25: 59.159, 30: 60.151, 40: 62.136}
    agree("Nernst slope", [slope_mv_per_ph(t) - s for t, s in slopes.items()], 6e-4, "mV/pH")


def test_phthalate_equation_meets_the_printed_buffer(agree: Agree) -> None:
    # JIS Z 8802 as reprinted (secondary), two decimals
    printed = {0: 4.01, 20: 4.00, 25: 4.01, 30: 4.01, 40: 4.03}
    errors = [buffer_ph("phthalate", float(t)) - ph for t, ph in printed.items()]
    agree("phthalate buffer, Hetzer 1977 against JIS", errors, 0.005, "pH")


@pytest.mark.parametrize(
    ("name", "temperature_c", "ph"),
    [("7.00", 5.0, 7.09), ("7.00", 25.0, 7.00), ("10.01", 20.0, 10.06), ("phosphate", 25.0, 6.86)],
)
def test_printed_buffer_values(name: str, temperature_c: float, ph: float) -> None:
    assert buffer_ph(name, temperature_c) == ph


def test_the_two_families_of_buffers_differ() -> None:
    assert buffer_ph("7.00", 25.0) - buffer_ph("phosphate", 25.0) == pytest.approx(0.14)


def test_quinhydrone_agrees_with_its_own_potential(agree: Agree) -> None:
    # E0 699.76 - 0.736 (t-25) mV against hydrogen, less the slope times pH and the reference:
    # computed apart from the printed tables; pH 4.00-4.01 and 6.86-6.88
    errors = []
    for t in (20.0, 25.0, 30.0):
        formal = 699.76 - 0.736 * (t - 25.0) - reference_mv(t)
        for name, buffer in (("quinhydrone-4", "phthalate"), ("quinhydrone-6.86", "phosphate")):
            expected = formal - slope_mv_per_ph(t) * buffer_ph(buffer, t)
            errors.append(orp_standard_mv(name, t) - expected)
    agree("quinhydrone tables, Nernst apart", errors, 3.0, "mV")


def test_zobell_against_an_independent_formula(agree: Agree) -> None:
    # Nordstrom 1977 (from memory) less the 3 mol/L reference
    nordstrom = {5: 258, 15: 241, 25: 223, 30: 215}
    errors = [orp_standard_mv("zobell", float(t)) - mv for t, mv in nordstrom.items()]
    agree("ZoBell's solution, Nordstrom 1977", errors, 8.0, "mV")


@given(st.floats(0.85, 1.04), st.floats(-29.0, 29.0), temperatures)
def test_a_calibration_finds_slope_and_offset(share: float, offset: float, t: float) -> None:
    points = [Point(b, mv_of_ph(b, t, share, offset), t) for b in (buffer_ph("4.00", t), 7.0, 10.0)]
    for count in (2, 3):
        found = calibrate(points[:count])
        assert found.slope_share == pytest.approx(share)
        assert found.offset_mv == pytest.approx(offset, abs=1e-6)
        assert found.misfit_mv == pytest.approx(0.0, abs=1e-6)


def test_one_point_gives_the_offset_only() -> None:
    found = calibrate([Point(7.0, 8.0, 25.0)])
    assert (found.slope_share, found.offset_mv, found.points) == (1.0, 8.0, 1)


@pytest.mark.parametrize(
    ("share", "offset", "misfit", "expected"),
    [
        (0.98, 5.0, 0.5, "good"),
        (0.93, 5.0, 0.5, "maintain"),
        (0.87, 5.0, 0.5, "renew soon"),
        (0.80, 5.0, 0.5, "replace"),
        (0.98, 35.0, 0.5, "replace"),
        (1.10, 5.0, 0.5, "check the buffers"),
        (0.98, 5.0, 9.0, "check the buffers"),
    ],
)
def test_health_follows_the_makers_bounds(
    share: float, offset: float, misfit: float, expected: str
) -> None:
    verdict = health(Calibration(share, offset, misfit, 3))
    assert verdict.health == expected
    assert f"{100 * share:.0f} % of ideal" in verdict.reason


def test_mixing_the_buffer_families_shows_as_misfit() -> None:
    wrong = [
        Point(buffer_ph("7.00", 25.0), mv_of_ph(buffer_ph("phosphate", 25.0), 25.0), 25.0),
        Point(4.0, mv_of_ph(4.0, 25.0), 25.0),
        Point(10.01, mv_of_ph(10.01, 25.0), 25.0),
    ]
    assert calibrate(wrong).misfit_mv > 5.0
    assert health(calibrate(wrong)).health == "check the buffers"


@pytest.mark.parametrize(
    ("shown", "expected"), [(216, "good"), (200, "maintain"), (150, "replace")]
)
def test_an_orp_probe_is_judged_by_its_standard(shown: float, expected: str) -> None:
    assert orp_health(orp_standard_mv("zobell", 25.0) - float(shown)).health == expected
