"""[[probe]] tables become ports; each mistake is one sentence with its table, key and way out."""

import pytest

from afterfill.config import Config
from afterfill.config_file import parse
from afterfill.errors import ConfigError
from afterfill.ports import Driver
from afterfill.service.driver_registry import driver_named, driver_names, open_port, ports_of

TANK = "[tank.window]\nlitres = 100\n"
ORP = '[[probe]]\ntank = "window"\nquantity = "orp"\nport = "/dev/absent"\n'
PH = ORP.replace("orp", "ph")


def config_of(tables: str) -> Config:
    return parse(TANK + tables, "test.toml")


def test_the_drivers_of_the_wheel_are_found() -> None:
    assert {"line", "modbus", "onewire"} <= set(driver_names())
    driver: Driver = driver_named("modbus")
    assert "device" in driver.settings.model_fields


def test_probes_on_one_port_share_a_plan() -> None:
    bus = 'driver = "modbus"\ndevice = 7\nregister = {}\n'
    config = config_of(
        f"{ORP}{bus.format(0)}every_s = 5\noffset = -3.5\n{PH}{bus.format(1)}"
        '[[probe]]\ntank = "window"\nquantity = "temperature"\ndriver = "line"\nport = "/dev/b"\n'
    )
    plans = ports_of(config)
    assert [(plan.device, plan.driver) for plan in plans] == [
        ("/dev/absent", "modbus"),
        ("/dev/b", "line"),
    ]
    assert [probe.name for probe in plans[0].probes] == ["window-orp", "window-ph"]
    assert plans[0].every_s == {"window-orp": 5.0, "window-ph": 10.0}
    assert plans[0].offset == {"window-orp": -3.5, "window-ph": 0.0}
    assert plans[0].tank == {"window-orp": "window", "window-ph": "window"}
    assert plans[0].quantity == {"window-orp": "orp", "window-ph": "ph"}


def test_a_port_is_made_closed() -> None:
    plan = ports_of(config_of(ORP + 'driver = "line"\n'))[0]
    open_port(plan).close()  # nothing to let go of: the device does not even exist


@pytest.mark.parametrize(
    ("tables", "sentence"),
    [
        (ORP + 'driver = "lien"\n', "driver 'lien' is not installed; did you mean 'line'?"),
        (ORP + 'driver = "zzz"\n', "driver 'zzz' is not installed; known: "),
        (
            ORP + 'driver = "modbus"\ndevise = 7\nregister = 0\n',
            "unknown key 'devise' for driver 'modbus'; did you mean 'device'?",
        ),
        (ORP + 'driver = "line"\nevery = 5\n', "unknown key 'every'"),
        (ORP + 'driver = "modbus"\ndevice = 7\n', "key 'register' is missing"),
        (
            ORP + 'driver = "modbus"\ndevice = 300\nregister = 0\n',
            "key 'device' is 300: input should be less than or equal to 255",
        ),
        (ORP + 'driver = "line"\nparity = "n"\n', "key 'parity' is 'n'; allowed: 'N', 'E' or 'O'"),
        (
            f'{PH}driver = "line"\n{ORP}driver = "modbus"\ndevice = 1\nregister = 0\n',
            "wants port /dev/absent, which driver 'line' holds for window-ph",
        ),
        (
            f'{ORP}driver = "line"\nbaud = 9600\n{PH}driver = "line"\nbaud = 19200\n',
            "port /dev/absent: probes 'window-orp' and 'window-ph' differ in baud",
        ),
    ],
)
def test_a_mistake_is_one_sentence(tables: str, sentence: str) -> None:
    with pytest.raises(ConfigError) as caught:
        ports_of(config_of(tables))
    assert sentence in str(caught.value)
    assert "\n" not in str(caught.value)


def test_the_table_is_named_by_number_tank_and_quantity() -> None:
    with pytest.raises(ConfigError, match=r"^\[\[probe\]\] number 2 \(tank 'window', orp\): "):
        ports_of(config_of(f'{PH}driver = "line"\n{ORP}driver = "lien"\n'))
