"""`plan`: a refill planned from file, options and journal; sentences and exit codes."""

import json
import time
from pathlib import Path
from typing import Any

import pytest

from afterfill.records import Quantiles
from cli_room import afterfill, estimate, lines_of, reading, record, write_config

ROOM = reading(0.0).tank  # the tank whose records cli_room makes
KNOWN_SOURCE = f"""
[tank.{ROOM}]
litres = 120
livestock = "warmwater"
alkalinity_mg_l_caco3 = 80
source = "well_known"
[source.well_known]
disinfectant = "chloramine"
residual_mg_l = 2.0
residual_max_mg_l = 3.0
ph = 7.8
alkalinity_mg_l_caco3 = 60
temperature_c = 22
"""
NO_BOTTLE = '[tank.a]\nlitres = 100\n[source.tap]\ndisinfectant = "chloramine"\n'


@pytest.fixture
def config(tmp_path: Path) -> str:
    return str(write_config(tmp_path, tanks=KNOWN_SOURCE))


@pytest.fixture
def now_s() -> float:
    return round(time.time(), 3)


def plan_of(config: str, *arguments: str) -> dict[str, Any]:
    result = afterfill("plan", "--config", config, "--json", *arguments)
    assert result.exit_code in (0, 1), result.stderr
    (line,) = lines_of(result)
    return line


def origins(plan: dict[str, Any]) -> dict[str, str]:
    return {used["what"]: used["origin"] for used in plan["used"]}


def test_the_answer_comes_first_then_steps_figures_and_cautions(config: str) -> None:
    result = afterfill("plan", "--config", config, "--litres", "30", "--tank-ph", "7.4")
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert lines[0] == f"{ROOM}: refill of 30 L, 25% of 120 L: keeps within the limits"
    assert lines[1].startswith("Dose: ")
    assert lines[1].endswith(" mL into the bucket.")
    assert lines[2:4] == ["", "To do, in order"]
    heads = ["To do, in order", "Expected", "Largest refill", "Be careful", "Worked out from"]
    places = [result.stdout.index(head) for head in heads]
    assert places == sorted(places)
    assert "common practice, no source" in result.stdout


def test_json_carries_the_figures_with_their_intervals(config: str) -> None:
    plan = plan_of(config, "--litres", "30", "--tank-ph", "7.4", "--ammonia", "0.25")
    assert (plan["kind"], plan["tank"], plan["judgement"]) == ("plan", ROOM, "within-limits")
    assert plan["residual"]["untreated_mg_l"]["q95"] == pytest.approx(0.75)
    assert plan["residual"]["treated_mg_l"]["q95"] == 0.0
    assert plan["ammonia"]["total_mg_l"]["q50"] == pytest.approx(0.75 * 0.25 + 0.25 * 2.0 / 4.5)
    assert plan["water"]["ph"]["closed"] > 7.4
    assert [step for step in plan["steps"] if "neutraliser-ml" in step]
    assert {caution["severity"] for caution in plan["cautions"]} <= {"danger", "warning", "note"}


def test_a_share_is_a_part_of_the_tank(config: str) -> None:
    assert plan_of(config, "--share", "25%")["litres"] == 30.0
    assert plan_of(config, "--share", "0.25")["litres"] == 30.0


def test_gallons_and_fahrenheit_are_taken_and_shown(config: str) -> None:
    result = afterfill(
        *("plan", "--config", config, "--litres", "8 US gal", "--tank-temperature", "78 F"),
        *("--tank-ph", "7.4", "--source-temperature", "60 F"),
    )
    assert "refill of 8 US gal (30.3 L)" in result.stdout
    assert "78.0 °F (25.6 °C)" in result.stdout
    assert "60.0 °F (15.6 °C)" in result.stdout


def test_units_of_the_file_are_shown_when_options_have_none(tmp_path: Path) -> None:
    tank = '[tank.a]\nlitres = "40 gal"\nlimits = { temperature_c = ["72 F", "84 F"] }\n'
    config = str(write_config(tmp_path, tanks=tank))
    result = afterfill("plan", "--config", config, "--share", "20%", "--tank-ph", "7.2")
    assert "refill of 8 US gal (30.3 L), 20% of 40 US gal (151 L)" in result.stdout
    assert "78.0 °F (25.6 °C)" in result.stdout  # the middle of its limits


