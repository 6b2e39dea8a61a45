"""The manual page is what troff can set, and names every command with its options."""

import re
import subprocess

from cli_room import afterfill
from every_command import COMMANDS


def test_troff_sets_it_without_a_warning_and_it_names_everything() -> None:
    """groff's own warnings (-ww), the macros of man(7)."""
    page = afterfill("man").stdout
    done = subprocess.run(
        ["groff", "-man", "-ww", "-Tascii", "-P-c", "-rLL=200n"],
        input=page, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stderr == ""
    plain = _struck_once(done.stdout)
    for name, command in COMMANDS.items():
        assert f"afterfill {name}" in plain
        for option in command.params:
            if option.param_type_name == "option":
                assert option.opts[0] in plain
    assert "ask a vet" in plain


def _struck_once(text: str) -> str:
    """Without the second stroke of bold and underlined letters."""
    return " ".join(re.sub(r".\x08", "", text).split())
