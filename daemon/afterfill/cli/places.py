"""Where the configuration is looked for."""

from pathlib import Path

FILE_NAME = "afterfill.toml"
SYSTEM_FILE = Path("/etc/afterfill") / FILE_NAME