def test_without_a_journal_ph_stays_unknown_and_the_rest_is_said_to_be_assumed(config: str) -> None:
    plan = plan_of(config, "--litres", "30")
    assert plan["judgement"] == "cannot-tell"
    assert "the tank's pH" in [missing["what"] for missing in plan["missing"]]
    assert plan["ammonia"]["free_mg_l"] is None
    assert plan["ammonia"]["ph_at_limit"] > 7.0
    told = origins(plan)
    assert "tank's pH" not in told
    assert told["tank's temperature"] == "assumed: the middle of its limits"
    assert told["tank's ammonia"].startswith("assumed: ")
    assert told["its Cl2 to N"] == "assumed: the default"
    assert told["its residual at most"] == "configuration"


def test_the_journals_fresh_readings_are_used_with_their_age(
    tmp_path: Path, config: str, now_s: float
) -> None:
    record(
        tmp_path,
        reading(now_s - 600, "ph"),
        reading(now_s - 600, "temperature"),
        estimate(now_s - 600),
    )
    plan = plan_of(config, "--litres", "30")
    told = origins(plan)
    assert told["tank's pH"] == "journal, 10 min old"
    assert told["tank's temperature"] == "journal, 10 min old"
    assert told["tank's ammonia"] == "journal's estimate, 10 min old"
    assert plan["judgement"] == "within-limits"


def test_stale_readings_are_not_used(tmp_path: Path, config: str, now_s: float) -> None:
    record(tmp_path, reading(now_s - 4000, "ph"), estimate(now_s - 4000))
    plan = plan_of(config, "--litres", "30")
    assert "tank's pH" not in origins(plan)
    assert origins(plan)["tank's ammonia"].startswith("assumed: ")


def test_options_outrank_the_journal(tmp_path: Path, config: str, now_s: float) -> None:
    record(tmp_path, reading(now_s - 60, "ph"), estimate(now_s - 60))
    plan = plan_of(config, "--litres", "30", "--tank-ph", "7.9", "--ammonia", "0.5")
    assert origins(plan)["tank's pH"] == "option"
    assert origins(plan)["tank's ammonia"] == "option, with a kit's error"


def test_an_unreadable_journal_leaves_a_plan_from_the_rest(tmp_path: Path, config: str) -> None:
    (tmp_path / "afterfill.db").write_bytes(b"no journal at all" * 100)
    assert "tank's pH" not in origins(plan_of(config, "--litres", "30"))


@pytest.mark.parametrize(
    ("arguments", "over"),
    [
        (("--litres", "30", "--dose-ml", "0.1"), "residual"),
        (("--litres", "100", "--tank-ph", "8.1", "--ammonia", "0.05"), "free ammonia"),
        (("--litres", "90", "--source-temperature", "5"), "temperature"),
    ],
)
def test_a_plan_that_breaks_a_limit_ends_with_1(
    config: str, arguments: tuple[str, ...], over: str
) -> None:
    result = afterfill("plan", "--config", config, *arguments)
    assert result.exit_code == 1
    assert "NOT SAFE as planned" in result.stdout.splitlines()[0]
    assert over in plan_of(config, *arguments)["over"]


def test_a_tank_already_over_is_never_said_to_keep_its_limits(config: str) -> None:
    arguments = ("--litres", "30", "--tank-ph", "8.4", "--ammonia", "1")
    result = afterfill("plan", "--config", config, *arguments)
    assert result.exit_code == 0
    first = result.stdout.splitlines()[0]
    assert first.endswith(
        "free ammonia may be over the limit already; the refill makes it no worse"
    )
    assert "DANGER: free ammonia may be over the limit" in result.stdout


def test_chloramine_without_a_neutraliser_ends_with_1(tmp_path: Path) -> None:
    path = tmp_path / "afterfill.toml"
    path.write_text(NO_BOTTLE, encoding="utf-8")
    result = afterfill("plan", "--config", str(path), "--litres", "25")
    assert result.exit_code == 1
    assert "DANGER: without a neutraliser" in result.stdout
    (unknown,) = [line for line in result.stdout.splitlines() if "not known: " in line]
    assert "the tank's pH, the source's pH, the source's alkalinity" in unknown
    assert "so these cannot be predicted: pH and free ammonia; " in unknown
    assert "--source-ph or ph in [source.tap]" in unknown
    assert "a table [neutraliser.ID]" in unknown
    assert "not known" not in result.stdout.replace("not known: ", "").replace(unknown, "")


def test_the_sources_ph_and_alkalinity_can_be_told(config: str) -> None:
    told = ("--source-ph", "8.4", "--source-alkalinity", "120")
    plan = plan_of(config, "--litres", "60", "--tank-ph", "7.4", *told)
    usual = plan_of(config, "--litres", "60", "--tank-ph", "7.4")
    after, before = (it["water"]["ph"]["alkalinity_mg_l_caco3"] for it in (plan, usual))
    assert after == pytest.approx(before + 30.0)  # half of the tank, and 60 mg/L more in it
    assert (origins(plan)["its pH"], origins(plan)["its alkalinity"]) == ("option", "option")


