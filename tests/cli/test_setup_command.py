"""`setup`: what it writes can be used at once, whether asked or told."""

import tomllib
from pathlib import Path

import pytest

from afterfill.config import Config
from afterfill.config_file import load
from afterfill.service.driver_registry import driver_named, driver_names, ports_of
from cli_room import afterfill, lines_of

REQUIRED = {
    "line": [],
    "modbus": ["device=7", "register=0"],
    "mqtt": ["topic=sensors/t"],
    "onewire": ["sensor=28-0316a2795d1f"],
}


def setup(folder: Path, *arguments: str, stdin: str | None = None) -> Config:
    path = folder / "afterfill.toml"
    result = afterfill("setup", "--config", str(path), *arguments, stdin=stdin)
    assert result.exit_code == 0, result.stderr
    return load(path)


def test_yes_asks_nothing_and_leaves_probes_for_later(tmp_path: Path) -> None:
    config = setup(tmp_path, "--yes")
    assert list(config.tank) == ["tank"]
    assert config.probe == ()
    assert config.source["tap"].disinfectant == "unknown"
    assert config.journal.path == tmp_path / "afterfill.db"


def test_the_systems_configuration_has_its_journal_where_the_service_may_write(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("afterfill.cli.places.SYSTEM_FILE", tmp_path / "afterfill.toml")
    assert setup(tmp_path, "--yes").journal.path == Path("/var/lib/afterfill/afterfill.db")


def test_everything_can_be_given_as_options_in_a_keepers_units(tmp_path: Path) -> None:
    config = setup(
        tmp_path, "--yes", "--tank", "window", "--litres", "30 US gal", "--livestock", "salmonid",
        "--top-off", "treated",
        "--disinfectant", "chloramine", "--residual", "2,5", "--residual-max", "3.5",
        "--label-ml", "5", "--label-litres", "50 US gal", "--label-mg-l", "2",
        "--orp-port", "/dev/ttyUSB0", "--orp-driver", "modbus",
        "--set", "orp.device=7", "--set", "orp.register=0", "--set", "orp.scale=0.1",
        "--temperature-port", "/sys/bus/w1/devices", "--temperature-driver", "onewire",
        "--set", "temperature.sensor=28-0316a2795d1f",
    )  # fmt: skip
    assert config.tank["window"].litres == pytest.approx(113.562, abs=1e-3)
    assert config.tank["window"].top_off == "treated"
    assert config.tank["window"].livestock == "salmonid"
    assert config.source["tap"].residual_mg_l == 2.5
    assert config.source["tap"].residual_max_mg_l == 3.5
    label = config.neutraliser["bottle"].label
    assert label is not None
    assert (label.ml, label.mg_l) == (5.0, 2.0)
    assert label.litres == pytest.approx(189.271, abs=1e-3)
    orp, temperature = config.probe
    assert orp.driver_keys == {"device": 7, "register": 0, "scale": 0.1}
    assert temperature.driver_keys == {"sensor": "28-0316a2795d1f"}
    assert len(ports_of(config)) == 2


def test_a_drivers_key_is_written_as_in_toml(tmp_path: Path) -> None:
    sets = ("--set", r'orp.request="R\r"', "--set", "orp.separator=;", "--set", "orp.column=2")
    config = setup(tmp_path, "--yes", "--orp-port", "/dev/ttyUSB0", *sets)
    assert config.probe[0].driver_keys == {"request": "R\r", "separator": ";", "column": 2}


def test_a_person_is_asked_and_may_correct_a_slip(tmp_path: Path) -> None:
    answers = [
        "front window", "window",  # a space cannot be in a name
        "much", "1,200", "30 gal", "25 imp gal",  # which gallon is asked, never guessed
        "warm", "warmwater", "none", "treated", "5 dGH", "5 dKH",
        "chlorine", "1,5", "0.5", "",  # a maximum below the typical is asked again at once
        "12", "7,6", "-", "55 F",
        "thiosulphate", "thiosulfate", "5 ml", "200", "1", "perhaps", "no",
        "/dev/not-there", "lien", "line", "", "y", "-", "-",
    ]  # fmt: skip
    config = setup(tmp_path, stdin="\n".join(answers) + "\n")
    assert config.tank["window"].litres == pytest.approx(113.652, abs=1e-3)
    assert config.tank["window"].top_off == "treated"
    assert config.tank["window"].alkalinity_mg_l_caco3 == pytest.approx(89.2, abs=0.1)
    tap = config.source["tap"]
    assert tap.residual_max_mg_l == 3.0  # the default: twice the typical
    assert (tap.ph, tap.alkalinity_mg_l_caco3) == (7.6, None)
    assert tap.temperature_c == pytest.approx(12.78, abs=0.01)
    assert config.neutraliser["bottle"].agent == "thiosulfate"
    assert [(p.quantity, p.driver, p.port) for p in config.probe] == [
        ("orp", "line", "/dev/not-there")
    ]


def test_a_person_who_leaves_leaves_no_file(tmp_path: Path) -> None:
    path = tmp_path / "afterfill.toml"
    result = afterfill("setup", "--config", str(path), stdin="window\n")
    assert result.exit_code == 130
    assert not path.exists()


@pytest.mark.parametrize("driver", sorted(REQUIRED))
def test_the_further_keys_of_a_driver_stand_there_as_comments(tmp_path: Path, driver: str) -> None:
    sets = [part for key in REQUIRED[driver] for part in ("--set", f"temperature.{key}")]
    port = "mqtt" if driver == "mqtt" else "/dev/x"
    setup(tmp_path, "--yes", "--temperature-port", port, "--temperature-driver", driver, *sets)
    text = (tmp_path / "afterfill.toml").read_text()
    for name, info in driver_named(driver).settings.model_fields.items():
        assert f"\n{info.alias or name} = " in text or f"\n# {info.alias or name} = " in text


def test_a_probe_on_a_broker_has_the_broker_it_is_read_from(tmp_path: Path) -> None:
    config = setup(
        tmp_path, "--yes", "--ph-port", "mqtt", "--broker", "hub.example",
        "--set", "ph.topic=shelf/sensor", "--set", "ph.path=value.ph",
    )  # fmt: skip
    assert config.mqtt is not None
    assert config.mqtt.host == "hub.example"
    assert [(it.port, it.driver) for it in config.probe] == [("mqtt", "mqtt")]
    assert config.probe[0].driver_keys == {"topic": "shelf/sensor", "path": "value.ph"}


def test_who_chooses_the_driver_of_a_broker_is_asked_for_its_host(tmp_path: Path) -> None:
    typed = [*[""] * 16, "/dev/x", "mqtt", "shelf/orp", "-", "-", "hub"]
    config = setup(tmp_path, stdin="\n".join(typed) + "\n")
    assert config.mqtt is not None
    assert config.mqtt.host == "hub"
    assert [(it.port, it.driver) for it in config.probe] == [("mqtt", "mqtt")]


def test_a_port_that_the_driver_cannot_have_is_refused(tmp_path: Path) -> None:
    words = ["--yes", "--orp-port", "/dev/x", "--orp-driver", "mqtt", "--set", "orp.topic=a"]
    refused = afterfill("setup", "--config", str(tmp_path / "a.toml"), *words)
    assert refused.exit_code == 2
    assert "driver 'mqtt' has the port mqtt, not /dev/x" in refused.stderr


def test_every_installed_driver_has_a_case_above() -> None:
    assert set(driver_names()) == set(REQUIRED)


def test_commented_tables_can_be_used_as_they_stand(tmp_path: Path) -> None:
    setup(tmp_path, "--yes")
    text = (tmp_path / "afterfill.toml").read_text()
    opened = "\n".join(_uncommented(line) for line in text.splitlines())
    document = tomllib.loads(opened)
    assert {"mqtt", "influxdb", "notify"} <= set(document)
    (tmp_path / "opened.toml").write_text(opened)
    config = load(tmp_path / "opened.toml")
    assert config.notify[0].at_least == "medium"
    assert config.tank["tank"].limits.temperature_c == pytest.approx((23.333, 27.778), abs=1e-3)


def _uncommented(line: str) -> str:
    return (
        line.removeprefix("# ") if line.startswith("# ") and ("=" in line or "[" in line) else line
    )


def test_a_file_that_is_there_is_kept_unless_forced(tmp_path: Path) -> None:
    path = tmp_path / "afterfill.toml"
    path.write_text("# mine\n")
    refused = afterfill("setup", "--config", str(path), "--yes")
    assert refused.exit_code == 2
    assert "is there already: replace it with --force" in refused.stderr
    assert path.read_text() == "# mine\n"
    forced = afterfill(
        "setup", "--config", str(path), "--yes", "--top-off", "told", "--force", "--json"
    )
    wire = {"kind": "setup", "path": str(path), "probes": 0, "unseen": []}
    assert lines_of(forced) == [wire]
    assert list(load(path).tank) == ["tank"]


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["--litres", "much"], "--litres: 'much' is not a volume"),
        (["--litres", "0"], "--litres: '0' is no volume of a tank"),
        (["--tank", "a b"], "--tank: 'a b' cannot name a tank"),
        (["--livestock", "salmon"], "--livestock: 'salmon' is not one of"),
        (["--residual", "lots"], "--residual: 'lots' is not an amount of chlorine"),
        (
            ["--residual", "3", "--residual-max", "1"],
            "--residual-max: '1' lies below the typical 3 mg/L",
        ),
        (["--label-ml", "0"], "--label-ml: '0' is no dose of a label"),
        (["--orp-port", "/dev/x", "--orp-driver", "lien"], "did you mean 'line'?"),
        (
            ["--orp-port", "/dev/x", "--orp-driver", "modbus", "--set", "orp.register=0"],
            "needs the key 'device' for the ORP probe: add --set orp.device=...",
        ),
        (
            ["--orp-port", "/dev/x", "--set", "orp.bauds=9600"],
            "unknown key 'bauds' for driver 'line'; did you mean 'baud'?",
        ),
        (["--set", "device=7"], "write QUANTITY.KEY=VALUE"),
        (["--set", "ph.device=7"], "--set ph.device: no such probe is set up"),
    ],
)
def test_an_option_of_no_use_is_one_sentence_and_writes_nothing(
    tmp_path: Path, arguments: list[str], sentence: str
) -> None:
    path = tmp_path / "afterfill.toml"
    result = afterfill("setup", "--config", str(path), "--yes", *arguments)
    assert result.exit_code == 2
    assert sentence in result.stderr
    assert not path.exists()


