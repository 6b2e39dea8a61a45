"""The text of a starter configuration, from a few answers."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from pydantic import BaseModel

from afterfill.chemistry.doses import DoseUnit
from afterfill.ports import PLAIN_ADDRESSES
from afterfill.records import UNITS, Quantity

TomlValue = str | int | float | bool


@dataclass(frozen=True, slots=True)
class ProbeAnswers:
    """A probe's port, driver and the keys that its driver must have."""

    port: str
    driver: str
    settings: type[BaseModel]
    keys: Mapping[str, TomlValue] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class TankAnswers:
    """Litres; alkalinity in mg/L as CaCO3, None where not known; `gallon`: in which the person
    measures, if any."""

    name: str
    litres: float
    livestock: str
    top_off: str
    alkalinity_mg_l: float | None
    gallon: str


@dataclass(frozen=True, slots=True)
class SourceAnswers:
    """Chlorine mg/L as Cl2, alkalinity mg/L as CaCO3, degrees C; None where not known."""

    disinfectant: str
    residual_mg_l: float
    residual_max_mg_l: float
    ph: float | None
    alkalinity_mg_l: float | None
    temperature_c: float | None


@dataclass(frozen=True, slots=True)
class NeutraliserAnswers:
    """`label`: how much, and in what it counts, treats `litres` of water with `mg_l` chlorine."""

    agent: str
    label: tuple[float, DoseUnit]
    litres: float
    mg_l: float
    binds_ammonia: bool


@dataclass(frozen=True, slots=True)
class Answers:
    """What a starter file needs to know."""

    tank: TankAnswers
    source: SourceAnswers
    neutraliser: NeutraliserAnswers
    probes: Mapping[Quantity, ProbeAnswers]
    broker: str = ""  # its host, where probes are read there
    journal: Path = Path("afterfill.db")


def starter_text(answers: Answers) -> str:
    """The commented TOML."""
    parts = [_head(answers.tank), _tank(answers.tank), _source(answers.source)]
    parts.append(_neutraliser(answers.neutraliser))
    parts += [_probe(answers.tank.name, q, it) for q, it in answers.probes.items()]
    return "\n".join([*parts, _tail(answers)])


def _head(it: TankAnswers) -> str:
    """What is shown in gallons is written without a comment before it."""
    if not it.gallon:
        return _HEAD
    return _HEAD.replace(_UNITS, f'units = {{ volume = "{it.gallon}" }}  # for what is shown')


def _tail(it: Answers) -> str:
    opened = f"[mqtt]  # the broker\nhost = {_toml(it.broker)}\n"
    tail = _TAIL.replace("afterfill.db", str(it.journal))
    return tail.replace(_BROKER, opened) if it.broker else tail


def _tank(it: TankAnswers) -> str:
    alkalinity = _known("alkalinity_mg_l_caco3", it.alkalinity_mg_l, "80")
    return f"""\
[tank.{it.name}]
litres = {it.litres:.6g}  # the water it holds when full; also "30 US gal", "25 imp gal"
livestock = {_toml(it.livestock)}  # "salmonid", "warmwater" or "sensitive": sets the limits
top_off = {_toml(it.top_off)}  # how what evaporates is made up for: "treated", "told", "unknown"
{alkalinity}  # of the tank's water; as a KH test says it: "4.5 dKH"

# [tank.{it.name}.limits]  # only to override those of the livestock
# residual_oxidant_mg_l = 0.02
# free_ammonia_mg_l = 0.02
# ph = [6.5, 8.5]
# temperature_c = ["74 F", "82 F"]
"""


def _source(it: SourceAnswers) -> str:
    return f"""\
[source.tap]
disinfectant = {_toml(it.disinfectant)}  # "chlorine", "chloramine" or "unknown": ask the utility
residual_mg_l = {it.residual_mg_l:g}  # typical total chlorine at the tap, mg/L as Cl2
residual_max_mg_l = {it.residual_max_mg_l:g}  # the most that it may be
# chlorine_to_nitrogen = 4.5  # chloramine: mass ratio of Cl2 to N
{_known("ph", it.ph, "7.6")}
{_known("alkalinity_mg_l_caco3", it.alkalinity_mg_l, "80")}
{_known("temperature_c", it.temperature_c, "12")}
"""


def _known(key: str, value: float | None, example: str) -> str:
    """A comment where it is not known."""
    return f"# {key} = {example}" if value is None else f"{key} = {value:.4g}"