def test_limits_are_shown_with_their_source_and_how_far_it_is_confirmed(config: str) -> None:
    result = afterfill("plan", "--config", config, "--litres", "30", "--tank-ph", "7.4")
    assert "limit 0.019 (US EPA 1984, one hour, secondary)" in result.stdout
    assert "least 5 (US EPA 1986, from memory)" in result.stdout
    plan = plan_of(config, "--litres", "30", "--tank-ph", "7.4")
    assert "EPA 440/5-84-030" in origins(plan)["limit of the residual"]


def test_with_two_tanks_the_printed_command_names_its_own(tmp_path: Path) -> None:
    path = tmp_path / "afterfill.toml"
    path.write_text(
        "[tank.a]\nlitres = 100\n[tank.b]\nlitres = 50\n[source.s]\n[source.r]\n"
        "[neutraliser.n]\nmg_cl2_per_ml = 40\n",
        encoding="utf-8",
    )
    asked = ("--tank", "b", "--source", "s")
    steps = " ".join(plan_of(str(path), "--litres", "25", *asked)["steps"])
    assert "--source s --tank b`" in steps
    rescue = plan_of(str(path), "--rescue", "--residual", "0.5", "--tank", "b")
    commands = [c for c in " ".join(rescue["steps"] + rescue["tests"]).split("`") if " log " in c]
    assert commands
    assert all(command.endswith("--tank b") for command in commands)


def test_a_label_that_does_not_say_for_how_much_chlorine_is_not_quoted_for_it(
    tmp_path: Path,
) -> None:
    path = tmp_path / "afterfill.toml"
    text = "[tank.a]\nlitres = 100\n[neutraliser.n]\nlabel = {{ ml = 5, litres = 200{} }}\n"
    for said, words in (
        ("", "label: 5 mL for 200 L; assumed: at 1 mg/L (label.mg_l is not given)"),
        (", mg_l = 1.0", "label: 5 mL for 200 L at 1 mg/L"),
    ):
        path.write_text(text.format(said), encoding="utf-8")
        plan = plan_of(str(path), "--litres", "25")
        assert origins(plan)["its strength"] == words
    assert "times what the label's words give" in json.dumps(plan["cautions"])


