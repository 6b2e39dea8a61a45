"""Where the documents' commands are run: a scratch folder, and a scratch root for what is the
machine's.

A command that a document runs with sudo is run here without. Paths below /etc, /opt and /var/lib
lead into the scratch root, and programs that would change the machine (users, packages, running
units) are those of `documents/stand_ins`, each of which says what it does instead.
"""

import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Self

from document_blocks import ROOT, Block

_STAND_INS = Path(__file__).parent / "documents" / "stand_ins"
_OF_A_CLONE = ("systemd", "grafana_provisioning", "pyproject.toml")
_OF_THE_MACHINE = re.compile(r"(?<![\w.-])/(?=(?:etc|opt|var/lib)/)")


class Room:
    """A clone of the repository to stand in (`here`), and a machine (`root`)."""

    def __init__(self, folder: Path) -> None:
        self.here, self.root = folder / "clone", folder / "root"
        self.configuration: Path | None = None  # the one that the program finds by itself
        for made in (self.here, self.root / "etc/systemd/system", self.root / "var/lib/afterfill",
                     self.root / "run"):  # fmt: skip
            made.mkdir(parents=True)
        for name in _OF_A_CLONE:
            (self.here / name).symlink_to(ROOT / name)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        for unit in sorted((self.root / "run").glob("*.pid")):  # what a story left running
            self.sh(f"systemctl stop {unit.stem}")

    def run(self, block: Block, *, stdin: str = "", ends_with: int = 0) -> str:
        """What the block prints, run line by line as it stands; it must end as it should."""
        done = self.sh(self.within(block.text), stdin=stdin)
        assert done.returncode == ends_with, f"{block}\n{done.stdout}\n{done.stderr}"
        return done.stdout

    def within(self, text: str) -> str:
        """A document's text with the machine's paths led into the scratch root."""
        return _OF_THE_MACHINE.sub(f"{self.root}/", text)

    def sh(self, text: str, *, stdin: str = "") -> subprocess.CompletedProcess[str]:
        """The shell's commands in the clone; the first that fails ends them."""
        own = [str(_STAND_INS), str(Path(sys.executable).parent), os.environ["PATH"]]
        environment = {**os.environ, "PATH": ":".join(own), "ROOT": str(self.root), "USER": "you"}
        environment.pop("AFTERFILL_CONFIG", None)
        if self.configuration is not None:
            environment["AFTERFILL_CONFIG"] = str(self.configuration)
        return subprocess.run(
            ["bash", "-euo", "pipefail", "-c", text], cwd=self.here, env=environment, input=stdin,
            capture_output=True, text=True, timeout=60, check=False,
        )  # fmt: skip
