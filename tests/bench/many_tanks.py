"""A real service of many tanks, one serial line for each, with a broker and a database on this
machine: its configuration, and its process."""

import os
import subprocess
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

PATTERN = r"ORP=(?P<orp>-?[\d.]+);PH=(?P<ph>-?[\d.]+);T=(?P<temperature>-?[\d.]+)"
_SERVICE = """
[mqtt]
host = "127.0.0.1"
port = {broker}
[influxdb]
url = "http://127.0.0.1:{database}"
every_s = {write_every_s:g}
[journal]
path = "j.db"
commit_every_s = {commit_every_s:g}
[source.tap]
disinfectant = "chloramine"
residual_mg_l = 2.0
"""
_PROBE = """
[[probe]]
tank = "{tank}"
quantity = "{quantity}"
driver = "line"
port = "{folder}/{tank}"
every_s = {every_s:g}
request = "R\\r"
terminator = "\\r\\n"
pattern = '{pattern}'
"""


def configuration(
    tanks: Iterable[str],
    lines: Path,
    *,
    broker: int,
    database: int,
    every_s: float,
    write_every_s: float = 10.0,
    commit_every_s: float = 60.0,
) -> str:
    """The text. `lines`: the folder of the serial lines, each of the name of its tank; `broker` and
    `database`: ports; read each `every_s`, to the database each `write_every_s`, committed each
    `commit_every_s` [s], the last two by default as the program."""
    text = _SERVICE.format(
        broker=broker, database=database, write_every_s=write_every_s, commit_every_s=commit_every_s
    )
    for tank in tanks:
        text += f"[tank.{tank}]\nlitres = 100\n"
        for quantity in ("temperature", "ph", "orp"):
            text += _PROBE.format(
                tank=tank, quantity=quantity, folder=lines, every_s=every_s, pattern=PATTERN
            )
    return text


@contextmanager
def service(folder: Path, text: str, manager: str) -> Iterator[subprocess.Popen[bytes]]:
    """`afterfill run` in `folder` with this configuration; ended. `manager`: the socket that it
    tells when it is ready."""
    toml = folder / "afterfill.toml"
    toml.write_text(text)
    command = [sys.executable, "-m", "afterfill.cli.main", "run", "--config", str(toml)]
    log = os.memfd_create("log")  # not on the disk, where it would be counted
    environment = {**os.environ, "NOTIFY_SOCKET": manager}
    process = subprocess.Popen(command, stderr=log, env=environment)
    os.close(log)
    try:
        yield process
    finally:
        process.terminate()
        process.wait(60)
