"""Lines of text to values and back to reasons; pure.

request   R <CR>
reply     O R P = 4 1 2 . 3 ; P H = 7 . 2 1 ; T = 2 4 . 8 1 <CR> <LF>
          `-------- matched whole by `pattern` ---------' `terminator'
"""

import re
from dataclasses import dataclass, field
from functools import lru_cache

from afterfill.ports import ProbeSpec, Sample, sample_of

from .settings import LineSettings

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?", re.ASCII)


@dataclass(slots=True)
class LineBuffer:
    """Cuts what comes into lines and never holds more than `limit` bytes and an end of one."""

    terminator: bytes
    limit: int
    pending: bytearray = field(default_factory=bytearray)
    overlong: bool = False

    def feed(self, data: bytes) -> list[bytes]:
        """The lines that `data` completes, without terminator; an over-long one is left out."""
        lines: list[bytes] = []
        self.pending += data
        *complete, rest = bytes(self.pending).split(self.terminator)
        for line in complete:
            if len(line) <= self.limit and not self.overlong:
                lines.append(line)
            self.overlong = False
        self._keep(rest)
        return lines

    def _keep(self, rest: bytes) -> None:
        held = self.limit + len(self.terminator)  # the last bytes may begin the terminator
        self.overlong = self.overlong or len(rest) > held
        self.pending = bytearray(rest[-held:])


def without_echo(received: bytes, request: bytes) -> tuple[bytes, bool]:
    """What came after our own request, and whether the line returned it.

    Only a request that ends a line can be told from a reply that begins with the same letters.
    """
    if request.endswith((b"\r", b"\n")) and received.startswith(request):
        return received[len(request) :], True
    return received, False


def is_echo(line: bytes, request: bytes) -> bool:
    """Whether a complete line is nothing but our own request."""
    return bool(request.strip()) and line.strip() == request.strip()


def judge(line: bytes, probe: ProbeSpec, settings: LineSettings) -> Sample | None:
    """What one complete line says of `probe`; None when it has not the form of its reply."""
    text = line.decode("latin-1").strip(" \t\r\n\0")
    if any(_compiled(expression).search(text) for expression in settings.error_replies):
        return Sample(probe.name, None, "error-reply", line)
    number = _number(text, probe, settings)
    digits = None if number is None else number.strip(" \t")
    if digits is None or not _NUMBER.fullmatch(digits):
        return None
    return sample_of(probe, float(digits) * settings.scale, line)


def _number(text: str, probe: ProbeSpec, settings: LineSettings) -> str | None:
    if settings.pattern is None:
        cells = text.split(settings.separator)
        column = settings.column or 1
        return cells[column - 1] if column <= len(cells) else None
    match = _compiled(settings.pattern).fullmatch(text)
    if match is None:
        return None
    found: str | None = match[group_of(settings.pattern, probe.quantity) or 0]
    return found


def group_of(pattern: str, quantity: str) -> str | None:
    """The named group that holds `quantity`: its own name, or `value`; None without either."""
    groups = _compiled(pattern).groupindex
    return next((name for name in (quantity, "value") if name in groups), None)


@lru_cache(maxsize=256)
def _compiled(expression: str) -> re.Pattern[str]:
    return re.compile(expression)