def test_what_a_missing_probe_leaves_unseen_is_said_at_once(tmp_path: Path) -> None:
    path = str(tmp_path / "afterfill.toml")
    orp_alone = [
        "--yes",
        "--top-off",
        "treated",
        "--orp-port",
        "/dev/ttyUSB0",
        "--set",
        'orp.request="R\\r"',
    ]
    result = afterfill("setup", "--config", path, *orp_alone)
    assert result.exit_code == 0, result.stderr
    assert "it has no ph probe: un-ionised ammonia cannot be told" in result.stdout
    assert "it has no temperature probe" in result.stdout
    wire = lines_of(afterfill("setup", "--config", path, "--force", "--json", *orp_alone))[-1]
    assert len(wire["unseen"]) == 2


@pytest.mark.parametrize(("typed", "unit", "amount"), [
    ("5", "mL", 5.0), ("2,5 g", "g", 2.5), ("20 drops", "drop", 20.0), ("1 tablet", "tablet", 1.0),
])  # fmt: skip
def test_a_label_is_given_as_it_counts(
    tmp_path: Path, typed: str, unit: str, amount: float
) -> None:
    label = setup(tmp_path, "--yes", "--label-ml", typed).neutraliser["bottle"].label
    assert label is not None
    assert (label.unit, label.amount) == (unit, amount)


