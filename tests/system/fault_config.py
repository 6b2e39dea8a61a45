"""The configuration is edited to nonsense while the service runs."""

import configparser
from pathlib import Path

from system.fault_row import Row, told
from system.ledger import of_doses
from system.live_service import LiveService

_PROBE = """[tank.t]
litres = 100
[[probe]]
tank = "{tank}"
quantity = "orp"
driver = "{driver}"
port = "/dev/none"
"""
_NONSENSE = (
    "[tank.t]\nliters = 100\n",
    "[tank.t\n",
    "",
    "\0\xff binary",
    "[tank.t]\nlitres = -5\n",
    '[tank.t]\nlitres = "a lot"\n',
    _PROBE.format(tank="u", driver="line"),
    _PROBE.format(tank="t", driver="lien"),
)
_UNIT = Path(__file__).parents[2] / "systemd" / "afterfill.service"


def edited_to_nonsense(times: int, folder: Path) -> Row:
    """The running service keeps to what it had; check and a restart say it in one sentence."""
    lost = sentences = restarts = 0
    with LiveService(folder) as service:
        sound = service.config.read_text()
        service.start()
        service.wait_for_readings()
        kept = service.dose(1.0)
        for number in range(times):
            service.config.write_text(_NONSENSE[number % len(_NONSENSE)])
            check, again = service.command("check"), service.command("run")
            sentences += check.returncode == 2 and _is_one_sentence(check.stderr)
            restarts += again.returncode == 2 and _is_one_sentence(again.stderr)
            service.wait_for_readings(1)
        service.config.write_text(sound)
        code, _ = service.stop()
        lost = of_doses(service.journal, [1.0] if kept else []).lost + (code != 0)
    heard = told(
        ("one sentence from check", sentences == times),
        ("one sentence and exit code 2 from a restart", restarts == times),
        ("which the unit does not retry", _prevented() == 2),
    )
    how = f"{len(_NONSENSE)} kinds of nonsense written into the file"
    return Row("nonsense in the file", how, times, lost, 0, heard)


def _is_one_sentence(said: str) -> bool:
    return said.startswith("afterfill: ") and len(said.strip().splitlines()) == 1


def _prevented() -> int:
    unit = configparser.ConfigParser(strict=False, interpolation=None)
    unit.read(_UNIT)
    return int(unit["Service"]["RestartPreventExitStatus"])
