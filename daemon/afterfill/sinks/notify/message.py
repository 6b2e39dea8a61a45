"""A message to a person, and what delivers it."""

from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from afterfill.shown import shown, without_secrets

_LONGEST_LINE = 2000


@dataclass(frozen=True, slots=True)
class Message:
    """`urgent`: an alarm of high priority stands; `picture`: a PNG to send with it, if there is
    one."""

    subject: str
    text: str
    urgent: bool = False
    picture: Path | None = None

    @classmethod
    def of(
        cls, subject: str, text: str, *, urgent: bool = False, picture: Path | None = None
    ) -> "Message":
        """A message with what it quotes made fit to be shown: its subject is one line, and no line
        of its text is longer than a screen."""
        lines = [shown(without_secrets(line), _LONGEST_LINE) for line in text.split("\n")]
        return cls(shown(without_secrets(subject)), "\n".join(lines), urgent, picture)


class Delivery(Protocol):
    """One recipient. Owned by one thread."""

    @property
    def name(self) -> str:
        """What may be shown of the address: no secret."""

    @property
    def address(self) -> str:
        """The whole address, to tell recipients apart. It may hold secrets: never shown."""

    def examine(self) -> None:
        """Find what is wrong without the network. Raises SinkUnavailable."""

    def send(self, message: Message) -> None:
        """Return when the other side has accepted the message, within the time-out of each step.

        Raises SinkUnavailable with one sentence: what, where, how to mend it.
        """
