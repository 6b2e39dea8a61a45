"""The colours of the dashboards, as people with the three kinds of colour blindness see them.

Simulated after G. M. Machado, M. M. Oliveira & L. A. F. Fernandes 2009, "A physiologically-based
model for simulation of color vision deficiency", at full severity; distances in CAM02-UCS of
M. R. Luo, G. Cui & C. Li 2006 (both as the library colorspacious has them; the papers from
memory). That a distance of 10 is told apart at a glance is our own judgement.
"""

import json
import re
from itertools import combinations

import numpy as np
import pytest
from colorspacious import cspace_convert, deltaE
from numpy.typing import NDArray

from dashboards.files import MADE, PROVISIONING
from dashboards.palette import BLUE, GREY, ORANGE, SKY, VERMILLION

COLOURS = {"blue": BLUE, "sky": SKY, "orange": ORANGE, "vermillion": VERMILLION, "grey": GREY}
SIGHTS = ("all", "protanomaly", "deuteranomaly", "tritanomaly")
TOLD_APART = 10.0


Rgb = NDArray[np.float64]


def seen(colour: str, sight: str) -> Rgb:
    rgb = np.array([int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)])
    if sight == "all":
        return rgb
    space = {"name": "sRGB1+CVD", "cvd_type": sight, "severity": 100}
    shifted: Rgb = np.clip(cspace_convert(rgb, space, "sRGB1"), 0.0, 1.0)
    return shifted


def distance(one: str, other: str, sight: str) -> float:
    return float(deltaE(seen(one, sight), seen(other, sight), input_space="sRGB1"))


@pytest.mark.parametrize("sight", SIGHTS)
@pytest.mark.parametrize("pair", [*combinations(COLOURS, 2)], ids="-".join)
def test_two_colours_stay_apart(pair: tuple[str, str], sight: str) -> None:
    one, other = pair
    assert distance(COLOURS[one], COLOURS[other], sight) > TOLD_APART


def test_the_measure_finds_a_pair_that_some_confuse() -> None:
    purple = "#CC79A7"  # of the same published palette; beside our grey
    assert distance(purple, GREY, "all") > TOLD_APART
    assert distance(purple, GREY, "deuteranomaly") < TOLD_APART


def test_the_dashboards_use_no_other_colours() -> None:
    for name in MADE:
        text = (PROVISIONING / "dashboards" / name).read_text()
        assert set(re.findall(r"#[0-9A-Fa-f]{6}", text)) <= set(COLOURS.values())
        assert "palette-" not in text, "a palette of Grafana's own was not measured"
        used = set(re.findall(r'"color": "([^"]+)"', json.dumps(json.loads(text))))
        assert used <= set(COLOURS.values()), "a colour by name was not measured"
