"""How the service ends and how much room it needs, against what its unit allows."""

import subprocess
import sys
import tomllib
from contextlib import ExitStack
from importlib import import_module
from pathlib import Path

import pytest

from notify_peers import hanging_on
from servers import wait_until
from system.live_service import LiveService

pytestmark = pytest.mark.system
ROOT = Path(__file__).parents[2]
UNIT = (ROOT / "systemd" / "afterfill.service").read_text()
SCRIPT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["scripts"]["afterfill"]
HANGING = """
[mqtt]
host = "127.0.0.1"
port = {0}
[influxdb]
url = "http://127.0.0.1:{1}"
[[notify]]
at_least = "low"
[notify.smtp]
host = "127.0.0.1"
port = {2}
from = "a@example.org"
to = "b@example.org"
starttls = false
"""


def allowed(key: str) -> int:
    (line,) = [line for line in UNIT.splitlines() if line.startswith(f"{key}=")]
    return int(line.partition("=")[2])


def test_three_sinks_that_hang_do_not_hold_up_the_end(tmp_path: Path) -> None:
    with ExitStack() as stack:
        ports = [stack.enter_context(hanging_on(0)) for _ in range(3)]
        service = LiveService(tmp_path, speed=60.0, every_s=20.0, extra=HANGING.format(*ports))
        stack.enter_context(service)
        service.water.sour = True  # so that there is something to tell by mail
        service.start().wait_for(lambda: service.alarms("ph"), "an alarm")
        for _ in range(2):  # while each of them waits for its answer, which is nearly always
            service.wait_for_readings()
            code, took_s = service.stop()
            assert code == 0
            assert took_s < 4.0, service.said()[-2000:]
            assert 3 * took_s < allowed("TimeoutStopSec")
            before = len(service.entries("reading"))
            service.start()
            assert len(service.entries("reading")) >= before, "the last commit was made"


_SILENT = """
[tank.far]
litres = 100
[[probe]]
tank = "far"
quantity = "orp"
driver = "line"
port = "{}"
request = "R\\r"
settle_s = 30
pattern = 'ORP=(?P<orp>[\\d.]+)'
"""


@pytest.mark.parametrize("scheme", ["socket", "rfc2217"])
def test_a_bridge_that_never_answers_does_not_hold_up_the_end(tmp_path: Path, scheme: str) -> None:
    """It accepts, and is silent: agreeing about the line, and then the first answer, are waited
    for when the end comes."""
    with hanging_on(0) as number:
        extra = _SILENT.format(f"{scheme}://127.0.0.1:{number}")
        with LiveService(tmp_path, extra=extra) as service:
            service.start().wait_for_readings()
            code, took_s = service.stop()
    assert code == 0
    assert took_s < 4.0, service.said()[-2000:]


_AT = """
import importlib.abc, os, signal, sys
class Stop(importlib.abc.MetaPathFinder):
    def find_spec(self, name, path, target=None):
        if name == "{at}":
            os.kill(os.getpid(), signal.SIGTERM)
        return None
sys.meta_path.insert(0, Stop())
sys.argv = ["afterfill", "run", "--config", "{config}"]
from {module} import {function}
{function}()
"""


@pytest.mark.parametrize(
    "at", ["typer", "afterfill.cli.run", "pydantic", "numpy", "afterfill.service.service"]
)
def test_a_stop_while_it_still_loads_is_a_clean_end(tmp_path: Path, at: str) -> None:
    config = tmp_path / "afterfill.toml"
    config.write_text("[tank.t]\nlitres = 100\n")
    module, _, function = SCRIPT.partition(":")
    code = _AT.format(at=at, config=config, module=module, function=function)
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=30, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")


def test_the_script_is_light_until_it_is_ready_for_the_end() -> None:
    module, _, function = SCRIPT.partition(":")
    heavy = {"typer", "pydantic", "numpy", "rich", "click"}
    code = f"import sys, {module}; print(sorted({heavy!r} & set(sys.modules)))"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=30, check=True
    )
    assert done.stdout.strip() == "[]"
    assert callable(getattr(import_module(module), function))


def test_a_hundred_ports_have_room_for_their_threads(tmp_path: Path) -> None:
    tables = []
    for number in range(1, 100):  # with the port of `t` a hundred
        tables.append(f"[tank.t{number}]\nlitres = 100\n")
        tables.append(
            f'[[probe]]\ntank = "t{number}"\nquantity = "orp"\ndriver = "line"\n'
            f'port = "{tmp_path}/absent-{number}"\nrequest = "R\\r"\n'
            "pattern = 'ORP=(?P<orp>[\\d.]+)'\n"
        )
    with ExitStack() as stack:
        ports = [stack.enter_context(hanging_on(0)) for _ in range(3)]
        extra = "".join(tables) + HANGING.format(*ports)
        service = stack.enter_context(LiveService(tmp_path, extra=extra))
        service.start().wait_for_said("running: 100 tanks, 100 ports")
        status = Path(f"/proc/{service.pid}/status")

        def threads() -> int:
            return int(status.read_text().split("Threads:")[1].split()[0])

        wait_until(lambda: threads() > 100, "a thread for each port")
        assert 100 < threads() < 0.5 * allowed("TasksMax")
