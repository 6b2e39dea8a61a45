"""The growth bench on two services for some seconds, and how it counts."""

from pathlib import Path

import pytest

from afterfill.config import Config
from afterfill.sinks.mqtt.discovery import discovery
from bench.growth_room import Plan
from bench.growth_run import followed, measured, rhythm
from bench.growth_table import heading, row

PROBES, SINKS = (
    ("temperature", "ph", "orp"),
    {"mqtt": {"host": "b"}, "influxdb": {"url": "http://d"}},
)
HUB_S, DATABASE_S = 5.0, 12.0  # intervals below and a busy machine; the database's own five
CORES = 0.5  # two services at 2 Hz took 0.1


def entities(tanks: list[str]) -> int:
    """How many a service with these tanks announces."""
    probes = [
        {"tank": t, "quantity": q, "driver": "line", "port": f"/dev/{t}"}
        for t in tanks
        for q in PROBES
    ]
    config = {"tank": {t: {"litres": 100} for t in tanks}, "probe": probes, "source": {"tap": {}}}
    return len(discovery(Config.model_validate({**config, **SINKS}), "service"))


@pytest.mark.system
@pytest.mark.timeout(120)
def test_what_three_tanks_in_two_services_say_arrives_whole_and_in_time(tmp_path: Path) -> None:
    plan = Plan(3, 2, every_s=0.5, commit_every_s=0.5, write_every_s=1.0)
    it = measured(plan, tmp_path, seconds=3.0, settling_s=0.5, on_the_way_s=3.0)
    assert 15 <= it.replies <= 19, "three tanks, three seconds, two a second"
    assert (it.missed, it.hub.lost, it.database.lost, it.refused) == (0, 0, 0, 0)
    assert len(it.hub.delays_s) == it.replies
    assert 0.0 < it.hub.delays_s[0] <= it.hub.delays_s[-1] < HUB_S
    assert 0.0 < it.database.delays_s[0] <= it.database.delays_s[-1] < DATABASE_S
    assert it.answers_s
    assert it.answers_s[-1] < 2.0
    assert it.entities == entities(["t0", "t2"]) + entities(["t1"])
    assert it.messages_hz > 0.7 * it.replies * len(PROBES) / it.lasted_s
    assert 0.0 < it.taken["services"].cpu_s / it.lasted_s < CORES
    assert it.memory_mb["services"] < 2 * it.largest_mb < 200.0
    assert len(heading().splitlines()[1]) == len(row(it))


REPLIED = {"t": [10.0, 20.0, 30.0, 30.4, 61.0]}


def test_a_reply_that_was_never_seen_is_lost_and_a_delay_begins_with_its_reply() -> None:
    seen = {"t": [(1, 22.5), (0, 12.0), (1, 23.0), (3, 30.0), (4, 62.0)]}
    found = followed(REPLIED, seen, (15.0, 60.0))
    assert found.delays_s == [2.5]
    assert found.lost == 2, "one was not seen, one only before it was said"


def test_late_and_missed_readings_are_counted() -> None:
    assert rhythm(REPLIED, 10.0, (0.0, 100.0)) == (4, 1, 2)
    assert rhythm(REPLIED, 10.0, (0.0, 50.0)) == (3, 0, 0)
