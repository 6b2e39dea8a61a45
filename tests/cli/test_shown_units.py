"""What a person is shown, in the units of the configuration; programs see no difference."""

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.chemistry.kit_units import alkalinity_from
from afterfill.chemistry.units import celsius_from, fahrenheit, litres_from
from afterfill.config_file import parse
from afterfill.errors import ConfigError
from afterfill.planning.shown import PLAIN, Gallon, Shown
from afterfill.records import Dose, Reading, Refill
from afterfill.simulation.line_device import LineDevice
from afterfill.simulation.pty_port import PtyPort
from afterfill.tank_table import shown_in
from afterfill.wire import rfc3339
from cli_room import MEASURED, afterfill, line_probes, lines_of, record, write_config
from sample_records import START_S, alarm

US = 'units = { volume = "US gal", temperature = "F", hardness = "dKH" }\n'
TANK = '[tank.window]\nlitres = 120\nalkalinity_mg_l_caco3 = "5 dKH"\n'


@given(litres=st.floats(0.01, 1e5), gallon=st.sampled_from(["us", "imperial", None]))
def test_a_volume_is_read_back_as_shown(litres: float, gallon: Gallon | None) -> None:
    shown = Shown(gallon).volume(litres).split(" (")[0]
    assert litres_from(shown) == pytest.approx(litres, rel=6e-3)


@given(celsius=st.floats(-5, 60), fahrenheit=st.booleans())
def test_a_temperature_is_read_back_as_shown(celsius: float, fahrenheit: bool) -> None:
    shown = Shown(fahrenheit=fahrenheit).temperature(celsius).split(" (")[0]
    assert celsius_from(shown) == pytest.approx(celsius, abs=0.051)


@given(mg_l=st.floats(10, 1000), hardness=st.sampled_from(["dKH", "meq/L", "mg/L"]))
def test_an_alkalinity_is_read_back_as_shown(mg_l: float, hardness: str) -> None:
    units = parse(f'units = {{ hardness = "{hardness}" }}\n{TANK}', "it").units
    shown = shown_in(units).alkalinity(mg_l).split(" (")[0]
    assert alkalinity_from(shown) == pytest.approx(mg_l, rel=0.06)


def test_a_refill_is_echoed_in_gallons_and_written_in_litres(tmp_path: Path) -> None:
    config = str(write_config(tmp_path, tanks=US + TANK))
    given_ = ("log", "refill", "--config", config, "--litres", "6 US gal")
    assert "refill of 6 US gal (22.7 L)" in afterfill(*given_).stdout
    (line,) = lines_of(afterfill(*given_, "--json"))
    assert line["litres"] == pytest.approx(22.712, abs=1e-3)


def test_a_plan_is_shown_as_configured_though_litres_are_typed(tmp_path: Path) -> None:
    asked = ("--litres", "30", "--tank-ph", "7", "--tank-temperature", "25")
    config = str(write_config(tmp_path, tanks=US + TANK))
    words = afterfill("plan", "--config", config, *asked).stdout
    assert "refill of 7.93 US gal (30 L)" in words
    assert "77.0 °F (25.0 °C)" in words
    assert "5 dKH (89 mg/L as CaCO3)" in words
    (line,) = lines_of(afterfill("plan", "--config", config, *asked, "--json"))
    assert line["litres"] == 30.0
    metric = str(write_config(tmp_path, tanks='units = { volume = "litre" }\n' + TANK))
    assert (
        "refill of 30.3 L" in afterfill("plan", "--config", metric, "--litres", "8 US gal").stdout
    )


def test_an_alarm_is_shown_so_and_recorded_as_it_was(tmp_path: Path) -> None:
    config = str(write_config(tmp_path, tanks=US + TANK))
    warm = replace(
        alarm(START_S),
        alarm="temperature",
        message="31.0 °C; limits 20 to 30 °C",
    )
    record(tmp_path, warm)
    listed = " ".join(afterfill("alarm", "list", "--config", config).stdout.split())
    assert "87.8 °F (31.0 °C); limits 68.0 to 86.0 °F (20 to 30 °C)" in listed
    lines = lines_of(afterfill("alarm", "list", "--config", config, "--json"))
    assert warm.message in [line["message"] for line in lines]


def test_a_report_speaks_in_the_keepers_units(tmp_path: Path) -> None:
    powder = '[neutraliser.bottle]\nagent = "sulfite"\nform = "powder"\n'
    config = tmp_path / "afterfill.toml"
    config.write_text(f"{US}{TANK}{powder}", encoding="utf-8")
    read = [Reading(START_S + 60.0 * n, "window", "temperature", 25.0 + n / 10) for n in range(5)]
    poured = Refill(START_S, "window", "replace", 22.712, neutraliser_ml=2.0)
    record(tmp_path, poured, *read, Dose(START_S + 100.0, "window", 3.0))
    page = tmp_path / "page.html"
    span = ("--from", rfc3339(START_S - 60.0), "--to", rfc3339(START_S + 600.0))
    made = afterfill("report", "--config", str(config), *span, "--out", str(page))
    assert made.exit_code == 0, made.stderr
    text = page.read_text(encoding="utf-8")
    assert "6 US gal (22.7 L), drained and refilled" in text
    assert "from 77 to 77.72 °F" in text
    assert "3 g of neutraliser into the tank" in text
    assert ">2 g<" in text


def test_plain_units_change_no_sentence() -> None:
    sentence = "+1.2 °C; limits 20 to 25 °C; the whole tank's 100 L, 0.2 mg/L"
    assert PLAIN.text(sentence) == sentence


def test_what_is_no_unit_is_refused_with_those_that_are() -> None:
    with pytest.raises(ConfigError, match=r"\[units\]: key 'volume' is 'gal'; allowed: 'US gal'"):
        parse(f'units = {{ volume = "gal" }}\n{TANK}', "it")


def test_check_shows_a_temperature_as_configured(tmp_path: Path) -> None:
    with PtyPort(LineDevice(lambda: MEASURED), tmp_path / "head") as port:
        config = write_config(tmp_path, tanks=US + TANK, probes=line_probes(port.link))
        words = afterfill("check", "--config", str(config)).stdout
    assert f"{fahrenheit(MEASURED['temperature']):.1f} °F" in words
