"""The few ways in which afterfill can fail, told apart by what the shell must do about them.

Each family says what happens next: stop and mend (configuration, wrong use), try again later (a
probe or a server is away), answer "unknown" (a model asked outside its validity). `exit_code` is
what the command line ends with.
"""

from afterfill.shown import shown, without_secrets


class AfterfillError(Exception):
    """Root of all our errors; its text is one sentence: what, where and how to mend it.

    What it quotes may come from anywhere: line ends and control characters are shown, not sent on
    to a terminal, a log or a broker, and passwords in addresses are not told.
    """

    exit_code = 3

    def __init__(self, sentence: str) -> None:
        super().__init__(shown(without_secrets(sentence)))


class ConfigError(AfterfillError):
    """The configuration cannot be used. Never retried."""

    exit_code = 2


class PayloadError(AfterfillError):
    """A record typed, sent or recorded by someone cannot be understood; nothing was stored."""

    exit_code = 2


class RecordingError(AfterfillError):
    """A recording folder cannot be read."""

    exit_code = 2


class UsageError(AfterfillError):
    """A command was used in a way that has no answer."""

    exit_code = 2


class DeviceUnavailable(AfterfillError):
    """A port or probe is away: closed, then tried again with a growing pause."""


class ModelDomainError(AfterfillError, ValueError):
    """A relation was asked outside the range in which its source holds: the answer is unknown."""


class JournalError(AfterfillError):
    """The journal could not be opened, read or written."""


class JournalDamaged(JournalError):
    """What the journal's file holds is no sound database any more: only a restart mends it."""


class SinkUnavailable(AfterfillError):
    """A broker or database is away or refuses: the journal keeps the queue."""
