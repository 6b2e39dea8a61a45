"""`setup` meets a probe head: on real serial lines (pseudo-terminals), as a person at the shell."""

import re
from collections.abc import Mapping
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.cli.setup.reply import likely, numbers_in, pattern_of
from afterfill.config import Config
from afterfill.config_file import load
from afterfill.records import Quantity
from afterfill.service.driver_registry import ports_of
from afterfill.service.samples_once import readings_once
from afterfill.simulation.line_device import LineDevice
from afterfill.simulation.pty_port import PtyPort
from cli_room import MEASURED, afterfill

WATER = [*["window", "120", "warmwater", "treated", "-"], *["chlorine", "1.5", "3", "-", "-", "-"]]
BOTTLE = ["other", "5 ml", "200", "1", "no"]


class Silent:
    """A device that answers nothing."""

    def answer(self, _received: bytes) -> bytes:
        return b""


class Device:
    """Answers what it is told to."""

    def __init__(self, replies: Mapping[bytes, bytes]) -> None:
        self._replies = replies

    def answer(self, received: bytes) -> bytes:
        return self._replies.get(received, b"")


def talk(folder: Path, *answers: str) -> tuple[str, Config]:
    """What the terminal showed, and the file that came of it."""
    path = folder / "afterfill.toml"
    stdin = "\n".join([*WATER, *BOTTLE, *answers]) + "\n"
    result = afterfill("setup", "--config", str(path), stdin=stdin)
    assert result.exit_code == 0, result.stderr
    return result.stderr + result.stdout, load(path)


def values(config: Config) -> dict[Quantity, float | None]:
    """What the probes of a configuration say now."""
    return {
        r.quantity: r.value for plan in ports_of(config) for r in readings_once(plan, now=float)
    }


def test_a_head_is_asked_its_numbers_are_proposed_and_check_is_sound(tmp_path: Path) -> None:
    """Its manual's `R`; three times Enter for the numbers, then the next two probes are there."""
    with PtyPort(LineDevice(lambda: MEASURED), tmp_path / "head") as port:
        every = [str(port.link), "line", "", "R", "", "", "", "y"]
        said, config = talk(tmp_path, *every, "", "", "y", "", "", "y")
        assert values(config) == MEASURED
    assert 'it says "ORP=412.3;PH=7.21;T=24.81"' in said
    assert "(1: 412.3, 2: 7.21, 3: 24.81; 0: none) [1]" in said
    assert "It shows 412.3 mV. Is that right?" in said
    assert said.count("  listening for 3 s") == 1, "a head is met once"
    assert config.probe[0].driver_keys["request"] == "R\r"
    assert said.rstrip().endswith(f"Next: afterfill run --config {tmp_path}/afterfill.toml")
    assert "fault" not in said.split("is written")[1], "what `check` says then"


@pytest.mark.parametrize(("end", "wanted"), [("\r", "\r"), ("\n", "\n"), ("\r\n", None)])
def test_a_head_that_speaks_by_itself_is_heard_whatever_ends_its_lines(
    tmp_path: Path, end: str, wanted: str | None
) -> None:
    line = f"24.8,7.21,412.3{end}".encode()
    with PtyPort(Silent(), tmp_path / "head", stream=lambda: line, every_s=0.3) as port:
        every = [str(port.link), "line", "", "", "", "", "y"]
        said, config = talk(tmp_path, *every, "", "", "y", "", "", "y")
    assert config.probe[0].driver_keys.get("terminator") == wanted
    assert "request" not in config.probe[0].driver_keys
    assert "It shows 24.8 °C. Is that right?" in said


def test_a_head_that_wants_another_end_of_line_is_asked_with_it(tmp_path: Path) -> None:
    device = Device({b"READ\r\n": b"pH 7.02 / 25.1 C\r\n"})
    with PtyPort(device, tmp_path / "head") as port:
        answers = ["-", str(port.link), "line", "", "WHO", "READ", "", "", "", "y", "-"]
        said, config = talk(tmp_path, *answers)
        assert values(config) == {"ph": 7.02}
    assert "no answer with a number to 'WHO'" in said
    assert config.probe[0].driver_keys["request"] == "READ\r\n"


