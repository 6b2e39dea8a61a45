"""The TOML configuration as frozen models; each default has its reason beside it."""

from collections.abc import Mapping
from datetime import date
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

from afterfill.chemistry.doses import DoseUnit, mg_cl2_per_g
from afterfill.chemistry.neutraliser import mg_cl2_per_ml_from_label
from afterfill.config_fields import (
    MAIL_ADDRESS,
    Alkalinity,
    Ammonia,
    Amount,
    CelsiusRange,
    Chlorine,
    Host,
    ListenAddress,
    Litres,
    MailAddress,
    Number,
    PhRange,
    TimeOfDay,
    dose_in,
    several,
    two_times,
)
from afterfill.config_source import Source
from afterfill.config_table import Table as _Table
from afterfill.config_table import no_secret
from afterfill.records import Quantity

_T = TypeVar("_T")
_THIS_MACHINE = ("localhost", "127.0.0.1", "::1")


class Limits(_Table):
    """Limits that override those of the livestock; absent ones keep its default."""

    residual_oxidant_mg_l: Chlorine | None = Field(default=None, gt=0, le=10)
    free_ammonia_mg_l: Ammonia | None = Field(default=None, gt=0, le=10)
    ph: PhRange | None = None
    temperature_c: CelsiusRange | None = None


class Tank(_Table):
    """One tank. `litres` is the water it holds when full."""

    litres: Litres
    livestock: Literal["salmonid", "warmwater", "sensitive"] = "sensitive"  # the stricter side
    alkalinity_mg_l_caco3: Alkalinity = 80.0  # middling; unsourced
    limits: Limits = Limits()
    source: str | None = None  # default: the only source, or none known
    neutraliser: str | None = None  # default: the only neutraliser, or none known
    # How evaporated water is made up for: each time told of, with treated water, or not known.
    top_off: Literal["unknown", "told", "treated"] = "unknown"


class Label(_Table):
    """A strength as a label says it: `ml`, or `grams`, `drops` or `tablets`, treat `litres` of
    water holding `mg_l` chlorine."""

    ml: Annotated[float | None, dose_in("mL")] = Amount
    grams: Annotated[float | None, dose_in("g")] = Amount
    drops: Annotated[float | None, dose_in("drop")] = Amount
    tablets: Annotated[float | None, dose_in("tablet")] = Amount
    litres: Litres
    mg_l: Chlorine = Field(default=1.0, gt=0, le=100)

    @property
    def amounts(self) -> dict[DoseUnit, float]:
        """What is given, by its unit: one, once it is checked."""
        given: dict[DoseUnit, float | None] = {
            "mL": self.ml, "g": self.grams, "drop": self.drops, "tablet": self.tablets
        }  # fmt: skip
        return {unit: it for unit, it in given.items() if it is not None}

    @property
    def unit(self) -> DoseUnit:
        """In what the label counts."""
        return next(iter(self.amounts))

    @property
    def amount(self) -> float:
        """So many of its unit."""
        return self.amounts[self.unit]

    @model_validator(mode="after")
    def _one_amount(self) -> "Label":
        if len(self.amounts) != 1:
            raise ValueError("give one of ml, grams, drops and tablets, as the label counts")
        return self


class Neutraliser(_Table):
    """What takes the disinfectant away, and how strong it is."""

    agent: Literal["thiosulfate", "sulfite", "metabisulfite", "ascorbate", "other"] = "other"
    form: Literal["solution", "powder"] | None = None  # default: as its label counts
    anhydrous: bool = False  # a powder's: of thiosulfate, the pentahydrate is weaker and usual
    mg_cl2_per_ml: Number | None = Field(default=None, gt=0, le=10_000)
    label: Label | None = None
    binds_ammonia: bool = False
    bottle_ml: float | None = Field(default=None, gt=0, le=100_000)  # what a full one holds
    opened: date | None = None  # of the bottle in use; what is logged later counts
    keeps_months: float | None = Field(default=None, gt=0, le=120)  # once opened, by its label

    @property
    def unit(self) -> DoseUnit:
        """What it is measured in: wherever an amount is called mL, it counts these."""
        return self.label.unit if self.label else "g" if self.form == "powder" else "mL"

    @property
    def strength(self) -> float | None:
        """What it removes [mg Cl2 per mL, or per `unit`], as given, as the label says it, or of the
        pure powder."""
        if self.label is not None:
            return mg_cl2_per_ml_from_label(self.label.amount, self.label.litres, self.label.mg_l)
        if self.form == "powder":
            return mg_cl2_per_g(self.agent, anhydrous=self.anhydrous)
        return self.mg_cl2_per_ml

    @model_validator(mode="after")
    def _one_strength(self) -> "Neutraliser":
        pure = self.form == "powder" and self.agent != "other"
        strengths = [it for it in (self.mg_cl2_per_ml, self.label) if it is not None]
        if len(strengths) > 1 or not (strengths or pure):
            raise ValueError(
                "give its strength once: mg_cl2_per_ml, or label = { ml, litres, mg_l } (grams, "
                'drops or tablets in place of ml), or for a pure agent form = "powder"'
            )
        return self

    @model_validator(mode="after")
    def _of_one_form(self) -> "Neutraliser":
        if self.form == "powder" and (self.mg_cl2_per_ml is not None or self.unit != "g"):
            raise ValueError("a powder is measured in grams: give label = { grams, litres, mg_l }")
        if self.form == "solution" and self.unit in ("g", "tablet"):
            raise ValueError("a solution's label counts ml or drops, not grams or tablets")
        if self.anhydrous and (self.form != "powder" or self.label is not None):
            raise ValueError('anhydrous belongs to form = "powder" without a label')
        if self.anhydrous:
            mg_cl2_per_g(self.agent, anhydrous=True)  # refuses what has no crystal water
        return self


