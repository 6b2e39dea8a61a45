"""The log's form: one line an event, whatever is said in it, and no password."""

import logging

from afterfill.shown import shown, without_secrets

_INDENT = "    "
_MOST = 2000  # characters of a line: what others say may be long


class LogLines(logging.Formatter):
    """``WARNING afterfill.x: message``; a traceback follows in lines that begin with spaces, so
    that nothing that is said can look like a line of ours."""

    def format(self, record: logging.LogRecord) -> str:
        """As `logging.Formatter.format`."""
        lines = [f"{record.levelname} {record.name}: {_safe(record.getMessage())}"]
        if record.exc_info:
            told = self.formatException(record.exc_info).split("\n")
            lines += [_INDENT + _safe(line) for line in told]
        return "\n".join(lines)


def _safe(text: str) -> str:
    return shown(without_secrets(text), _MOST)
