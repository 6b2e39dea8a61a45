"""What one check found: a line for a person, an object for a program."""

from dataclasses import dataclass
from typing import Any, Literal

State = Literal["ok", "fault", "unknown"]


@dataclass(frozen=True, slots=True)
class Finding:
    """`state` is a word, never a colour alone; `text` says what was seen, or how to mend it."""

    subject: str
    state: State
    text: str

    def line(self) -> str:
        """``ok       port /dev/x: ...``"""
        return f"{self.state:<8} {self.subject}: {self.text}"

    def wire(self) -> dict[str, Any]:
        """The finding as a JSON object."""
        return {
            "kind": "check", "subject": self.subject, "state": self.state, "text": self.text
        }  # fmt: skip
