"""The TOML configuration as frozen models; each default has its reason beside it."""

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    field_validator,
    model_validator,
)

from afterfill.config_source import Source
from afterfill.config_table import Celsius, Litres, Ph, no_secret
from afterfill.config_table import Table as _Table
from afterfill.records import Quantity

_T = TypeVar("_T")


def _ordered(pair: tuple[float, float]) -> tuple[float, float]:
    if pair[0] >= pair[1]:
        raise ValueError(f"the low end {pair[0]:g} must lie below the high end {pair[1]:g}")
    return pair


PhRange = Annotated[tuple[Ph, Ph], AfterValidator(_ordered)]
CelsiusRange = Annotated[tuple[Celsius, Celsius], AfterValidator(_ordered)]


_MAIL_ADDRESS = r"^[^@\s<>]+@[^@\s<>]+$"
MailAddress = Annotated[str, Field(pattern=_MAIL_ADDRESS)]
_THIS_MACHINE = ("localhost", "127.0.0.1", "::1")


def _several(value: object) -> object:
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


def _two_times(pair: tuple[int, int]) -> tuple[int, int]:
    if pair[0] == pair[1]:
        raise ValueError("it ends when it begins; give two times of day, or leave it out")
    return pair


TimeOfDay = Annotated[int, BeforeValidator(_minute_of_day), Field(ge=0, lt=1440)]


def _host_alone(host: object) -> object:
    if isinstance(host, str) and any(c in "/@?#" or c.isspace() for c in host):
        raise ValueError("write the host's name or address alone, without scheme, user or path")
    return host


Host = Annotated[str, BeforeValidator(_host_alone), Field(min_length=1)]


class Limits(_Table):
    """Limits that override those of the livestock; absent ones keep its default."""

    residual_oxidant_mg_l: float | None = Field(default=None, gt=0, le=10)
    free_ammonia_mg_l: float | None = Field(default=None, gt=0, le=10)
    ph: PhRange | None = None
    temperature_c: CelsiusRange | None = None


class Tank(_Table):
    """One tank. `litres` is the water it holds when full."""

    litres: Litres
    livestock: Literal["salmonid", "warmwater", "sensitive"] = "sensitive"  # the stricter side
    alkalinity_mg_l_caco3: float = Field(default=80.0, ge=0, le=1000)  # middling; unsourced
    limits: Limits = Limits()
    source: str | None = None  # default: the only source, or none known
    neutraliser: str | None = None  # default: the only neutraliser, or none known
    # How evaporated water is made up for: each time told of, with treated water, or not known.
    top_off: Literal["unknown", "told", "treated"] = "unknown"


class Label(_Table):
    """A strength as a bottle says it: `ml` treats `litres` of water holding `mg_l` chlorine."""

    ml: float = Field(gt=0, le=100_000)
    litres: Litres
    mg_l: float = Field(default=1.0, gt=0, le=100)


class Neutraliser(_Table):
    """What takes the disinfectant away, and how strong it is."""

    agent: Literal["thiosulfate", "sulfite", "metabisulfite", "ascorbate", "other"] = "other"
    mg_cl2_per_ml: float | None = Field(default=None, gt=0, le=10_000)
    label: Label | None = None
    binds_ammonia: bool = False

    @model_validator(mode="after")
    def _one_strength(self) -> "Neutraliser":
        if (self.mg_cl2_per_ml is None) == (self.label is None):
            raise ValueError(
                "give its strength once: mg_cl2_per_ml, or label = { ml, litres, mg_l }"
            )
        return self


class Probe(BaseModel):
    """One probe. Keys that are not named here belong to its driver, which checks them."""

    model_config = ConfigDict(extra="allow", frozen=True, allow_inf_nan=False)

    tank: str
    quantity: Quantity
    driver: str
    port: str
    every_s: float = Field(default=10.0, ge=0.2, le=300)  # slower than this, minutes are lost
    reference: str | None = Field(default=None, max_length=64)  # the ORP probe's, for the record
    offset: float = 0.0  # added to what the probe says, in its unit

    @model_validator(mode="before")
    @classmethod
    def _holds_no_secret(cls, table: object) -> object:
        port = table.get("port") if isinstance(table, dict) else None
        if isinstance(port, str) and "://" in port:  # a driver's other keys are no addresses
            no_secret({"port": port})
        return table

    @property
    def name(self) -> str:
        """What this probe is called in readings, health and messages."""
        return f"{self.tank}-{self.quantity}"

    @property
    def driver_keys(self) -> dict[str, Any]:
        """The keys that belong to the driver."""
        return dict(self.model_extra or {})


def _topic_name(name: str) -> str:
    levels = name.split("/")
    if not all(levels) or name.startswith("$") or any(c in "#+\0" or c.isspace() for c in name):
        raise ValueError(
            f"'{name}' cannot begin a topic; write words with single slashes between them, "
            "without #, +, spaces or a $ in front"
        )
    return name


TopicName = Annotated[str, AfterValidator(_topic_name)]
Commands = Literal["all", "log", "none"]


class Mqtt(_Table):
    """A broker of home automation."""

    _secrets_belong = "the file that password_file names, with the user as username"

    host: Host
    port: int = Field(default=1883, ge=1, le=65535)
    base: TopicName = "afterfill"
    commands: Commands = "all"  # what others on the broker may tell us; "log": alarms not
    discovery_prefix: TopicName | None = "homeassistant"  # the convention's own; "": none
    username: str | None = None
    password_file: Path | None = None
    client_id: str | None = None
    tls: bool = False
    ca_file: Path | None = None
    version: Literal["5", "3.1.1"] = "5"
    keepalive_s: int = Field(default=30, ge=5, le=600)

    @field_validator("discovery_prefix", mode="before")
    @classmethod
    def _none(cls, prefix: object) -> object:
        return None if prefix == "" else prefix