def test_no_source_at_all_is_planned_as_unknown_and_said_so(tmp_path: Path) -> None:
    path = tmp_path / "afterfill.toml"
    path.write_text(
        "[tank.a]\nlitres = 100\n[neutraliser.b]\nmg_cl2_per_ml = 40\n", encoding="utf-8"
    )
    plan = plan_of(str(path), "--litres", "25")
    assert origins(plan)["source's disinfectant"] == "assumed: the default"
    assert "the source's disinfectant" in [missing["what"] for missing in plan["missing"]]


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        ((), "say how much water, with --litres 25 or --share 25%"),
        (("--litres", "5", "--share", "5%"), "say how much water"),
        (("--litres", "many"), "--litres: 'many' is not a volume: write 25"),
        (("--litres", "500"), "--litres 500: give more than nothing, and at most the tank's 120 L"),
        (("--litres", "0"), "--litres 0: give more than nothing"),
        (("--share", "half"), "--share half: write 25% or 0.25"),
        (("--share", "25"), "--share 25: write 25% or a number up to 1"),
        (("--share", "130%"), "--share 130%: give more than nothing"),
        (("--share", "nan"), "--share nan: write 25% or 0.25"),
        (("--litres", "5", "--mode", "swap"), "--mode swap: write replace or add"),
        (("--litres", "5", "--dose-at", "pipe"), "--dose-at pipe: write bucket, line, tank"),
        (("--litres", "5", "--dose-ml", "-1"), "--dose-ml is -1: give 0 or more"),
        (("--litres", "5", "--tank-ph", "17"), "--tank-ph is 17: give a pH between 0 and 14"),
        (("--litres", "5", "--ammonia", "-1"), "--ammonia is -1: give mg/L as N from 0 to 100"),
        (("--litres", "5", "--tank-temperature", "hot"), "--tank-temperature: 'hot' is not"),
        (("--litres", "5", "--tank-temperature", "78"), "--tank-temperature is 78.0 °C"),
        (("--litres", "5", "--standing-hours", "-2"), "standing time is -2"),
        (("--litres", "5", "--source", "wel_known"), "did you mean 'well_known'?"),
        (("--litres", "5", "--tank", f"{ROOM}s"), f"did you mean '{ROOM}'?"),
        (("--litres", "5", "--residual", "1"), "add --rescue"),
        (("--rescue", "--litres", "5"), "--rescue is about the whole tank"),
        (("--rescue", "--residual", "-1"), "--residual is -1: give mg/L as Cl2 from 0 to 100"),
    ],
)
def test_wrong_use_is_one_sentence_and_ends_with_2(
    config: str, arguments: tuple[str, ...], sentence: str
) -> None:
    result = afterfill("plan", "--config", config, *arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert sentence in result.stderr
    assert result.stderr.count("\n") == 1


def test_rescue_by_a_kit_needs_no_journal(config: str) -> None:
    result = afterfill("plan", "--config", config, "--rescue", "--residual", "0.5")
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert lines[0].startswith(f"{ROOM}: disinfectant in the tank, planned for 0.74 mg/L")
    assert lines[1].startswith("Dose: ")
    assert lines[2].startswith("What it does to pH and free ammonia is not known: give the tank's")
    assert lines[3] == "  1. Stop any water that is still running in."
    for head in ("What not to do", "Test", "Call a vet", "harm is likely within"):
        assert head in result.stdout


def test_rescue_by_the_journal_goes_to_the_99_percent_side(
    tmp_path: Path, config: str, now_s: float
) -> None:
    residual = Quantiles(0.2, 0.4, 0.8)
    record(
        tmp_path,
        reading(now_s - 30, "ph"),
        estimate(now_s - 30, residual_mg_l=residual, free_chlorine_mg_l=Quantiles(0.0, 0.1, 0.3)),
    )
    plan = plan_of(config, "--rescue")
    assert plan["kind"] == "rescue-plan"
    upper = 0.4 * 2.0 ** (2.326 / 1.645)
    assert plan["found"]["upper"] == {"mg_l": pytest.approx(upper, rel=1e-4), "by": "log-normal"}
    assert plan["found"]["free_share"] == pytest.approx(0.25)
    assert plan["dose_ml"] >= 120.0 * upper * plan["safety"] / 40.0
    assert origins(plan)["residual"] == "journal's estimate, 30 s old"
    assert json.dumps(plan["steps"]).index("Stop any water") > 0


def test_rescue_adds_released_ammonia_to_a_kits_and_not_to_an_estimates(
    tmp_path: Path, config: str, now_s: float
) -> None:
    record(tmp_path, estimate(now_s - 30))
    estimated = plan_of(config, "--rescue", "--residual", "0.5")
    by_kit = plan_of(config, "--rescue", "--residual", "0.5", "--ammonia", "0")
    assert estimated["total_ammonia_mg_l"]["q95"] == 0.2
    assert by_kit["total_ammonia_mg_l"]["q95"] == pytest.approx(
        by_kit["released_mg_l"] + 1.645 * 0.08, rel=1e-3
    )


@pytest.mark.parametrize(("stated", "most"), [("residual_max_mg_l = 1.5", 1.5), ("", 4.0)])
def test_rescue_counts_on_no_more_than_the_source_may_hold(
    tmp_path: Path, now_s: float, stated: str, most: float
) -> None:
    tank = f"[tank.{ROOM}]\nlitres = 120\nsource = 's'\n[source.s]\nresidual_mg_l = 1.0\n{stated}\n"
    config = str(write_config(tmp_path, tanks=tank))
    record(tmp_path, estimate(now_s - 30, residual_mg_l=Quantiles(0.0, 0.001, 0.9)))
    plan = plan_of(config, "--rescue")
    assert plan["found"]["upper"] == {"mg_l": most, "by": "most-the-source-holds"}


def test_rescue_without_a_neutraliser_ends_with_1(tmp_path: Path) -> None:
    path = tmp_path / "afterfill.toml"
    path.write_text(NO_BOTTLE, encoding="utf-8")
    result = afterfill("plan", "--config", str(path), "--rescue", "--residual", "0.5")
    assert result.exit_code == 1
    assert "its strength is not known here" in result.stdout


def test_rescue_when_nothing_is_there_says_so(tmp_path: Path, config: str, now_s: float) -> None:
    record(tmp_path, estimate(now_s - 30))
    result = afterfill("plan", "--config", config, "--rescue")
    assert result.exit_code == 0
    assert "there is nothing to rescue" in result.stdout


@pytest.mark.parametrize("age_s", [None, 7200.0])
def test_rescue_without_a_fresh_estimate_is_unavailable(
    tmp_path: Path, config: str, now_s: float, age_s: float | None
) -> None:
    if age_s is not None:
        record(tmp_path, estimate(now_s - age_s))
    result = afterfill("plan", "--config", config, "--rescue")
    assert result.exit_code == 3
    assert "test with DPD total chlorine and give it with --residual" in result.stderr
    assert result.stderr.count("\n") == 1
