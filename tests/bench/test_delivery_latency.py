"""A database that hangs delays neither a reading nor a finding on its way to the broker."""

import time
from pathlib import Path

import pytest

from bench.delivery_latency import delays_s, percentile, room
from mqtt_peers import Listener

pytestmark = pytest.mark.system
# The journal is looked into five times a second and the inbox four times; the rest is for a
# machine that does other work.
P99_S = 1.0
FINDING_S = 2.0


def test_a_reading_reaches_a_subscriber_within_a_second(tmp_path: Path) -> None:
    assert percentile(delays_s(60, tmp_path), 99) <= P99_S


def test_a_finding_does_not_wait_for_the_readings_to_be_committed(tmp_path: Path) -> None:
    with room(tmp_path, commit_s=300.0) as (_, _, port), Listener(port, "afterfill/#") as listener:
        listener.wait_for("afterfill/status", lambda p: p == b"online")
        time_s = time.monotonic()
        listener.send("afterfill/t/log/refill", '{"litres": 20}')
        listener.wait_for("afterfill/t/refill")
        assert time.monotonic() - time_s <= FINDING_S
