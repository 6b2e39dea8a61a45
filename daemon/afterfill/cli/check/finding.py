"""What one check found: a line for a person, an object for a program."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

from afterfill.cli.console import Line

State = Literal["ok", "fault", "unknown"]
_COLOURS = {"fault": "red", "unknown": "yellow"}


@dataclass(frozen=True, slots=True)
class Finding:
    """`state` is a word, never a colour alone; `text` says what was seen, or how to mend it."""

    subject: str
    state: State
    text: str

    def words(self) -> Iterator[Line]:
        """``ok       port /dev/x: ...``"""
        yield Line(f"{self.state:<8} {self.subject}: {self.text}", _COLOURS.get(self.state))

    def wire(self) -> dict[str, Any]:
        """The finding as a JSON object."""
        return {
            "kind": "check", "subject": self.subject, "state": self.state, "text": self.text
        }  # fmt: skip
