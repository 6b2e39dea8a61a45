"""Owns the port of probes that speak in lines: asks and waits, or listens to a stream."""

import time
from collections.abc import Sequence

from afterfill.ports import ProbeSpec, Sample
from afterfill.records import InvalidReason
from afterfill_drivers.byte_port import BytePort, byte_port

from .frames import LineBuffer, is_echo, judge, without_echo
from .settings import LineSettings

_OLD_LINES_S = 0.3  # a bridge hands on at once what it kept: our judgement


def settings_of(probe: ProbeSpec) -> LineSettings:
    """The probe's settings as the model they were validated by."""
    assert isinstance(probe.settings, LineSettings)
    return probe.settings


def _port(device: str, settings: LineSettings) -> BytePort:
    return byte_port(device, baud=settings.baud, parity=settings.parity, stopbits=settings.stopbits)


def _buffer(probes: Sequence[ProbeSpec]) -> LineBuffer:
    limit = max(settings_of(probe).max_line_bytes for probe in probes)
    return LineBuffer(settings_of(probes[0]).terminator.encode("latin-1"), limit)


class _Exchange:
    """One question and what has come back so far; `found` fills as lines are understood."""

    def __init__(self, request: bytes, probes: Sequence[ProbeSpec]) -> None:
        self.request = request
        self.probes = probes
        self.found: dict[str, Sample] = {}
        self.buffer = _buffer(probes)
        self._head = b""
        self._begun = False
        self._echoed = False
        self._strange = b""

    @property
    def done(self) -> bool:
        return len(self.found) == len(self.probes)

    def take(self, data: bytes) -> None:
        """Look at the bytes that came."""
        if self._begun:
            self._feed(data)
            return
        self._head += data
        if len(self._head) < len(self.request) and self.request.startswith(self._head):
            return  # may be the beginning of our own request
        self._begun = True
        rest, self._echoed = without_echo(self._head, self.request)
        self._head = b""
        self._feed(rest)

    def _feed(self, data: bytes) -> None:
        for line in self.buffer.feed(data):
            self._line(line)

    def _line(self, line: bytes) -> None:
        if is_echo(line, self.request):
            self._echoed = True
        elif line.strip():
            self._judge(line)

    def _judge(self, line: bytes) -> None:
        understood = False
        for probe in self.probes:
            sample = judge(line, probe, settings_of(probe))
            if sample is not None:
                self.found.setdefault(probe.name, sample)
                understood = True
        if not understood:
            self._strange = line  # perhaps an answer to another program: ours may still come

    def sample(self, probe: ProbeSpec) -> Sample:
        """What is known of `probe` when the time is up."""
        return self.found.get(probe.name) or Sample(probe.name, None, *self._why_not())

    def _why_not(self) -> tuple[InvalidReason, bytes]:
        rest = self._head + bytes(self.buffer.pending)
        if self.buffer.overlong or self._strange:
            return "garbled", self._strange or rest
        if rest.strip():
            return "incomplete", rest
        if self.found:
            return "garbled", next(iter(self.found.values())).raw
        return ("echo", self.request) if self._echoed else ("no-answer", b"")


class LinePort:
    """Asks each distinct request among the due probes once: made -> open -> read -> close."""

    def __init__(self, device: str, probes: Sequence[ProbeSpec]) -> None:
        self._probes = {probe.name: probe for probe in probes}
        self._port = _port(device, settings_of(probes[0]))
        self._patience_s = max(_patience_s(probe) for probe in probes)
        self._owed_s = 0.0  # an answer may still come to a question that timed out

    def open(self) -> None:
        """Connect; see BytePort."""
        self._port.open()
        self._owed_s = self._patience_s if self._port.remembers else 0.0

    def close(self) -> None:
        """Let go of the port."""
        self._port.close()

    def read(self, due: Sequence[str]) -> list[Sample]:
        """One sample for each probe in `due`; probes with the same request share one reply."""
        asked: dict[bytes, list[ProbeSpec]] = {}
        for name in due:
            probe = self._probes[name]
            asked.setdefault(settings_of(probe).request_bytes, []).append(probe)
        samples: dict[str, Sample] = {}
        for request, probes in asked.items():
            exchange = self._ask(request, probes)
            samples.update({probe.name: exchange.sample(probe) for probe in probes})
        return [samples[name] for name in due]

    def _ask(self, request: bytes, probes: Sequence[ProbeSpec]) -> _Exchange:
        patience_s = max(_patience_s(probe) for probe in probes)
        self._port.discard(self._owed_s)
        exchange = _Exchange(request, probes)
        self._port.send(request)
        end_s = time.monotonic() + patience_s
        while not exchange.done and (data := self._port.receive(end_s)):
            exchange.take(data)
            if time.monotonic() > end_s:
                break  # a line that never falls silent may not hold us
        self._owed_s = 0.0 if exchange.done else patience_s
        return exchange


def _patience_s(probe: ProbeSpec) -> float:
    return settings_of(probe).settle_s + settings_of(probe).timeout_s


class StreamPort:
    """Listens to probes that speak on their own; no line is ever given twice."""

    def __init__(self, device: str, probes: Sequence[ProbeSpec]) -> None:
        self._probes = {probe.name: probe for probe in probes}
        self._port = _port(device, settings_of(probes[0]))
        self._start_afresh()

    def _start_afresh(self) -> None:
        self._buffer = _buffer(list(self._probes.values()))
        self._newest: dict[str, Sample] = {}
        self._strange = b""
        self._mid_line = True  # we cannot know how much of the first line we missed

    def open(self) -> None:
        """Connect; the line under way is not used, its beginning is lost."""
        self._port.open()
        if self._port.remembers:
            self._port.discard(_OLD_LINES_S)
        self._start_afresh()

    def close(self) -> None:
        """Let go of the port."""
        self._port.close()

    def read(self, due: Sequence[str]) -> list[Sample]:
        """The newest line of each due probe since its last one; waits for one up to timeout_s."""
        self._drain()
        end_s = time.monotonic() + max(_patience_s(self._probes[name]) for name in due)
        while not all(name in self._newest for name in due):
            data = self._port.receive(end_s)
            self._take(data)
            if not data or time.monotonic() > end_s:
                break
        samples = [
            self._newest.pop(name) if name in self._newest else self._nothing(name) for name in due
        ]
        self._strange = b""
        return samples

    def _drain(self) -> None:
        waiting = bytearray()
        while data := self._port.receive(0.0):
            waiting += data
            if len(waiting) >= self._port.holds:
                # the buffer was full: the newest was thrown away, or is still to come
                self._port.discard()
                self._start_afresh()
                return
        self._take(bytes(waiting))

    def _take(self, data: bytes) -> None:
        for line in self._buffer.feed(data):
            if self._mid_line:
                self._mid_line = False
            elif line.strip():
                self._judge(line)

    def _judge(self, line: bytes) -> None:
        judged = [judge(line, probe, settings_of(probe)) for probe in self._probes.values()]
        understood = [sample for sample in judged if sample is not None]
        self._newest.update({sample.probe: sample for sample in understood})
        if not understood:
            self._strange = line

    def _nothing(self, name: str) -> Sample:
        if self._strange or self._buffer.overlong:
            return Sample(name, None, "garbled", self._strange or bytes(self._buffer.pending))
        rest = bytes(self._buffer.pending)
        return Sample(name, None, "incomplete" if rest.strip() else "no-answer", rest)
