"""A probe head that answers in lines of text: ORP, pH and temperature in one reply; pure."""

from collections.abc import Callable, Mapping

from afterfill.records import Quantity

REQUEST = b"R\r"
UNKNOWN = b"?\r\n"  # its answer to anything else
LONGEST_REQUEST = 64
# What a [[probe]] table says about this device
PATTERN = r"ORP=(?P<orp>-?[\d.]+);PH=(?P<ph>-?[\d.]+);T=(?P<temperature>-?[\d.]+)"


class LineDevice:
    """Answers `R<CR>` with `ORP=412.3;PH=7.21;T=24.81<CR><LF>` of what `measure` gives then."""

    def __init__(self, measure: Callable[[], Mapping[Quantity, float]]) -> None:
        self._measure = measure
        self._pending = b""

    def answer(self, received: bytes) -> bytes:
        """The replies to all requests that `received` completes."""
        *requests, rest = (self._pending + received).split(b"\r")
        self._pending = rest[-LONGEST_REQUEST:]
        return b"".join(self._answer(request.strip()) for request in requests)

    def _answer(self, request: bytes) -> bytes:
        return self.line() if request == REQUEST.strip() else UNKNOWN

    def line(self) -> bytes:
        """One reply, as asked for or as a stream would send it."""
        now = self._measure()
        text = f"ORP={now['orp']:.1f};PH={now['ph']:.2f};T={now['temperature']:.2f}\r\n"
        return text.encode("ascii")
