"""Which files with secrets others on the machine may read."""

import stat
from collections.abc import Iterator
from pathlib import Path

from afterfill.cli.check.finding import Finding
from afterfill.config import Config

_CREDENTIALS = Path("/run/credentials")  # systemd keeps these for the service alone


def secret_findings(config: Config) -> Iterator[Finding]:
    """A fault for each secret file that is open to others; one that is missing is told by what
    needs it."""
    files = list(dict.fromkeys(_secret_files(config)))
    open_files = [file for file in files if _others_may_read(file)]
    for file in open_files:
        yield Finding(
            "secrets", "fault", f"others on this machine may read {file}: chmod 600 {file}"
        )
    if files and not open_files:
        yield Finding("secrets", "ok", f"{len(files)} secret files, closed to others")


def _secret_files(config: Config) -> Iterator[Path]:
    ways = [*config.notify, *(way.smtp for way in config.notify)]
    tables = [config.mqtt, config.influxdb, config.page, *ways]
    for table in tables:
        for key in ("password_file", "token_file", "url_file", "heartbeat_url_file"):
            file = getattr(table, key, None)
            if file is not None:
                yield file


def _others_may_read(file: Path) -> bool:
    if file.is_relative_to(_CREDENTIALS):
        return False
    try:
        found = file.stat()
    except OSError:
        return False
    # root's file with a group of its own (root:afterfill, 640) is how a service is let in
    by_group = found.st_uid == 0 and found.st_gid != 0
    closed_to = stat.S_IRWXO if by_group else stat.S_IRWXO | stat.S_IRWXG
    return bool(found.st_mode & closed_to)
