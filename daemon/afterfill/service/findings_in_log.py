"""What is found, said in the log as well."""

import logging

from afterfill.records import AlarmChange, Output, Verdict

_log = logging.getLogger(__name__)


class FindingsInLog:
    """Remembers how each alarm stood: of one that stands as it did, only its advice is new."""

    def __init__(self) -> None:
        self._said: dict[tuple[str, str], tuple[str, bool, bool]] = {}

    def tell(self, output: Output) -> None:
        """Say a verdict, or an alarm that has changed."""
        if isinstance(output, Verdict):
            final = ", final" if output.final else ""
            said = f"refill is {output.verdict} (probability {output.probability:.3g}){final}"
            _log.info("tank %s: %s", output.tank, said)
        elif isinstance(output, AlarmChange):
            key, now = (output.tank, output.alarm), (output.state, output.active, output.known)
            if self._said.get(key) != now:
                self._said[key] = now
                level = logging.WARNING if output.active else logging.INFO
                said = f"alarm {output.alarm} {output.state}: {output.message}"
                _log.log(level, "tank %s: %s", output.tank, said)
