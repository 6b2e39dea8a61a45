"""What a value in the configuration may be: numbers and quantities as people type them, times of
day, addresses."""

from ipaddress import ip_address
from typing import Annotated

from pydantic import AfterValidator, BeforeValidator, Field

from afterfill.chemistry.doses import DoseUnit, dose_from
from afterfill.chemistry.kit_units import alkalinity_from, ammonia_from, chlorine_from
from afterfill.chemistry.typed import number_if_text
from afterfill.chemistry.units import celsius_from, litres_in_file

Number = Annotated[float, BeforeValidator(number_if_text)]
Litres = Annotated[float, BeforeValidator(litres_in_file), Field(gt=0, le=100_000)]


def dose_in(unit: DoseUnit) -> BeforeValidator:
    """An amount of neutraliser, as typed."""
    return BeforeValidator(lambda text: dose_from(text, unit))


Amount = Field(default=None, gt=0, le=100_000)
Celsius = Annotated[float, BeforeValidator(celsius_from), Field(ge=-5, le=60)]
Chlorine = Annotated[float, BeforeValidator(chlorine_from)]  # mg/L as Cl2
MilligramsPerLitre = Annotated[Chlorine, Field(ge=0, le=100)]
Ammonia = Annotated[float, BeforeValidator(ammonia_from)]  # mg/L as N
Alkalinity = Annotated[float, BeforeValidator(alkalinity_from), Field(ge=0, le=1000)]
Ph = Annotated[Number, Field(ge=0, le=14)]


def _ordered(pair: tuple[float, float]) -> tuple[float, float]:
    if pair[0] >= pair[1]:
        raise ValueError(f"the low end {pair[0]:g} must lie below the high end {pair[1]:g}")
    return pair


PhRange = Annotated[tuple[Ph, Ph], AfterValidator(_ordered)]
CelsiusRange = Annotated[tuple[Celsius, Celsius], AfterValidator(_ordered)]


MAIL_ADDRESS = r"^[^@\s<>]+@[^@\s<>]+$"
MailAddress = Annotated[str, Field(pattern=MAIL_ADDRESS)]


def several(value: object) -> object:
    """One is a list of one."""
    return [value] if isinstance(value, str) else value


def _minute_of_day(text: object) -> object:
    """``22:30`` as minutes since midnight; anything else goes on to be refused."""
    if not isinstance(text, str):
        return text
    hours, colon, minutes = text.partition(":")
    if not (colon and hours.isdecimal() and minutes.isdecimal()):
        raise ValueError(f"'{text}' is no time of day; write \"22:00\"")
    if int(hours) > 23 or int(minutes) > 59:
        raise ValueError(f"'{text}' is no time of day; write \"22:00\"")
    return 60 * int(hours) + int(minutes)


def two_times(pair: tuple[int, int]) -> tuple[int, int]:
    """A span of the day. Raises ValueError when it is none."""
    if pair[0] == pair[1]:
        raise ValueError("it ends when it begins; give two times of day, or leave it out")
    return pair


TimeOfDay = Annotated[int, BeforeValidator(_minute_of_day), Field(ge=0, lt=1440)]


def _host_alone(host: object) -> object:
    if isinstance(host, str) and any(c in "/@?#" or c.isspace() for c in host):
        raise ValueError("write the host's name or address alone, without scheme, user or path")
    return host


Host = Annotated[str, BeforeValidator(_host_alone), Field(min_length=1)]


def _address_and_port(text: str) -> str:
    """``ADDR:PORT`` of this machine, an IPv6 address in brackets."""
    address, _, port = text.rpartition(":")
    bare = address[1:-1] if address.startswith("[") and address.endswith("]") else address
    try:
        version: int = 4 if address == "localhost" else ip_address(bare).version
    except ValueError:
        version = 0
    if version != (6 if bare != address else 4) or not port.isdecimal() or int(port) > 65535:
        raise ValueError(
            f"'{text}' is no address to listen on; write this machine's own address and a port, "
            'such as "192.168.1.20:8420", "127.0.0.1:8420" or "[::1]:8420"'
        )
    return text


ListenAddress = Annotated[str, AfterValidator(_address_and_port)]
