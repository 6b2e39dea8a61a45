"""What another device published to a value, or the reason why there is none; pure.

plain text   7.21
JSON         {"value": {"ph": 7.21, "orp": null}, "sensors": [{"t": "24.8"}]}
paths        value.ph     value.orp     sensors.0.t
"""

import json
import re

from afterfill.ports import ProbeSpec, Sample, sample_of
from afterfill.records import Quantity

from .settings import MqttSettings, Path, Unit

LONGEST = 16_384  # bytes; a device says a measurement in far fewer
RAW = 256  # so many bytes of a strange message are kept
_NUMBER = re.compile(r"[+-]?(\d{1,40}\.?\d{0,40}|\.\d{1,40})([eE][+-]?\d{1,3})?", re.ASCII)
_FROM: dict[Unit, tuple[Quantity, float, float]] = {  # quantity, times, and plus
    "C": ("temperature", 1.0, 0.0),
    "F": ("temperature", 5.0 / 9.0, -160.0 / 9.0),
    "mV": ("orp", 1.0, 0.0),
    "V": ("orp", 1000.0, 0.0),
}


def fits(unit: Unit, quantity: Quantity) -> bool:
    """Whether such a quantity is measured in that unit."""
    return _FROM[unit][0] == quantity


def judge(payload: bytes, probe: ProbeSpec, settings: MqttSettings) -> Sample:
    """What one message says of `probe`. JSON null means that the device has no measurement."""
    raw = payload[:RAW]
    try:
        said = found(payload, settings.path)
    except (ValueError, RecursionError):
        return Sample(probe.name, None, "garbled", raw)
    if said is None:
        return Sample(probe.name, None, "error-reply", raw)
    number = _number(said)
    if number is None:
        return Sample(probe.name, None, "garbled", raw)
    _, times, plus = _FROM[settings.unit] if settings.unit else ("", 1.0, 0.0)
    return sample_of(probe, number * times + plus, raw)


def found(payload: bytes, path: Path | None) -> object:
    """What stands at `path`; without one, the whole text. Raises ValueError when nothing does, or
    when it is no JSON, RecursionError when that is too deep."""
    if len(payload) > LONGEST:
        raise ValueError("too long")
    text = payload.decode("utf-8")
    if path is None:
        return text.strip()
    place: object = json.loads(text, parse_constant=_no_number)
    for step in path.split(".") if isinstance(path, str) else path:
        place = _below(place, step)
    return place


def _below(place: object, step: str | int) -> object:
    if isinstance(place, dict) and str(step) in place:
        return place[str(step)]
    if isinstance(place, list) and str(step).isdecimal() and int(step) < len(place):
        return place[int(step)]
    raise ValueError("nothing stands there")


def _no_number(name: str) -> object:
    raise ValueError(name)  # NaN and Infinity are no JSON, though Python reads them


def _number(said: object) -> float | None:
    """A number, or a text that is one."""
    if isinstance(said, str) and _NUMBER.fullmatch(said.strip()):
        return float(said)
    if isinstance(said, (int, float)) and not isinstance(said, bool) and abs(said) < 1e9:
        return float(said)
    return None
