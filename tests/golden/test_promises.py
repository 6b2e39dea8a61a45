"""What was promised holds, and what version 0.1 made can still be used.

`made_by_0_1/` was made by the code of version 0.1 itself: a journal with its tail, the recording
that its `export` wrote, its configuration, the queries of its dashboards, and what a hub held of
its entities.
"""

import gzip
import json
import re
from pathlib import Path

import pytest

from afterfill.config_file import load, parse
from afterfill.journal.store import Journal
from afterfill.records import Estimate, Output, Reading, Refill, Stamp, Verdict
from afterfill.service.recorder import Recorder
from afterfill.sinks.mqtt.discovery import discovery
from cli_room import afterfill
from golden.promises import FOLDER, PROMISES

ENDED_S = 1_772_323_200.0 + 5.5 * 3600.0  # the last reading of its journal
OLD = Path(__file__).parent / "made_by_0_1"


@pytest.mark.parametrize("name", PROMISES)
def test_every_promise_still_holds_and_every_new_one_is_written_down(name: str) -> None:
    promised = set((FOLDER / f"{name}.txt").read_text(encoding="utf-8").splitlines())
    now = set(PROMISES[name]())
    gone, new = sorted(promised - now), sorted(now - promised)
    assert not gone, "hubs, scripts, dashboards and recordings rely on these"
    assert not new, "add them: python tests/golden/promises.py, and a sentence in CHANGELOG.md"


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """The folder of a service of version 0.1 that was stopped by a power cut."""
    for name in ("journal.db", "journal.db-tail"):
        held = gzip.decompress((OLD / f"{name}.gz").read_bytes())
        (tmp_path / name.replace("journal", "afterfill")).write_bytes(held)
    (tmp_path / "afterfill.toml").write_text((OLD / "afterfill.toml").read_text())
    return tmp_path


def test_its_configuration_is_taken() -> None:
    settings = load(OLD / "afterfill.toml")
    assert settings.tank["window"].litres == 120.0
    assert len(settings.probe) == 3


def test_its_journal_opens_with_all_that_it_held(old: Path) -> None:
    with Journal.open(old / "afterfill.db") as journal:
        records = [entry.record for entry in journal.entries(limit=10**6)]
    assert sum(isinstance(it, Reading) for it in records) == 2634
    assert [it.litres for it in records if isinstance(it, Refill)] == [30.0, 20.0]
    assert sum(isinstance(it, Estimate) for it in records) > 200
    finals = [it.verdict for it in records if isinstance(it, Verdict) and it.final]
    assert finals == ["clear", "carried-over"]


def test_a_service_of_today_goes_on_where_it_ended(old: Path) -> None:
    """What it had learnt of quiet lives on: the ORP can be used at once."""
    recorder = Recorder(load(old / "afterfill.toml"), old / "afterfill.db")
    found: list[Output] = []
    for n in range(10):
        later_s = ENDED_S + 30.0 * n
        reading = Reading(later_s, "window", "orp", 300.0 + n % 3, "window-orp")
        found += recorder.readings([reading], Stamp(later_s, True, "demo", later_s - ENDED_S + 1e5))
    recorder.journal.close()
    estimates = [it for it in found if isinstance(it, Estimate)]
    assert estimates
    assert all(it.sees for it in estimates)


def test_its_recording_is_replayed_to_the_same_ends(tmp_path: Path) -> None:
    """Figures may move with the model; a clear change stays clear, a carry-over is one."""
    out = tmp_path / "out.jsonl"
    arguments = ["--config", str(OLD / "afterfill.toml"), "--out", str(out)]
    done = afterfill("replay", str(OLD / "recording"), *arguments)
    assert done.exit_code == 0, done.stderr
    told = [json.loads(line) for line in out.read_text().splitlines()]
    verdicts = [it for it in told if it["kind"] == "verdict"]
    assert [it["verdict"] for it in verdicts if it["final"]] == ["clear", "carried-over"]


def test_a_hub_keeps_each_entity_with_its_history_and_automations() -> None:
    text = (OLD / "afterfill.toml").read_text() + '[mqtt]\nhost = "broker.example"\n'
    now = {topic: dict(payload) for topic, payload in discovery(parse(text, "here"), "client")}
    for line in (OLD / "entities.jsonl").read_text().splitlines():
        held = json.loads(line)
        held.pop("value_template", None)  # how a value is read is told again at each start
        payload = now[held.pop("topic")]
        assert {key: payload.get(key) for key in held} == held


def test_its_dashboards_ask_for_what_is_still_written() -> None:
    promised = set((FOLDER / "measurements.txt").read_text().splitlines())
    fields = {line.split()[-1] for line in promised}
    known = {line.split()[0] for line in promised} | {"limit", "journal", "alarm_load"}
    for query in (OLD / "dashboard_queries.txt").read_text().splitlines():
        assert set(re.findall(r'FROM "(\w+)"', query)) <= known
        if not re.search(r'FROM "(limit|journal|alarm_load)"', query):
            asked = set(re.findall(r'"(\w+)"', re.sub(r'AS "\w+"', "", query)))
            own = set(re.findall(r'AS "(\w+)"', query))
            assert asked - own - known <= fields, query
