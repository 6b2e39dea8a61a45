"""`probe calibrate`: virtual probes of known slope and offset, dipped by scripted answers."""

import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import typer

from afterfill.cli.configured import loaded
from afterfill.journal.store import Journal
from afterfill.records import Calibration, Quantity, Service
from afterfill.service.driver_registry import open_port, ports_of
from afterfill.simulation.line_device import LineDevice
from afterfill.simulation.pty_port import PtyPort
from cli_room import afterfill, inbox, line_probes, lines_of, reading, record, running, write_config

FAST = ["--still-seconds", "0.3", "--every", "0.05", "--temperature", "25"]


class Bench:
    """A probe head; `dips` are what it shows after each Enter."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.folder = folder
        self.now: dict[Quantity, float] = {"orp": 320.0, "ph": 7.4, "temperature": 25.0}
        self.dips: list[tuple[Quantity, float]] = []
        self.asked: list[str] = []
        monkeypatch.setattr(typer, "prompt", self._prompt)

    def _prompt(self, text: str, **_: object) -> str:
        self.asked.append(text)
        quantity, value = self.dips.pop(0)
        self.now[quantity] = value
        return ""

    def run(self, quantity: str, *arguments: str) -> tuple[int, dict[str, object], str]:
        config = str(self.folder / "afterfill.toml")
        result = afterfill(
            "probe", "calibrate", "--quantity", quantity, *FAST, "--config", config, *arguments,
            "--json",
        )  # fmt: skip
        lines = lines_of(result)
        return result.exit_code, lines[0] if lines else {}, result.stderr


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Bench]:
    made = Bench(tmp_path, monkeypatch)
    with PtyPort(LineDevice(lambda: made.now), tmp_path / "head") as port:
        write_config(tmp_path, probes=line_probes(port.link))
        yield made


def test_a_good_ph_probe_and_the_offset_that_mends_it(bench: Bench) -> None:
    bench.dips = [("ph", 7.10), ("ph", 4.16)]  # slope 98 %, 0.1 too high at pH 7
    code, wire, _ = bench.run("ph")
    assert code == 0
    assert (wire["health"], wire["slope_share"], wire["offset"]) == ("good", 0.98, -0.09)
    assert wire["points"] == [{"true": 7.0, "shown": 7.1}, {"true": 4.0, "shown": 4.16}]
    assert (wire["from"], wire["offset_before"]) == ("port", 0.0)
    assert [text[:25] for text in bench.asked] == ["Rinse the probe, hold it "] * 2
    assert "buffer 7.00 (pH 7.00 at 25.0 °C)" in bench.asked[0]


def test_the_buffers_ph_is_that_of_its_temperature(bench: Bench) -> None:
    bench.dips = [("ph", 7.06), ("ph", 10.18)]
    code, wire, _ = bench.run(
        "ph", "--temperature", "50 F", "--buffer", "7.00", "--buffer", "10.01"
    )
    assert code == 0
    assert (wire["slope_share"], wire["offset"]) == (1.0, 0.0)


def test_an_offset_that_is_configured_already_hides_nothing(bench: Bench) -> None:
    write_config(bench.folder, probes=line_probes(bench.folder / "head", offset=-0.10))
    bench.dips = [("ph", 7.10), ("ph", 4.10)]
    _, wire, _ = bench.run("ph")
    assert (wire["slope_share"], wire["offset"], wire["offset_before"]) == (1.0, -0.1, -0.1)


def test_a_worn_ph_probe_is_bad_news(bench: Bench) -> None:
    bench.dips = [("ph", 7.00), ("ph", 4.60)]
    code, wire, _ = bench.run("ph")
    assert (code, wire["health"], wire["slope_share"]) == (1, "replace", 0.8)


def test_three_buffers_that_do_not_agree_are_doubted(bench: Bench) -> None:
    bench.dips = [("ph", 7.00), ("ph", 4.00), ("ph", 9.60)]
    buffers = [part for name in ("7.00", "4.00", "10.01") for part in ("--buffer", name)]
    code, wire, _ = bench.run("ph", *buffers)
    assert (code, wire["health"]) == (1, "check the buffers")


def test_a_calibrated_ph_probe_is_kept_in_mind_and_the_orp_law_is_not_forgotten(
    bench: Bench,
) -> None:
    bench.dips = [("ph", 7.10), ("ph", 4.16)]
    bench.run("ph")
    out, told, back = inbox(bench.folder)
    assert isinstance(told, Calibration)
    assert (out.quantity, out.minutes, back.minutes) == ("ph", 10.0, 0.0)
    assert (told.quantity, told.probe, told.slope, told.offset) == ("ph", "window-ph", 0.98, -0.09)


def test_an_orp_probe_in_what_the_bottle_says(bench: Bench) -> None:
    bench.dips = [("orp", 240.0)]
    code, wire, _ = bench.run("orp", "--standard-mv", "256")
    assert (code, wire["health"], wire["offset"], wire["slope_share"]) == (
        0,
        "maintain",
        16.0,
        None,
    )
    out, work, told, back = inbox(bench.folder)
    assert (work.what, told.quantity, told.offset) == ("probe", "orp", 16.0)
    assert (out.quantity, out.minutes, work.minutes, back.minutes) == ("orp", 10.0, None, 0.0)
    assert isinstance(work, Service)
    assert isinstance(told, Calibration)


def test_an_orp_probe_in_quinhydrone_by_its_table(bench: Bench) -> None:
    bench.dips = [("orp", 257.6)]
    _, wire, _ = bench.run("orp")
    assert (wire["health"], wire["offset"]) == ("good", 0.0)


def test_a_probe_that_never_stands_still_is_not_recorded(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Restless(dict[Quantity, float]):
        def __getitem__(self, quantity: Quantity) -> float:
            return 7.0 + time.monotonic() % 3.0

    bench.now = Restless(bench.now)
    bench.dips = [("ph", 7.0)]
    code, wire, said = bench.run("ph", "--most-minutes", "0.02")
    assert (code, wire) == (1, {})
    assert "did not stand still within 0.02 min in buffer 7.00" in said
    assert [event.minutes for event in inbox(bench.folder)] == [10.0, 0.0]  # lent, and back


def test_while_the_service_holds_the_port_its_journal_is_read(bench: Bench) -> None:
    with PtyPort(LineDevice(lambda: bench.now), bench.folder / "other") as port:
        write_config(bench.folder, probes=line_probes(port.link, every_s=0.2))

        config = loaded(bench.folder / "afterfill.toml")
        holder = open_port(ports_of(config)[0])
        holder.open()
        try:
            record(bench.folder, reading(time.time(), "ph", value=7.4))
            with running(bench.folder):
                code, wire, said = _while_recorded(bench)
        finally:
            holder.close()
    assert "is held by the running service: its journal is read instead" in said
    assert (code, wire["from"], wire["slope_share"]) == (0, "journal", 0.98)


def _while_recorded(bench: Bench) -> tuple[int, dict[str, object], str]:
    """Run it while another thread records what the head shows, as the service would."""

    over = threading.Event()

    def service() -> None:
        while not over.wait(0.05):
            record(bench.folder, reading(time.time(), "ph", value=bench.now["ph"]))
            with Journal.open(bench.folder / "afterfill.db") as journal:
                for number, event, stamp in journal.inbox():
                    journal.take(number, event, stamp)
                journal.commit()

    thread = threading.Thread(target=service)
    thread.start()
    bench.dips = [("ph", 7.10), ("ph", 4.16), ("ph", 7.4)]
    try:
        return bench.run("ph")
    finally:
        over.set()
        thread.join()


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["temperature"], "--quantity temperature: ph and orp can be calibrated"),
        (["ph", "--buffer", "7.00"], "give --buffer two or three times"),
        (["ph", "--standard", "zobell"], "a pH probe is held in buffers"),
        (["orp", "--buffer", "7.00"], "an ORP probe is held in a standard"),
        (["orp", "--standard", "zobell", "--standard-mv", "220"], "exclude each other"),
        (["ph", "--probe", "window-orp"], "there is no ph probe of tank 'window' 'window-orp'"),
    ],
)
def test_a_wrong_use_gets_one_sentence(bench: Bench, arguments: list[str], sentence: str) -> None:
    code, _, said = bench.run(*arguments)
    assert code == 2
    assert sentence in said


def test_an_unknown_buffer_is_refused_before_a_probe_is_dipped(bench: Bench) -> None:
    code, _, said = bench.run("ph", "--buffer", "7.00", "--buffer", "5.00")
    assert code == 2
    assert "buffer '5.00' is not known: write one of" in said
    assert bench.asked == []


def test_a_probe_that_is_away_is_unavailable(bench: Bench) -> None:
    write_config(bench.folder, probes=line_probes(bench.folder / "nowhere"))
    code, _, said = bench.run("ph")
    assert code == 3
    assert "nowhere" in said