class Probe(BaseModel):
    """One probe. Keys that are not named here belong to its driver, which checks them."""

    model_config = ConfigDict(extra="allow", frozen=True, allow_inf_nan=False)

    tank: str
    quantity: Quantity
    driver: str
    port: str
    every_s: Number = Field(default=10.0, ge=0.2, le=300)  # slower than this, minutes are lost
    reference: str | None = Field(default=None, max_length=64)  # the ORP probe's, for the record
    offset: Number = 0.0  # added to what the probe says, in its unit

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
    bridge_topic: TopicName | None = None  # where the broker's bridge to the hub's says 1 or 0
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
    every_s: Number = Field(default=10.0, ge=1, le=3600)
    batch: int = Field(default=300, ge=1, le=5000)


class Smtp(_Table):
    """A mail server, and whom to write to."""

    _secrets_belong = "the file that password_file names, with the user as username"

    host: Host
    port: int | None = Field(default=None, ge=1, le=65535)  # default: what is usual for its TLS
    sender: str = Field(alias="from", pattern=MAIL_ADDRESS)
    to: Annotated[tuple[MailAddress, ...], BeforeValidator(several), Field(min_length=1)]
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
    after_minutes: Number = Field(default=0.0, ge=0, le=1440)  # tells whom the first does not reach
    repeat_minutes: Number = Field(default=15.0, ge=0, le=1440)  # 0: never; minutes count in a tank
    quiet: Annotated[tuple[TimeOfDay, TimeOfDay], AfterValidator(two_times)] | None = None
    quiet_up_to: Literal["low", "medium"] = "low"
    per_hour: Number = Field(default=12.0, ge=1, le=120)  # a person reads no more; our judgement
    heartbeat_url_file: Path | None = None
    heartbeat_minutes: Number = Field(default=5.0, ge=0.1, le=1440)

    @model_validator(mode="after")
    def _one_way(self) -> "Notify":
        if self.url_file is not None and self.smtp is not None:
            raise ValueError("url_file and smtp are two ways; give each a [[notify]] of its own")
        if (self.url_file, self.smtp, self.heartbeat_url_file) == (None, None, None):
            raise ValueError("no way is given; set url_file, smtp or heartbeat_url_file")
        return self


class Page(_Table):
    """The page on the local network: served by `afterfill page` alone."""

    _secrets_belong = "the file that password_file names"

    listen: ListenAddress | None = None
    password_file: Path | None = None
    # As a phone reaches it, where that is not `listen`: a proxy's, or by a name. Mails link there.
    url: str | None = Field(default=None, pattern=r"^https?://[^\s/?#@]+/?$")


class JournalSettings(_Table):
    """Where the journal lies and how much it may keep."""

    path: Path = Path("afterfill.db")
    keep_days: Number = Field(default=400.0, ge=1)  # a year and a month
    max_mb: Number = Field(default=2000.0, ge=10)  # a small part of a 16 GB card
    commit_every_s: Number = Field(
        default=60.0, ge=0, le=300
    )  # spares the card; alarms do not wait


class Units(_Table):
    """In what a person is shown volumes, temperatures and alkalinity; what is left out is shown in
    litres, degrees C and mg/L as CaCO3, or where a plan can tell, as the keeper typed it."""

    volume: Literal["US gal", "imp gal", "litre"] | None = None
    temperature: Literal["F", "C"] | None = None
    hardness: Literal["dKH", "meq/L", "mg/L"] | None = None


class Config(_Table):
    """The whole file."""

    units: Units = Units()
    tank: dict[str, Tank] = Field(min_length=1)
    source: dict[str, Source] = Field(default_factory=dict)
    neutraliser: dict[str, Neutraliser] = Field(default_factory=dict)
    probe: tuple[Probe, ...] = ()
    mqtt: Mqtt | None = None
    influxdb: Influxdb | None = None
    notify: tuple[Notify, ...] = ()
    page: Page | None = None
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

    def neutraliser_name_of(self, tank: str) -> str | None:
        """The name of the neutraliser used on `tank`."""
        chosen = self.neutraliser_of(tank)
        return next((name for name, table in self.neutraliser.items() if table is chosen), None)


def _chosen(tables: Mapping[str, _T], named: str | None, own: str | None) -> _T | None:
    for name in (named, own):
        if name is not None and name in tables:
            return tables[name]
    return next(iter(tables.values())) if len(tables) == 1 else None
