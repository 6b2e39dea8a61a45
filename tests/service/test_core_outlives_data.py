"""No readings and no words end the fold; should it fail all the same, one tank suffers."""

import logging
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from afterfill.config import Config
from afterfill.inference import step
from afterfill.journal.store import Journal
from afterfill.records import (
    AlarmChange,
    Dose,
    Event,
    Health,
    Input,
    KitResult,
    Output,
    Quantity,
    Reading,
    Refill,
    ResponseCheck,
    Service,
    Stamp,
    Standing,
)
from afterfill.service.recorder import Recorder
from afterfill.tank import TankState, folded
from afterfill.tank_setup import TankSetup, tank_setup
from afterfill.tank_snapshot import to_bytes
from tank_stories import ZERO_S, config_of

QUANTITIES: tuple[Quantity, ...] = ("temperature", "ph", "orp")
NOT_FINITE = (float("nan"), float("inf"), -float("inf"))
USUAL: dict[Quantity, tuple[float, float]] = {
    "orp": (-1500.0, 1500.0),
    "ph": (0.0, 14.0),
    "temperature": (-5.0, 60.0),
}


def random_setup(random: np.random.Generator) -> TankSetup:
    source: dict[str, Any] = {
        "disinfectant": str(random.choice(["chlorine", "chloramine", "unknown"])),
        "residual_mg_l": float(random.choice([0.0, 0.01, 1.0, 4.0])),
    }
    if random.random() < 0.7:
        source["temperature_c"] = float(random.uniform(1, 40))
    if random.random() < 0.5:
        source["ph"] = float(random.uniform(5, 10))
    tables = config_of().model_dump(by_alias=True, exclude_unset=True)
    tables["source"] = {"tap": source}
    tables["tank"] = {"t": {"litres": float(random.choice([5.0, 100.0, 20_000.0]))}}
    if random.random() < 0.3:
        del tables["neutraliser"]
    return tank_setup(Config.model_validate(tables), "t")


def wandering(random: np.random.Generator, quantity: Quantity) -> Any:
    """A course of readings: a level, a drift, noise, leaps, values that no tank has, and none."""
    low, high = USUAL[quantity]
    usual = {"orp": 300.0, "ph": 7.2, "temperature": 25.0}[quantity]
    level = usual if random.random() < 0.7 else float(random.uniform(low, high))
    scale = {"orp": 60.0, "ph": 0.6, "temperature": 4.0}[quantity]
    drift = scale * float(random.normal()) / 200.0
    noise = scale * float(random.choice([0.0, 0.01, 0.1]))
    while True:
        level = min(max(level + drift, low), high)
        if random.random() < 0.01:
            level = float(random.uniform(low, high))
        draw = random.random()
        if draw < 0.02:
            yield float(random.choice(NOT_FINITE))
        elif draw < 0.06:
            yield None
        elif draw < 0.07:
            yield float(random.choice([low, high]))
        else:
            yield level + noise * float(random.normal())


def word(random: np.random.Generator, time_s: float) -> Event:
    litres = None if random.random() < 0.3 else float(random.choice([0.0, 0.1, 25.0, 5000.0]))
    ml = None if random.random() < 0.3 else float(random.choice([0.0, 2.0, 500.0]))
    minutes = None if random.random() < 0.5 else float(random.choice([0.0, 10.0, 600.0]))
    back_s = float(random.choice([0.0, 60.0, 3600.0, 90_000.0]))
    chlorine = float(random.choice([0.0, 0.2, 5.0]))
    choices: list[Event] = [
        Refill(time_s - back_s, "t", "replace", litres, minutes, ml, None, time_s),
        Refill(time_s, "t", "add", litres, minutes, ml, "tap"),
        KitResult(time_s - back_s, "t", 0.5, chlorine, None, 7.0, time_s),
        KitResult(time_s, "t", None, None, 0.1),
        Dose(time_s - back_s, "t", ml or 0.0, time_s),
        Service(time_s, "t", random.choice(["probe", "feeding", "cleaning", "other"])),
        ResponseCheck(time_s, "t", 120.0, 5.0, 0.5, 0.5, True),
    ]  # fmt: skip
    return choices[int(random.integers(len(choices)))]