@pytest.mark.parametrize(
    ("typed", "shown"), [("30 US gal", "US gal"), ("30 imp gal", "imp gal"), ("120", None)]
)
def test_who_measures_in_gallons_is_shown_gallons(
    tmp_path: Path, typed: str, shown: str | None
) -> None:
    assert setup(tmp_path, "--yes", "--litres", typed).units.volume == shown


def test_what_no_label_says_is_refused_with_examples(tmp_path: Path) -> None:
    path = str(tmp_path / "afterfill.toml")
    result = afterfill("setup", "--config", path, "--yes", "--label-ml", "2 cups")
    assert result.exit_code == 2
    assert "write 5, '5 ml', '2 g', '20 drops' or '1 tablet'" in result.stderr


def test_a_drivers_number_may_have_a_comma(tmp_path: Path) -> None:
    sets = ("--set", "orp.device=7", "--set", "orp.register=0", "--set", "orp.scale=0,1")
    arguments = ("--yes", "--orp-port", "/dev/ttyUSB0", "--orp-driver", "modbus")
    config = setup(tmp_path, *arguments, *sets)
    assert config.probe[0].driver_keys["scale"] == 0.1
    path = str(tmp_path / "other.toml")
    result = afterfill("setup", "--config", path, *arguments, *sets[:-1], "orp.scale=1,200")
    assert result.exit_code == 2
    assert "'1,200' may be 1.2 or 1200" in result.stderr
