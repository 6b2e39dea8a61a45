"""Powders in grams, drops and tablets as the label counts: told, planned, refused."""

import re
from pathlib import Path

import pytest

from afterfill.config_file import load, parse
from afterfill.errors import ConfigError, PayloadError
from afterfill.plausible import with_amounts_read
from afterfill.tank_table import strength_of
from cli_room import afterfill, inbox, lines_of

TANK = '[tank.a]\nlitres = 100\n[source.tap]\ndisinfectant = "chlorine"\nresidual_mg_l = 1\n'


def room(folder: Path, table: str) -> str:
    path = folder / "afterfill.toml"
    path.write_text(f"{TANK}[neutraliser.b]\n{table}\n", encoding="utf-8")
    return str(path)


@pytest.mark.parametrize(
    ("table", "given", "strength", "said"),
    [
        ('agent = "thiosulfate"\nform = "powder"', "2,5 g", 1000 / 7.0004, "2.5 g"),
        ('agent = "thiosulfate"\nform = "powder"\nanhydrous = true', "200 mg", 224.2, "0.2 g"),
        ("label = { grams = 5, litres = 1000 }", "1", 200.0, "1 g"),
        ("label = { drops = 20, litres = 40 }", "10 drops", 2.0, "10 drops"),
        ("label = { tablets = 1, litres = '10 imp gal' }", "1 tablet", 45.46, "1 tablet"),
        ("label = { ml = '5 ml', litres = 200 }", "5 ml", 40.0, "5 mL"),
    ],
)
def test_an_amount_is_told_as_the_neutraliser_is_measured(
    tmp_path: Path, table: str, given: str, strength: float, said: str
) -> None:
    config = room(tmp_path, table)
    result = afterfill("log", "dose", "--config", config, "--neutraliser-ml", given)
    assert f"dose of {said} neutraliser" in result.stdout
    assert strength_of(load(Path(config)).neutraliser["b"]) == pytest.approx(strength, rel=1e-3)


@pytest.mark.parametrize("form", ["log", "plan"])
def test_millilitres_of_a_powder_are_refused(tmp_path: Path, form: str) -> None:
    config = room(tmp_path, 'agent = "sulfite"\nform = "powder"')
    command = {
        "log": ("log", "dose", "--neutraliser-ml", "5 ml"),
        "plan": ("plan", "--litres", "20", "--dose-ml", "5 ml"),
    }[form]
    result = afterfill(*command, "--config", config)
    assert result.exit_code == 2
    assert "write 2, '2 g' or '200 mg', since it is a powder" in result.stderr
    assert inbox(tmp_path) == []


def test_a_message_is_read_in_the_same_unit() -> None:
    config = parse(f'{TANK}[neutraliser.b]\nagent = "sulfite"\nform = "powder"\n', "it")
    assert with_amounts_read({"neutraliser_ml": "2 g"}, "a", config) == {"neutraliser_ml": 2.0}
    with pytest.raises(PayloadError, match="key 'neutraliser_ml' is not usable: '5 ml'"):
        with_amounts_read({"neutraliser_ml": "5 ml"}, "a", config)


def test_of_several_neutralisers_it_must_be_known_which() -> None:
    powder = '[neutraliser.b]\nagent = "sulfite"\nform = "powder"\n'
    config = parse(f"{TANK}{powder}[neutraliser.c]\nmg_cl2_per_ml = 4\n", "it")
    with pytest.raises(
        PayloadError, match=r"name the neutraliser of \[tank.a\], which has several"
    ):
        with_amounts_read({"neutraliser_ml": "2 g"}, "a", config)


@pytest.mark.parametrize("rescue", [(), ("--rescue", "--residual", "1", "--tank-ph", "7")])
def test_a_plan_gives_a_powder_in_grams_and_never_in_millilitres(
    tmp_path: Path, rescue: tuple[str, ...]
) -> None:
    config = room(tmp_path, 'agent = "thiosulfate"\nform = "powder"')
    asked = rescue or ("--litres", "50", "--source-temperature", "77 F")
    result = afterfill("plan", "--config", config, *asked)
    assert " g of neutraliser" in result.stdout
    assert " mL" not in result.stdout
    (line,) = lines_of(afterfill("plan", "--config", config, *asked, "--json"))
    ml = line["dose_ml"] if rescue else line["dose"]["ml"]
    if not rescue:  # 7 mg of it to a mg of chlorine, 2 mg/L at the most, and a margin
        assert ml == pytest.approx(50 * 2 * 7.0004e-3 * line["dose"]["safety"], rel=0.05)
    assert f"{ml:g} g" in result.stdout


@pytest.mark.parametrize(
    ("table", "sentence"),
    [
        ('form = "powder"', "give its strength once"),
        ('agent = "sulfite"\nform = "powder"\nmg_cl2_per_ml = 4', "a powder is measured in grams"),
        ('form = "powder"\nlabel = { ml = 5, litres = 100 }', "a powder is measured in grams"),
        ('form = "solution"\nlabel = { tablets = 1, litres = 100 }', "counts ml or drops"),
        ("label = { ml = 5, grams = 1, litres = 100 }", "give one of ml, grams, drops and tablets"),
        ("label = { litres = 100 }", "give one of ml, grams, drops and tablets"),
        ("label = { ml = '5 g', litres = 100 }", "'5 g' is not an amount of this neutraliser"),
        ("anhydrous = true\nmg_cl2_per_ml = 4", "anhydrous belongs to form"),
        ('agent = "sulfite"\nform = "powder"\nanhydrous = true', "no form with crystal water"),
    ],
)
def test_a_table_that_cannot_be_meant_is_refused(table: str, sentence: str) -> None:
    with pytest.raises(ConfigError, match=sentence):
        parse(f"{TANK}[neutraliser.b]\n{table}\n", "it")


@pytest.mark.parametrize(
    ("label", "dose"),
    [("{ drops = 20, litres = 40 }", r"\d+ drops"), ("{ tablets = 1, litres = 40 }", r"\d+(\.5)?")],
)
def test_drops_are_whole_and_tablets_halved_at_the_most(
    tmp_path: Path, label: str, dose: str
) -> None:
    config = room(tmp_path, f"label = {label}")
    words = afterfill("plan", "--config", config, "--litres", "13").stdout
    assert re.search(rf"^Dose: {dose}(?: tablets?)? into the bucket\.$", words, re.MULTILINE), words
