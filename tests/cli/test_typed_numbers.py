"""Numbers as people type them, at every door: options, files, messages."""

import re
from pathlib import Path

import pytest

import afterfill.cli as afterfill_cli
from afterfill.config_file import parse
from afterfill.payloads import event_from
from afterfill.records import Dose, KitResult
from cli_room import afterfill, inbox, lines_of, write_config
from every_command import COMMANDS

NUMBERS = [
    (name, option.opts[0])
    for name, command in COMMANDS.items()
    for option in command.params
    if option.param_type_name == "option" and option.metavar in ("NUMBER", "ML", "MG/L")
]


def test_no_option_takes_a_number_in_another_way() -> None:
    sources = Path(afterfill_cli.__path__[0]).rglob("*.py")
    plain = re.compile(r"float(?: \| None)?,\s*typer\.(?:Option|Argument)")
    assert [path for path in sources if plain.search(path.read_text(encoding="utf-8"))] == []
    assert len(NUMBERS) > 20


@pytest.mark.parametrize(("name", "option"), NUMBERS)
def test_every_option_refuses_what_has_two_readings(name: str, option: str) -> None:
    result = afterfill(*name.split(), option, "1,200")
    assert result.exit_code == 2
    assert result.stderr.startswith(f"afterfill: {option}: '1,200' may be 1.2 or 1200: write")


@pytest.mark.parametrize(("name", "option"), NUMBERS)
def test_every_option_takes_a_decimal_comma(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, option: str
) -> None:
    monkeypatch.chdir(tmp_path)
    wrong = afterfill(*name.split(), option, "4,5", "--config", "nowhere.toml").stderr
    assert "4,5" not in wrong
    assert "nowhere.toml" in wrong or "Missing" in wrong


def test_a_refill_is_told_with_commas_and_units(tmp_path: Path) -> None:
    config = str(write_config(tmp_path))
    given = ("--litres", "2,5 imp gal", "--neutraliser-ml", "5 ml", "--minutes", "7,5")
    (line,) = lines_of(afterfill("log", "refill", "--config", config, *given, "--json"))
    assert line["litres"] == pytest.approx(2.5 * 4.54609)
    assert (line["neutraliser_ml"], line["minutes"]) == (5.0, 7.5)


@pytest.mark.parametrize("command", [("log", "refill"), ("plan",)])
def test_a_bare_gallon_is_refused_with_both_names(tmp_path: Path, command: tuple[str]) -> None:
    config = str(write_config(tmp_path))
    result = afterfill(*command, "--config", config, "--litres", "10 gal")
    assert result.exit_code == 2
    assert "'10 US gal' (37.85 L) or '10 imp gal' (45.46 L)" in result.stderr
    assert inbox(tmp_path) == []


def test_a_share_may_have_a_comma(tmp_path: Path) -> None:
    config = str(write_config(tmp_path))
    result = afterfill("plan", "--config", config, "--share", "12,5%")
    assert "refill of 15 L" in result.stdout


def test_messages_hold_numbers_as_text() -> None:
    dose = event_from("dose", {"neutraliser_ml": "2,5 ml"}, tank="a", time_s=1.0)
    assert isinstance(dose, Dose)
    assert dose.neutraliser_ml == 2.5
    kit = event_from("kit", {"total_chlorine_mg_l": "0,25"}, tank="a", time_s=1.0)
    assert isinstance(kit, KitResult)
    assert kit.total_chlorine_mg_l == 0.25


def test_a_file_may_have_commas_in_texts_and_its_old_gallons() -> None:
    config = parse(
        '[tank.a]\nlitres = "30 gal"\n[source.tap]\nresidual_mg_l = "1,9"\ntemperature_c = "12,5"\n'
        '[neutraliser.b]\nlabel = { ml = "2,5 ml", litres = "10 imp gal" }\n',
        "it",
    )
    assert config.tank["a"].litres == pytest.approx(113.562, abs=1e-3)
    assert (config.source["tap"].residual_mg_l, config.source["tap"].temperature_c) == (1.9, 12.5)
    label = config.neutraliser["b"].label
    assert label is not None
    assert label.ml == 2.5
    assert label.litres == pytest.approx(45.4609)


def test_check_says_which_gallon_a_file_was_taken_to_mean(tmp_path: Path) -> None:
    tanks = '[tank.a]\nlitres = "30 gal"\n[tank.b]\nlitres = "30 imp gal"\n'
    result = afterfill("check", "--config", str(write_config(tmp_path, tanks=tanks)))
    said = [line for line in result.stdout.splitlines() if "gallons" in line and "tank." in line]
    assert len(said) == 1
    assert "[tank.a] litres: '30 gal' is taken as US gallons" in said[0]
    assert "write '30 US gal' (113.6 L) or '30 imp gal' (136.4 L)" in said[0]


def test_a_kit_is_told_in_its_own_units(tmp_path: Path) -> None:
    config = str(write_config(tmp_path))
    values = ("--total-ammonia", "0,5 NH3", "--total-chlorine", "1 mg/L as NH2Cl")
    result = afterfill("log", "kit", "--config", config, *values)
    assert "kit: total ammonia 0.4112 mg/L as N, total chlorine 1.377 mg/L as Cl2" in result.stdout
    message = {"total_ammonia_mg_l": "0,5 NH4+"}
    kit = event_from("kit", message, tank="a", time_s=1.0)
    assert isinstance(kit, KitResult)
    assert kit.total_ammonia_mg_l == pytest.approx(0.3882, abs=1e-4)


def test_a_file_may_hold_degrees_of_hardness_and_kit_units() -> None:
    config = parse(
        '[tank.a]\nlitres = 100\nalkalinity_mg_l_caco3 = "5 dKH"\n'
        '[source.tap]\nresidual_mg_l = "1 NH2Cl"\nfree_ammonia_total_mg_l = "0,1 NH3"\n',
        "it",
    )
    assert config.tank["a"].alkalinity_mg_l_caco3 == pytest.approx(89.24, abs=0.01)
    source = config.source["tap"]
    assert source.residual_mg_l == pytest.approx(1.3775, abs=1e-4)
    assert source.free_ammonia_total_mg_l == pytest.approx(0.08224, abs=1e-4)