class Influxdb(_Table):
    """A time-series database that takes line protocol at /api/v2/write."""

    _secrets_belong = "the file that token_file names (user:password is a token there too)"

    url: str = Field(pattern=r"^https?://")
    org: str = ""
    bucket: str = "afterfill"
    token_file: Path | None = None
    every_s: float = Field(default=10.0, ge=1, le=3600)
    batch: int = Field(default=300, ge=1, le=5000)


class Smtp(_Table):
    """A mail server, and whom to write to."""

    _secrets_belong = "the file that password_file names, with the user as username"

    host: Host
    port: int | None = Field(default=None, ge=1, le=65535)  # default: what is usual for its TLS
    sender: str = Field(alias="from", pattern=_MAIL_ADDRESS)
    to: Annotated[tuple[MailAddress, ...], BeforeValidator(_several), Field(min_length=1)]
    username: str | None = None
    password_file: Path | None = None
    starttls: bool | None = None  # default: true, unless tls is
    tls: bool = False
    ca_file: Path | None = None  # of an own authority; default: those that the system trusts

    @property
    def encryption(self) -> Literal["tls", "starttls", "none"]:
        """How the connection is kept private."""
        if self.tls:
            return "tls"
        return "none" if self.starttls is False else "starttls"

    @property
    def usual_port(self) -> int:
        """The port as given, or the usual one (RFC 8314, RFC 6409, RFC 5321; from memory)."""
        return self.port or {"tls": 465, "starttls": 587, "none": 25}[self.encryption]

    @model_validator(mode="after")
    def _consistent(self) -> "Smtp":
        if self.tls and self.starttls:
            raise ValueError("tls and starttls exclude each other; set the one that the port wants")
        if (self.username is None) != (self.password_file is None):
            raise ValueError("username and password_file belong together; give both or neither")
        if self.username and self.encryption == "none" and self.host not in _THIS_MACHINE:
            raise ValueError("a password would travel in clear; set starttls = true or tls = true")
        return self


class Notify(_Table):
    """A way to reach a person, and when it is used."""

    url_file: Path | None = None
    smtp: Smtp | None = None
    at_least: Literal["low", "medium", "high"] = "medium"
    verdicts: bool = False  # final verdicts that are no all-clear, also without an alarm
    after_minutes: float = Field(default=0.0, ge=0, le=1440)  # tells whom the first does not reach
    repeat_minutes: float = Field(default=15.0, ge=0, le=1440)  # 0: never; minutes count in a tank
    quiet: Annotated[tuple[TimeOfDay, TimeOfDay], AfterValidator(_two_times)] | None = None
    quiet_up_to: Literal["low", "medium"] = "low"
    per_hour: float = Field(default=12.0, ge=1, le=120)  # a person reads no more; our judgement
    heartbeat_url_file: Path | None = None
    heartbeat_minutes: float = Field(default=5.0, ge=0.1, le=1440)

    @model_validator(mode="after")
    def _one_way(self) -> "Notify":
        if self.url_file is not None and self.smtp is not None:
            raise ValueError("url_file and smtp are two ways; give each a [[notify]] of its own")
        if (self.url_file, self.smtp, self.heartbeat_url_file) == (None, None, None):
            raise ValueError("no way is given; set url_file, smtp or heartbeat_url_file")
        return self


class JournalSettings(_Table):
    """Where the journal lies and how much it may keep."""

    path: Path = Path("afterfill.db")
    keep_days: float = Field(default=400.0, ge=1)  # a year and a month
    max_mb: float = Field(default=2000.0, ge=10)  # a small part of a 16 GB card
    commit_every_s: float = Field(default=60.0, ge=0, le=300)  # spares the card; alarms do not wait


class Config(_Table):
    """The whole file."""

    tank: dict[str, Tank] = Field(min_length=1)
    source: dict[str, Source] = Field(default_factory=dict)
    neutraliser: dict[str, Neutraliser] = Field(default_factory=dict)
    probe: tuple[Probe, ...] = ()
    mqtt: Mqtt | None = None
    influxdb: Influxdb | None = None
    notify: tuple[Notify, ...] = ()
    journal: JournalSettings = JournalSettings()

    @field_validator("tank", "source", "neutraliser")
    @classmethod
    def _plain_names(cls, tables: dict[str, Any]) -> dict[str, Any]:
        for name in tables:
            if not name or not all(c.isalnum() or c in "-_" for c in name):
                raise ValueError(f"'{name}': use letters, digits, - and _ for an ID")
        return tables

    def source_of(self, tank: str, named: str | None = None) -> Source | None:
        """The source a refill of `tank` draws from: as named, the tank's own, or the only one."""
        return _chosen(self.source, named, self.tank[tank].source)

    def neutraliser_of(self, tank: str) -> Neutraliser | None:
        """The neutraliser used on `tank`: its own, or the only one."""
        return _chosen(self.neutraliser, None, self.tank[tank].neutraliser)


def _chosen(tables: Mapping[str, _T], named: str | None, own: str | None) -> _T | None:
    for name in (named, own):
        if name is not None and name in tables:
            return tables[name]
    return next(iter(tables.values())) if len(tables) == 1 else None