def life(random: np.random.Generator, steps: int) -> list[Input]:
    courses = {q: wandering(random, q) for q in QUANTITIES if random.random() < 0.9}
    every_s = float(random.choice([1.0, 20.0, 60.0, 300.0]))
    time_s, found = ZERO_S, list[Input]()
    for _ in range(steps):
        time_s += every_s if random.random() > 0.01 else float(random.choice([0.001, 4000.0, 4e5]))
        if random.random() < 0.04:
            found.append(word(random, time_s))
        for quantity, course in courses.items():
            value = next(course)
            found.append(Reading(time_s, "t", quantity, value, f"t-{quantity}"))
    return found


def outlived(seed: int, steps: int = 120) -> TankState:
    """The state after one random life. Also what is run by hand over thousands of seeds."""
    random = np.random.default_rng(seed)
    setup, state = random_setup(random), TankState()
    for record in life(random, steps):
        state, _ = folded(setup, state, record)
    return state


@pytest.mark.parametrize("block", range(4))
def test_no_life_of_a_tank_makes_the_fold_fail(block: int) -> None:
    """`python -c` over `outlived` runs thousands of these by hand."""
    failed = {seed: state.failure for seed in range(block * 15, block * 15 + 15)
              for state in (outlived(seed),) if state.failures}  # fmt: skip
    assert failed == {}


def two_tanks() -> Config:
    tables = config_of().model_dump(by_alias=True, exclude_unset=True)
    tables["tank"]["other"] = {"litres": 50}
    others = [{**probe, "tank": "other"} for probe in tables["probe"]]
    tables["probe"] = [*tables["probe"], *others]
    return Config.model_validate(tables)


def stamp(second: float) -> Stamp:
    return Stamp(ZERO_S + second, True, "boot", 100.0 + second)


def read(recorder: Recorder, second: float) -> list[Output]:
    shown: dict[Quantity, float] = {"temperature": 25.0, "ph": 7.2, "orp": 300.0 + second % 3}
    readings = [
        Reading(0.0, tank, quantity, value, f"{tank}-{quantity}")
        for tank in ("t", "other")
        for quantity, value in shown.items()
    ]
    found = recorder.readings(readings, stamp(second))
    recorder.save(stamp(second))
    return found


def test_a_failure_blinds_one_tank_and_leaves_the_others_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    path, real = tmp_path / "j.db", step.stepped

    def stumbles(setup: Any, belief: Any, time_s: float, orp_mv: float | None) -> Any:
        if setup.tank == "t" and time_s == ZERO_S + 1200.0:
            raise IndexError("index -1 is out of bounds")
        return real(setup, belief, time_s, orp_mv)

    monkeypatch.setattr(step, "stepped", stumbles)
    recorder, found = Recorder(two_tanks(), path), list[Output]()
    with caplog.at_level(logging.ERROR):
        for second in range(0, 3600, 20):
            found += read(recorder, float(second))
    assert caplog.text.count("the inference failed on a record (IndexError") == 1
    stands = [o for o in found if isinstance(o, Standing) and o.tank == "t"]
    assert [o.standing for o in stands][-2:] == ["safe", "cannot-tell"]
    assert "the inference failed" in stands[-1].why
    assert [o.alarm for o in found if isinstance(o, AlarmChange) and o.active] == ["cannot-see"]
    others = [o for o in found if isinstance(o, Standing) and o.tank == "other"]
    assert others[-1].standing == "safe"
    expected = to_bytes(recorder.state("t"))
    recorder.journal.commit()
    recorder.abandon()
    assert to_bytes(Recorder(two_tanks(), path).state("t")) == expected
    with Journal.open(path, read_only=True) as journal:
        told = [e.record for e in journal.entries(kinds=["health"], tank="t")]
    assert [(h.component, h.up) for h in told if isinstance(h, Health)] == [("inference", False)]