def test_who_leaves_is_offered_the_answers_again(tmp_path: Path) -> None:
    path = tmp_path / "afterfill.toml"
    left = afterfill("setup", "--config", str(path), stdin="window\n54 US gal\n")
    assert left.exit_code == 130
    assert "What you answered is kept" in left.stderr
    stdin = "\n".join(["", "", "warmwater", "treated", "-", *WATER[5:], *BOTTLE, "-", "-", "-"])
    again = afterfill("setup", "--config", str(path), stdin=stdin + "\n")
    assert again.exit_code == 0, again.stderr
    assert load(path).tank["window"].litres == pytest.approx(204.41, abs=0.01)
    assert list(tmp_path.iterdir()) == [path], "and then forgotten"


def test_a_maximum_that_is_not_known_is_what_the_law_allows(tmp_path: Path) -> None:
    """40 CFR 141.65 (c): 4.0 mg/L as Cl2, chlorine and chloramines; from memory."""
    path = tmp_path / "afterfill.toml"
    assert afterfill("setup", "--config", str(path), "--yes").exit_code == 0
    assert load(path).source["tap"].residual_max_mg_l == 4.0


@pytest.mark.parametrize(
    ("line", "places"),
    [
        ("ORP=412.3;PH=7.21;T=24.81", (1, 2, 3)),
        ("7.21,24.81,412.3", (3, 1, 2)),
        ("temp 24.8C pH 7.2 redox 312 mV", (3, 2, 1)),
        ("?OK 7.02", (0, 1, 0)),
        ("CH1 312.0 CH2 7.4", (1, 2, 0)),
        ("1,2,3", (0, 0, 0)),
        ("20.1 21.2", (0, 0, 0)),  # which of the two cannot be told
    ],
)
def test_which_number_is_which(line: str, places: tuple[int, int, int]) -> None:
    numbers = numbers_in(line)
    quantities: tuple[Quantity, ...] = ("orp", "ph", "temperature")
    assert tuple(likely(line, numbers, quantity) for quantity in quantities) == places


@given(
    words=st.lists(st.text(alphabet="aZ =;:.*+?()[]\\|^$µ", max_size=5), min_size=4, max_size=4),
    shown=st.tuples(*[st.decimals(-999, 9999, places=2) for _ in range(3)]),
    later=st.tuples(*[st.decimals(-999, 9999, places=1) for _ in range(3)]),
)
def test_a_pattern_finds_its_numbers_again_in_any_line_of_that_form(
    words: list[str], shown: tuple[float, ...], later: tuple[float, ...]
) -> None:

    words = [f"{word} " for word in words]

    def line(values: tuple[float, ...]) -> str:
        return "".join(f"{word}{value}" for word, value in zip(words, values, strict=False))

    numbers = numbers_in(line(shown))
    if len(numbers) != 3:
        return  # a word of this form may swallow a sign or a point
    found = re.fullmatch(
        pattern_of(line(shown), numbers, {"orp": 1, "ph": 2, "temperature": 3}), line(later)
    )
    assert found is not None
    assert [float(found[q]) for q in ("orp", "ph", "temperature")] == [float(v) for v in later]


def test_a_word_that_was_half_heard_does_not_spoil_the_next(tmp_path: Path) -> None:
    with PtyPort(LineDevice(lambda: MEASURED), tmp_path / "head") as port:
        answers = [str(port.link), "line", "", "Q", "R", "", "", "", "y", "-", "-"]
        _, config = talk(tmp_path, *answers)
    assert config.probe[0].driver_keys["request"] == "R\r"


def test_a_slip_in_the_talk_is_asked_again_and_never_ends_it(tmp_path: Path) -> None:
    """A speed that is none; a number that is not there, and one taken for two quantities."""
    with PtyPort(LineDevice(lambda: MEASURED), tmp_path / "head") as port:
        once = [str(port.link), "line", "fast", "9600", "R", "9", "1", "1", "0", "n"]
        said, config = talk(tmp_path, *once, *once[:2], "", "R", "1", "2", "3", "y", "-", "-")
        assert values(config) == {"orp": MEASURED["orp"]}
    assert "'fast' is not a number" in said
    assert "'9' is none of them" in said
