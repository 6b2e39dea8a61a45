"""Where the configuration is looked for, and where a new one puts its journal."""

from pathlib import Path

FILE_NAME = "afterfill.toml"
SYSTEM_FILE = Path("/etc/afterfill") / FILE_NAME
JOURNAL_NAME = "afterfill.db"


def journal_for(config: Path) -> str:
    """The journal's path as the new file `config` says it: beside it, but for a system's own in
    etc/afterfill, where nothing is written while a service runs (Filesystem Hierarchy Standard 3.0,
    from memory)."""
    folder = config.absolute().parent
    if folder.parts[-2:] != ("etc", "afterfill"):
        return JOURNAL_NAME
    return str(folder.parents[1] / "var" / "lib" / "afterfill" / JOURNAL_NAME)
