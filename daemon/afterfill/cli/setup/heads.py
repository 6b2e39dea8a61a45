"""A probe head that speaks in lines is listened to, or asked, and what it said becomes the keys of
its driver."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import typer
from pydantic import BaseModel, ValidationError

from afterfill.chemistry.typed import number_from
from afterfill.cli.setup.asking import NONE, Asking
from afterfill.cli.setup.reply import likely, numbers_in, pattern_of
from afterfill.cli.setup.starter_file import TomlValue
from afterfill.errors import AfterfillError, UsageError
from afterfill.ports import PLAIN_ADDRESSES, ProbeSpec, Sample
from afterfill.records import UNITS, Quantity
from afterfill.service.driver_registry import driver_named
from afterfill.shown import shown

_LISTENS_S, _WAITS_S = 3.0, 2.0
_ENDS = ("\r", "\r\n", "\n")
CALLED: Mapping[Quantity, str] = {"orp": "ORP", "ph": "pH", "temperature": "temperature"}
Keys = dict[str, TomlValue]


@dataclass(frozen=True, slots=True)
class Head:
    """What was learnt of the head on a port: its driver's keys, and which quantities it gives."""

    keys: Keys
    quantities: tuple[Quantity, ...]


def speaks_in_lines(settings: type[BaseModel]) -> bool:
    """Whether a driver has the keys with which a line of text is asked for and read."""
    return {"request", "pattern", "terminator", "timeout_s"} <= set(settings.model_fields)


def sample_from(
    port: str, driver: str, keys: Mapping[str, TomlValue], quantity: Quantity
) -> Sample:
    """One answer of a probe that is not configured yet. Raises DeviceUnavailable, and UsageError
    for keys that the driver cannot use."""
    made = driver_named(driver)
    try:
        spec = ProbeSpec("this probe", quantity, made.settings.model_validate(dict(keys)))
    except ValidationError as error:
        first = error.errors()[0]
        raise UsageError(f"{'.'.join(map(str, first['loc']))}: {first['msg']}") from error
    opened = made.port(port, [spec])
    try:
        opened.open()
        return opened.read([spec.name])[0]
    finally:
        opened.close()


def met(asking: Asking, port: str, driver: str, given: Mapping[str, TomlValue]) -> Head | None:
    """The head on `port`, after a talk with it; None where it stays strange. `given`: keys that an
    option has set already. Raises DeviceUnavailable when the port cannot be had."""
    speed: Keys = {**given}
    if "baud" not in given and not port.startswith(PLAIN_ADDRESSES):
        speed["baud"] = int(
            asking.number(f"{port} baud", "  Speed of its line, baud", "9600", number_from)
        )
    typer.echo(f"  listening for {_LISTENS_S:g} s ...", err=True)
    said = _line(port, driver, {**speed, "timeout_s": _LISTENS_S})
    while said is None:
        request = asking.text(
            f"{port} request",
            "  It says nothing by itself. What does its manual ask it with? - to leave it", "R",
        )  # fmt: skip
        if request == NONE:
            return None
        said = _asked(port, driver, speed, request)
        if said is None:
            typer.echo(f"  no answer with a number to '{request}'", err=True)
    keys, line = said
    return _understood(asking, port, keys, line)


def _asked(port: str, driver: str, speed: Keys, request: str) -> tuple[Keys, str] | None:
    """With each end of line that heads want, unless the person typed one."""
    typed = request.replace("\\r", "\r").replace("\\n", "\n")
    _line(port, driver, {**speed, "request": "\r\n", "timeout_s": 0.3})  # ends what it half heard
    ends = ("",) if typed.endswith(("\r", "\n")) else _ENDS
    for end in ends:
        said = _line(port, driver, {**speed, "request": typed + end, "timeout_s": _WAITS_S})
        if said is not None:
            return said
    return None


def _line(port: str, driver: str, keys: Keys) -> tuple[Keys, str] | None:
    """A whole line with a number in it, and the keys with which it came, the line's end found out;
    None where there was none."""
    for end in (None, "\r", "\n"):
        tried = keys if end is None else {**keys, "terminator": end}
        sample = sample_from(port, driver, tried, "orp")
        line = sample.raw.decode("latin-1").strip(" \t\r\n\0")
        whole = sample.invalid not in ("incomplete", "no-answer", "echo")
        if whole and numbers_in(line) and "\r" not in line and "\n" not in line:
            return {key: value for key, value in tried.items() if key != "timeout_s"}, line
        if not any(byte in sample.raw for byte in b"\r\n"):
            return None
    return None


def _understood(asking: Asking, port: str, keys: Keys, line: str) -> Head:
    numbers = numbers_in(line)
    typer.echo(f'  it says "{shown(line, 120)}"', err=True)
    listed = ", ".join(f"{place}: {number[0]}" for place, number in enumerate(numbers, 1))
    places: dict[Quantity, int] = {}
    for quantity in CALLED:
        question = f"  Which of its numbers is the {CALLED[quantity]} ({listed}; 0: none)"
        guess = likely(line, numbers, quantity)
        place = int(
            asking.number(f"{port} {quantity}", question, str(guess), _place_among(len(numbers)))
        )
        if place:
            places[quantity] = place
    return Head({**keys, "pattern": pattern_of(line, numbers, places)}, tuple(places))


def _place_among(count: int) -> Callable[[str], float]:
    def proved(text: str) -> float:
        if not text.isdecimal() or int(text) > count:
            raise UsageError(f"'{text}' is none of them: give 0 to {count}")
        return float(text)

    return proved


def proof(port: str, driver: str, keys: Mapping[str, TomlValue], quantity: Quantity) -> str | None:
    """What the probe shows now, in words; None, with the reason on the terminal, where that is no
    value."""
    try:
        sample = sample_from(port, driver, keys, quantity)
    except AfterfillError as error:
        typer.echo(f"  {error}", err=True)
        return None
    if sample.value is None:
        typer.echo(f"  no usable answer: {sample.invalid}{_raw(sample)}", err=True)
        return None
    return f"pH {sample.value:g}" if quantity == "ph" else f"{sample.value:g} {UNITS[quantity]}"


def _raw(sample: Sample) -> str:
    text = sample.raw.decode("latin-1").strip()
    return f' ("{shown(text, 80)}")' if text.isprintable() and text else ""
