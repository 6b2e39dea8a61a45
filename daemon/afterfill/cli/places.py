"""Where the configuration is looked for, and where its journal lies."""

from pathlib import Path

FILE_NAME = "afterfill.toml"
SYSTEM_FILE = Path("/etc/afterfill") / FILE_NAME


def journal_for(config: Path) -> Path:
    """Where a starter configuration puts the journal: beside itself, but the system's own in the
    folder of the service, which alone it may write."""
    return Path("/var/lib/afterfill" if config.absolute() == SYSTEM_FILE else "", "afterfill.db")
