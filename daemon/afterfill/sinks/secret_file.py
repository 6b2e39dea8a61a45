"""Passwords, tokens and addresses, each in a file of its own."""

from pathlib import Path

from afterfill.errors import SinkUnavailable


def secret_in(file: Path, key: str = "", advice: str = "may this user read it?") -> str:
    """The text of the file that `key` names. Raises SinkUnavailable when it cannot be read."""
    try:
        return file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        where = f"{key} {file}".lstrip()
        raise SinkUnavailable(f"{where} cannot be read ({error}); {advice}") from error