def _neutraliser(it: NeutraliserAnswers) -> str:
    amount, unit = it.label
    key = _LABEL_KEY[unit]
    label = f"{key} = {amount:g}, litres = {it.litres:.6g}, mg_l = {it.mg_l:g}"
    return f"""\
[neutraliser.bottle]
agent = {_toml(it.agent)}  # "thiosulfate", "sulfite", "metabisulfite", "ascorbate" or "other"
label = {{ {label} }}  # so much of it treats litres of water that holds mg_l chlorine
binds_ammonia = {_toml(it.binds_ammonia)}  # true only when its label says so
"""


def _probe(tank: str, quantity: Quantity, it: ProbeAnswers) -> str:
    lines = [
        f"[[probe]]  # {quantity}, in {UNITS[quantity]}",
        f"tank = {_toml(tank)}",
        f"quantity = {_toml(quantity)}",
        f"driver = {_toml(it.driver)}",
        f"port = {_toml(it.port)}",
        *(f"{key} = {_toml(value)}" for key, value in it.keys.items()),
        "# every_s = 10  # seconds between readings",
        "# offset = 0.0  # added to what the probe says",
        *_further_keys(it),
    ]
    return "\n".join(lines) + "\n"


def _further_keys(it: ProbeAnswers) -> list[str]:
    """The driver's other keys with their defaults, as comments."""
    lines = []
    for name, info in it.settings.model_fields.items():
        key = info.alias or name
        if key in it.keys or info.is_required() or _means_nothing(info.json_schema_extra, it.port):
            continue
        shown = "(none)" if info.default is None else _toml_any(info.default)
        lines.append(f"# {key} = {shown}")
    return lines


def _means_nothing(marks: object, port: str) -> bool:
    """Whether a key sets a serial line where the other side sets it by itself."""
    return isinstance(marks, dict) and "sets_line" in marks and port.startswith(PLAIN_ADDRESSES)


def required_keys(settings: type[BaseModel]) -> list[str]:
    """The keys that a driver cannot do without, as they are written."""
    fields = settings.model_fields.items()
    return [info.alias or name for name, info in fields if info.is_required()]


def _toml(value: TomlValue) -> str:
    return json.dumps(value, ensure_ascii=False)  # TOML's basic strings are JSON's


def _toml_any(value: object) -> str:
    if isinstance(value, Sequence) and not isinstance(value, str):
        return f"[{', '.join(_toml_any(item) for item in value)}]"
    return json.dumps(value, ensure_ascii=False, default=str)


_HEAD = """\
# Configuration of afterfill. Chlorine is mg/L as Cl2, ammonia mg/L as N, volumes litres.
# `afterfill check` proves that it works.
# units = { volume = "US gal", temperature = "F", hardness = "dKH" }  # for what is shown
"""
_UNITS = _HEAD.splitlines()[-1]
_LABEL_KEY: dict[DoseUnit, str] = {"mL": "ml", "g": "grams", "drop": "drops", "tablet": "tablets"}

_BROKER = """\
# [mqtt]  # a broker of home automation
# host = "broker.example"
"""
_TAIL = f"""\
{_BROKER}\
# username = "afterfill"
# password_file = "mqtt-password"

# [influxdb]  # a time-series database
# url = "http://localhost:8086"
# bucket = "afterfill"
# token_file = "influxdb-token"

# [[notify]]  # a way to reach a person: addresses of push services, a line each
# url_file = "notify-url"
# at_least = "medium"  # priority of alarm: "low", "medium" or "high"
# verdicts = false  # also final verdicts that are no all-clear
# after_minutes = 0  # 30: only when nobody has acknowledged for so long
# repeat_minutes = 15  # high alarms, until acknowledged; 0: never
# quiet = ["22:00", "07:00"]  # low alarms wait for the morning
# quiet_up_to = "low"  # or "medium"
# per_hour = 12  # messages at most; what is too much is joined
# heartbeat_url_file = "heartbeat-url"  # asked every heartbeat_minutes while all goes on
# heartbeat_minutes = 5

# [[notify]]  # another way: mail
# [notify.smtp]
# host = "mail.example.org"
# port = 587
# from = "afterfill@example.org"
# to = ["keeper@example.org"]
# username = "keeper"
# password_file = "mail-password"

# [page]  # for a phone on the local network, served by `afterfill page`
# listen = "192.168.1.20:8420"  # this machine's own address
# password_file = "page-password"
# url = "http://192.168.1.20:8420"  # links in messages lead there

[journal]
path = "afterfill.db"  # relative paths start in this file's folder
keep_days = 400
max_mb = 2000
"""
