"""The service as in a house, for as long as is asked: two ports of unlike pace, one of them silent,
a broker, a database and, if there is one, a home-automation hub.

``python tests/system/long_run.py [--minutes 60]`` prints each minute how far the newest record is
from the wall clock, what broker, database and hub show, and at the end the largest lead and what
was complained of; ends with 1 when a record was dated ahead or a peer saw nothing. AFTERFILL_HUB
names the hub's program (see `tests/sinks/test_real_hub.py`). By hand: it takes its time.
"""

import argparse
import json
import os
import sys
import tempfile
import time
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path

if __name__ == "__main__":  # as a script: the tests' own modules lie one folder up
    sys.path.insert(0, str(Path(__file__).parents[1]))

from afterfill.simulation.pty_port import PtyPort
from mqtt_peers import retained
from servers import Broker, Engine, Shim
from sinks.test_real_hub import Hub
from system.fault_present import SILENT_PROBE, Silent, here
from system.live_service import LiveService

_PEERS = """
[mqtt]
host = "127.0.0.1"
port = {broker}
[influxdb]
url = "{database}"
"""
_LEAD_S = 0.1
_FRESH_S = 150.0  # a commit a minute, a sink's turn, and one more


@dataclass
class Seen:
    """What was seen so far. `leads_s`: newest record against the wall clock."""

    leads_s: list[float] = field(default_factory=list)
    broker_topics: int = 0
    points: int = 0
    newest_point_s: float = 0.0
    hub_entities: int = 0


def look(service: LiveService, broker: Broker, engine: Engine, hub: Hub | None, seen: Seen) -> None:
    """One look at everything, printed in a line."""
    now_s = time.time()
    records = service.records("reading", "tick", "estimate")
    lead_s = max(record.time_s for record in records) - now_s
    seen.leads_s.append(lead_s)
    topics = retained(broker.port, "afterfill/#")
    seen.broker_topics = len(topics)
    rows = engine.query('SELECT last("value") FROM "reading" GROUP BY "quantity"')
    seen.points = len(rows)
    newest = engine.query('SELECT "value" FROM "reading" ORDER BY time DESC LIMIT 1')
    seen.newest_point_s = float(newest[0]["time"]) / 1e3 if newest else 0.0
    states = {} if hub is None else hub.states()
    ours = {name: state for name, state in states.items() if "afterfill_" in name}
    seen.hub_entities = len(ours)
    standing = json.loads(topics.get("afterfill/t/standing", b"{}")).get("standing", "nothing yet")
    print(
        f"{time.strftime('%H:%M:%S')} newest record {lead_s:+.2f} s; {len(records)} records; "
        f"{len(topics)} topics, standing {standing}; point {seen.newest_point_s - now_s:+.0f} s; "
        f"hub {len(ours)} entities",
        flush=True,
    )


def run(minutes: float, folder: Path) -> bool:
    """Whether all went well."""
    seen = Seen()
    with ExitStack() as stack:
        broker, engine = Broker(folder / "broker"), Engine(folder / "engine")
        stack.enter_context(broker)
        stack.enter_context(engine)
        engine.query("CREATE DATABASE afterfill", "")
        shim = stack.enter_context(Shim(engine))
        silent = stack.enter_context(PtyPort(Silent(), folder / "silent"))
        extra = SILENT_PROBE.format(port=silent.link)
        extra += _PEERS.format(broker=broker.port, database=shim.url)
        service = stack.enter_context(
            LiveService(
                folder / "service", every_s=1.0, commit_every_s=60.0, extra=extra,
                quantities=("orp", "ph"), **here(),
            )
        )  # fmt: skip
        hub = None
        if "AFTERFILL_HUB" in os.environ:
            hub = Hub(folder / "hub", broker.port)
            stack.enter_context(hub.run())
        service.start()
        service.wait_for(lambda: service.records("estimate"), "an estimate", 150.0)
        end_s = time.monotonic() + 60.0 * minutes
        while time.monotonic() < end_s:
            look(service, broker, engine, hub, seen)
            time.sleep(max(min(60.0, end_s - time.monotonic()), 0.1))
        look(service, broker, engine, hub, seen)
        code, took_s = service.stop()
        complaints = [] if hub is None else hub.complaints()
    entries = service.entries("reading", "tick")
    lead_s = max(entry.record.time_s - entry.stamp.time_s for entry in entries)
    print(f"largest lead of a record over its stamp {lead_s:.3f} s, over the clock when looked at "
          f"{max(seen.leads_s):.2f} s; stop: exit {code} in {took_s:.1f} s")  # fmt: skip
    warned = [line for line in service.said().splitlines() if "WARNING" in line or "ERROR" in line]
    print(f"the service's log: {len(warned)} warnings", *warned[:8], sep="\n  ")
    print(f"the hub's log: {len(complaints)} complaints", *complaints[:8], sep="\n  ")
    late = time.time() - seen.newest_point_s > _FRESH_S + 30.0
    return (
        lead_s < _LEAD_S and code == 0 and seen.broker_topics > 10 and not late and not complaints
    )


def main() -> int:
    """See the module."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=60.0)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="long-run-") as folder:
        return 0 if run(given.minutes, Path(folder)) else 1


if __name__ == "__main__":
    sys.exit(main())
